"""Everything that follows from a draft, worked out in one go for the page."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from sqlalchemy.orm import Session

from app.science.composition import SubstanceTotal, expand
from app.science.cost import Costing
from app.science.emulsion_sides import Split, split_formula
from app.science.errors import Invalid
from app.science.formula import HUNDRED, Formula, Line, Material
from app.science.formula_cost import cost_formula, names_without_price, without_units
from app.science.numbers import exact_arithmetic, plain, to_places
from app.science.weighing import Weighing, weigh, weighed_batch
from app.store.workshop import Jurisdiction
from app.work.formulas.context import WorkshopContext, read_context
from app.work.formulas.declaring import Declared, declared
from app.work.formulas.draft import Draft, DraftLine
from app.work.formulas.emulsion_sides import phase_sides, substance_sides
from app.work.formulas.faults import FieldFault, IncompleteFormula
from app.work.formulas.pinned_materials import Shelf, shelf_of
from app.work.formulas.resolve import Resolution, fills_up, resolve
from app.work.formulas.steps import OpenDraft
from app.work.pricing import price_book

NO_UNIT_COST = "Enter the fill per unit to see what a unit costs."


@dataclass(frozen=True, slots=True)
class LineResult:
    """A line of the draft with what follows from it.

    ``percent`` is % w/w, None while it is not known; ``grams`` what to weigh of it, with ``places`` decimals;
    ``cost_share`` its part of the material cost in %.
    """

    draft: DraftLine
    material: Material | None
    percent: Decimal | None
    is_remainder: bool
    grams: Decimal | None
    places: int
    cost_share: Decimal | None
    remarks: tuple[str, ...] = ()

    @property
    def priced(self) -> bool:
        """Whether its material has a price."""
        return self.material is not None and bool(self.material.prices)


@dataclass(frozen=True, slots=True)
class Total:
    """The total as a figure and in words; ``state`` is ``whole``, ``short``, ``over``, ``unknown`` or ``empty``."""

    percent: Decimal
    words: str
    state: str


@dataclass(frozen=True, slots=True)
class PageCost:
    """The cost of a formula that adds up. With anything in ``unpriced`` (names) every amount is 'at least'.

    ``costing`` counts the whole batch as one unit when ``why_no_unit`` says why no unit can be costed.
    """

    costing: Costing
    shares: Mapping[str, Decimal]
    unpriced: tuple[str, ...]
    why_no_unit: str = ""

    @property
    def at_least(self) -> bool:
        """Whether something has no price, so that the true cost is higher."""
        return bool(self.unpriced)

    @property
    def materials_per_kg(self) -> Decimal:
        """What the materials of a kilogram cost."""
        return self.costing.materials_per_kg


@dataclass(frozen=True, slots=True)
class Results:
    """A draft with everything that follows from it.

    ``weighing``, ``split`` and ``cost`` are None while the percentages are not all known or do not make 100, or
    without a batch size; ``weighed_g`` is what is weighed in all, loss included.
    """

    resolution: Resolution
    lines: tuple[LineResult, ...]
    total: Total
    split: Split | None
    substances: tuple[SubstanceTotal, ...]
    declarations: tuple[Declared, ...]
    weighing: Weighing | None
    weighed_g: Decimal | None
    cost: PageCost | None
    context: WorkshopContext

    @property
    def draft(self) -> Draft:
        """The draft as typed."""
        return self.resolution.draft

    @property
    def formula(self) -> Formula:
        """The formula as far as it can be read."""
        return self.resolution.formula

    @property
    def faults(self) -> tuple[FieldFault, ...]:
        """Everything that is wrong, each at its field."""
        return self.resolution.faults

    @property
    def complete(self) -> Formula | None:
        """The formula, None while something is wrong with it."""
        try:
            return self.resolution.complete()
        except IncompleteFormula:
            return None

    @property
    def places_g(self) -> int:
        """The decimals with which the total to weigh is written."""
        return max((line.places for line in self.lines), default=2)

    def line(self, line_id: str) -> LineResult | None:
        """Return the result of one line."""
        return next((line for line in self.lines if line.draft.id == line_id), None)

    def faults_by_field(self) -> dict[str, list[FieldFault]]:
        """Group the faults by the field they stand at."""
        found: dict[str, list[FieldFault]] = {}
        for fault in self.faults:
            found.setdefault(fault.field, []).append(fault)
        return found


def results_of(session: Session, stored: OpenDraft, *, typed: Draft | None = None) -> Results:
    """Work out a stored draft, or what is typed in its place."""
    draft = stored.draft if typed is None else typed
    book = price_book(session)
    shelf, context = shelf_of(session, draft, book), read_context(session, stored.formula_id, book)
    return results(stored.formula_id, draft, shelf, context)


def results(formula_id: int, draft: Draft, shelf: Shelf, context: WorkshopContext) -> Results:
    """Work out a draft against the shelf and the workshop; pure, and never raises for anything that can be typed."""
    resolution = resolve(draft, shelf, context.defaults, formula_id)
    formula = resolution.formula
    weighing = weigh(formula) if resolution.adds_up and formula.size else None
    cost = page_cost(formula, weighing) if weighing else None
    home = formula.jurisdiction
    laws = (home, *(other for other in Jurisdiction if other is not home))
    with exact_arithmetic():
        return Results(
            resolution=resolution,
            lines=tuple(_lines(resolution, shelf, weighing, cost)),
            total=total_of(resolution, shelf),
            split=split_formula(formula, substance_sides(), phase_sides(formula)) if resolution.adds_up else None,
            substances=by_weight(expand(formula.dosed)),
            declarations=declared(formula.dosed, formula.exposure, laws),
            weighing=weighing,
            weighed_g=weighing.total_g if weighing else _asked_g(formula),
            cost=cost,
            context=context,
        )


def by_weight(totals: Sequence[SubstanceTotal]) -> tuple[SubstanceTotal, ...]:
    """Return substances with the largest share first."""
    return tuple(sorted(totals, key=lambda total: -total.percent))


def _asked_g(formula: Formula) -> Decimal | None:
    return weighed_batch(formula.size.net_g, formula.loss_percent, formula.scales) if formula.size else None


def page_cost(formula: Formula, weighing: Weighing) -> PageCost:
    """Return what a formula costs at its batch size, by the unit where a fill is known and the batch fills one."""
    why = "" if formula.size and formula.size.fill_g else NO_UNIT_COST
    try:
        costing = cost_formula(formula, weighing)
    except Invalid as fault:
        why = fault.message
        costing = cost_formula(without_units(formula), weighing)
    shares = {share.id: share.percent for share in costing.shares}
    return PageCost(costing, shares, names_without_price(formula, costing), why)


def _lines(resolution: Resolution, shelf: Shelf, weighing: Weighing | None, cost: PageCost | None) -> list[LineResult]:
    formula = resolution.formula
    known = {line.key: line for line in formula.lines}
    asked_g = _asked_g(formula)
    found = []
    for row in resolution.draft.in_page_order():
        line, material = known.get(row.id), shelf.get(row.material_id or 0)
        grams, places = _grams(line, weighing, asked_g, honest=not resolution.unknown or not fills_up(row))
        percent = None if line is None or (line.is_remainder and resolution.unknown) else line.percent
        share = cost.shares.get(row.id) if cost else None
        remarks = tuple(_remarks(material, percent))
        found.append(LineResult(row, material, percent, fills_up(row), grams, places, share, remarks))
    return found


def _grams(
    line: Line | None, weighing: Weighing | None, asked_g: Decimal | None, *, honest: bool
) -> tuple[Decimal | None, int]:
    """Return the grams of a line and their decimals: as the scale shows them, else worked out of the batch size."""
    if line is not None and weighing is not None:
        weighed = weighing.by_key[line.key]
        return weighed.weigh_g, weighed.scale.places
    if line is None or asked_g is None or not honest:
        return None, 2
    places = 3 if asked_g < 100 else 2
    return to_places(asked_g * line.percent / HUNDRED, places), places


def _remarks(material: Material | None, percent: Decimal | None) -> list[str]:
    if material is None:
        return []
    found = [f"{material.name} is retired on the shelf."] if material.retired else []
    if not material.parts:
        found.append(f"{material.name} has no composition yet, so the label and the checks leave it out.")
    if material.use_high is not None and percent is not None and percent > material.use_high:
        low = "up to" if material.use_low is None else f"{plain(material.use_low)} to"
        found.append(f"Above its usual use of {low} {plain(material.use_high)} %.")
    return found


def total_of(resolution: Resolution, shelf: Shelf) -> Total:
    """Return how the total stands to 100, with the figures; it says so when a line is not known yet."""
    written, rest = resolution.sum_percent, resolution.remainder_percent
    if written > HUNDRED:
        return Total(written, f"{percent_words(written - HUNDRED)} % too much", "over")
    if count := len(resolution.unknown):
        who = "1 line has no percentage yet" if count == 1 else f"{count} lines have no percentage yet"
        return Total(written, f"so far, {who}", "unknown")
    if rest is not None:
        row = next(row for row in resolution.draft.in_page_order() if fills_up(row))
        material = shelf.get(row.material_id or 0)
        return Total(
            HUNDRED, f"{material.name if material else 'the q.s. line'} fills up with {percent_words(rest)} %", "whole"
        )
    if written == HUNDRED:
        return Total(HUNDRED, "adds up", "whole")
    if not any(line.typed.strip() for line in resolution.draft.lines):
        return Total(written, "no line yet", "empty")
    return Total(written, f"{percent_words(HUNDRED - written)} % missing", "short")


def percent_words(value: Decimal) -> str:
    """Write a percentage with two places, or with as many more as it needs, up to six."""
    exponent = value.normalize().as_tuple().exponent
    places = min(max(2, -exponent if isinstance(exponent, int) else 2), 6)
    return f"{value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP):f}"


def read_complete(session: Session, stored: OpenDraft) -> Formula:
    """Read a draft as a formula that adds up.

    Raises:
        IncompleteFormula: with everything that is wrong, each at its field.
    """
    book = price_book(session)
    context = read_context(session, stored.formula_id, book)
    draft = stored.draft
    return resolve(draft, shelf_of(session, draft, book), context.defaults, stored.formula_id).complete()
