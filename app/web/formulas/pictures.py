"""A formula in pictures, each with its table beside it."""

from dataclasses import dataclass
from decimal import Decimal

from flask import render_template

from app.documents.drawings.batches import BatchFigure, Series, batch_beside_batch
from app.documents.drawings.life import Knot, life
from app.documents.drawings.making import making_of
from app.documents.drawings.ruler import ph_ruler
from app.documents.drawings.shapes import Drawing
from app.documents.drawings.shares import Share, weight_against_cost
from app.web import context
from app.web.formulas.area import Page, blueprint
from app.web.formulas.follows import facts_of
from app.web.formulas.page import FormulaPage, load_page
from app.web.ph.section import ph_view
from app.work.formulas.life import Life, life_of
from app.work.formulas.results import Results

NEAR_PH = Decimal("0.2")  # around the target: the window of a reading (common practice)


@dataclass(frozen=True, slots=True)
class FormulaDrawing:
    """A drawing with its heading and a sentence that says how to read it."""

    heading: str
    words: str
    drawing: Drawing


@blueprint.get("/<int:formula_id>/pictures")
def pictures(formula_id: int) -> Page:
    """Show a formula in pictures."""
    sheet = load_page(context.store(), formula_id)
    with context.store().reading() as session:
        lived = life_of(session, formula_id)
    drawn = making_of(sheet.results.formula)
    words = "From left to right is the order of the work. A circle is where one phase goes into another."
    making = FormulaDrawing("Process", words, drawn) if drawn else None
    whole = sheet.results.total.state == "whole"
    of_the_whole = (_ph(sheet), _shares(sheet.results)) if whole and sheet.results.cost else ()
    shown = [one for one in (*of_the_whole, making, *_made(lived, sheet)) if one]
    held_back = not of_the_whole and sheet.results.total.state != "empty"
    return render_template("formulas/pictures.html", current=sheet.current, pictures=shown, held_back=held_back)


def _ph(sheet: FormulaPage) -> FormulaDrawing | None:
    facts = facts_of(ph_view(sheet.results), sheet.results, sheet.around.readings)
    if facts.predicted is None and not facts.windows:
        return None
    words = "Windows of preservatives are dotted, of thickeners hatched; circles are readings at the bench."
    return FormulaDrawing("pH", words, ph_ruler(facts))


def _shares(results: Results) -> FormulaDrawing | None:
    known = [line for line in results.lines if line.percent]
    if not known:
        return None
    rows = [
        Share(
            line.draft.typed,
            float(line.percent or 0),
            None if line.cost_share is None or not line.priced else float(line.cost_share),
        )
        for line in known
    ]
    words = "On logarithmic scales: each line of the grid is ten times the one before."
    return FormulaDrawing("Weight against cost", words, weight_against_cost(rows))


def _made(lived: Life, sheet: FormulaPage) -> list[FormulaDrawing | None]:
    found: list[FormulaDrawing | None] = []
    if any(one.ph is not None or one.yield_percent is not None for one in lived.batches):
        shop = sheet.results.context.workshop
        low, high = float(shop.yield_low_percent), float(shop.yield_high_percent)
        target = sheet.results.formula.target_ph
        near = (None, None) if target is None else (float(target - NEAR_PH), float(target + NEAR_PH))
        read = tuple(
            BatchFigure(b.number, float(b.ph), target is not None and abs(b.ph - target) > NEAR_PH)
            if b.ph is not None
            else BatchFigure(b.number, None)
            for b in lived.batches
        )
        series = (
            Series("pH", "", read, *near),
            Series(
                "yield",
                " %",
                tuple(
                    BatchFigure(b.number, float(b.yield_percent), not low <= b.yield_percent <= high)
                    if b.yield_percent is not None
                    else BatchFigure(b.number, None)
                    for b in lived.batches
                ),
                low,
                high,
            ),
            Series(
                "line furthest off",
                " %",
                tuple(
                    BatchFigure(b.number, None if b.worst_percent is None else float(b.worst_percent), b.line_out)
                    for b in lived.batches
                ),
                digits=2,
            ),
        )
        words = "Each mark is a batch, oldest at the left. A square lies outside its window."
        found.append(FormulaDrawing("Batch beside batch", words, batch_beside_batch(series)))
    if lived.versions:
        knots = [
            Knot(
                number,
                note,
                tuple((b.number, b.state) for b in lived.batches if b.version == number),
                tuple(name for at, name in lived.branches if at == number),
            )
            for number, note in lived.versions
        ]
        words = "Versions from the first down, with their batches and with what branched off."
        found.append(FormulaDrawing("The life of the formula", words, life(knots, has_draft=True)))
    return found
