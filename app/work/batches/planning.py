"""Planning a batch: pins a version, issues a number, writes what is to be weighed."""

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.batch_number import format_number, series_key
from app.science.errors import Invalid
from app.science.formula import Formula
from app.science.numbers import plain
from app.science.tolerance import is_tight, weighing_band
from app.science.weighing import WeighedLine
from app.store.batches import Batch, BatchLine
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.formulas import FormulaRow, FormulaVersion
from app.store.products import Product, find_product, products_of
from app.store.workshop import Workshop, next_in_series, the_workshop
from app.work.action import action
from app.work.batch_sheet import BatchSheet, batch_sheet
from app.work.batches.loading import log
from app.work.batches.ticks import planned_ticks
from app.work.clock import now
from app.work.form import FaultList, Faults, Form
from app.work.form_fields import Day, MaybeNumber, Name, RowId, ShortText
from app.work.formulas.context import read_context
from app.work.formulas.editing import find, open_draft
from app.work.formulas.faults import IncompleteFormula
from app.work.formulas.results import results_of
from app.work.formulas.versions import formula_of, keep_in, latest_version, read_version
from app.work.paper_formula import at_size
from app.work.people import SignedBy
from app.work.rules.answers import AnsweredFinding
from app.work.rules.open_findings import open_stops

NO_SIZE = "Enter the batch size, such as 500 g or 40 units."


class Plan(Form):
    """What is typed to plan a batch; checked with a session, or with the batch that is planned anew.

    Without a version the draft as it stands is pinned. A batch of a product is filled as that product is; else ``fill``
    says what goes into a unit.
    """

    formula = RowId("Formula")
    version = RowId("Version")
    size = Name("Amount to make", NO_SIZE, hint="A weight, a volume or a number of units: 500 g, 2 l, 40 units.")
    fill = ShortText(
        "Fill per unit", hint="A weight or a volume, unless the product sets it. Needed when the amount is in units."
    )
    loss = MaybeNumber("Process loss, %", high=99, hint="What stays in pots and on tools; more is weighed to cover it.")
    planned_on = Day("Planned for")
    made_by = SignedBy(label="Made by")
    product = RowId("Product")


@dataclass(frozen=True, slots=True)
class FormulaChoice:
    """A formula that a batch can be planned of."""

    id: int
    code: str
    name: str


@dataclass(frozen=True, slots=True)
class VersionChoice:
    """A version that a batch can pin."""

    id: int
    number: int
    note: str


@dataclass(frozen=True, slots=True)
class ProductChoice:
    """A product that a batch can be filled as; ``fill`` is what goes into one, empty where it has none."""

    id: int
    name: str
    fill: str


# A page offers no more formulas than this; any other is planned from its own page.
MOST_OFFERED = 200


@dataclass(frozen=True, slots=True)
class PlanningChoices:
    """What the planning page offers: formulas; versions, products, size, fill, loss and open stops of the chosen one.

    ``people`` are those who can make it.
    """

    formulas: tuple[FormulaChoice, ...]
    formula_id: int | None
    versions: tuple[VersionChoice, ...]
    size: str
    fill: str
    loss: str
    stops: tuple[AnsweredFinding, ...] = ()
    products: tuple[ProductChoice, ...] = ()


def planning_choices(store: Store, formula_id: int | None, version_id: int | None = None) -> PlanningChoices:
    """Return what can be planned; the first formula is taken when none is named.

    Size, fill and loss are those of the version, or of the draft as far as it can be read.

    Raises:
        NotFound: when the named formula does not exist.
    """
    with store.reading() as session:
        # The formulas that were changed last, and the one that is chosen.
        live = select(FormulaRow.id, FormulaRow.code, FormulaRow.name).where(FormulaRow.retired_at.is_(None))
        rows = session.execute(live.order_by(FormulaRow.changed_at.desc(), FormulaRow.id).limit(MOST_OFFERED)).all()
        if formula_id not in {row.id for row in rows}:
            rows = [*rows, *session.execute(live.where(FormulaRow.id == formula_id)).all()]
        formulas = tuple(sorted((FormulaChoice(*row) for row in rows), key=lambda one: one.name))
        chosen = formula_id or (formulas[0].id if formulas else None)
        if chosen is None:
            return PlanningChoices((), None, (), "", "", "")
        kept = select(FormulaVersion.id, FormulaVersion.number, FormulaVersion.note)
        newest = kept.where(FormulaVersion.formula_id == chosen).order_by(FormulaVersion.number.desc())
        versions = tuple(VersionChoice(one.id, one.number, one.note) for one in session.execute(newest))
        if version_id in {version.id for version in versions}:
            formula = read_version(session, version_id or 0)
        else:
            formula = results_of(session, open_draft(session, chosen)).formula
        size, fill = (formula.size.words, formula.size.fill_words) if formula.size else ("", "")
        stops = open_stops(session, formula)
        sold = product_choices(session, chosen)
        return PlanningChoices(formulas, chosen, versions, size, fill, plain(formula.loss_percent), stops, sold)


def product_choices(session: Session, formula_id: int) -> tuple[ProductChoice, ...]:
    """Return the products of a formula that a batch can be filled as."""
    return tuple(ProductChoice(one.id, one.name, _fill_of(one)) for one in products_of(session, formula_id))


def _fill_of(product: Product) -> str:
    return f"{plain(product.fill_amount)} {product.fill_unit}" if product.fill_amount is not None else ""


@action(once="plan")
def plan_batch(session: Session, typed: Plan, *, key: str = "") -> int:
    """Plan a batch and give its id; the same form taken twice gives the same batch.

    The version is pinned, the number issued and the weights written in one transaction; two people who press at
    once get two numbers.

    Raises:
        Faults: with everything that is wrong, each at its field, or at ``draft``; no number is used up.
        NotFound: when the formula, the version or the product does not exist.
    """
    faults = FaultList()
    version = faults.read(_pinned, session, typed)
    if version is None:
        faults.read(typed.checked, session)
        raise Faults(faults.faults)
    planned = worked_out(session, typed, version, session)
    shop = the_workshop(session)
    batch = Batch(
        number=_issue_number(session, planned.formula.code, planned.day),
        version_id=version.id,
        created_at=now(),
        lines=_lines(planned.sheet, shop),
        ticks=planned_ticks(shop, planned.formula),
        yield_low_percent=shop.yield_low_percent,
        yield_high_percent=shop.yield_high_percent,
        **planned.columns,
    )
    session.add(batch)
    session.flush()
    log(batch, "planned", by=batch.made_by, new=f"{typed.size}, version {version.number}")
    return batch.id


def _pinned(session: Session, plan: Plan) -> FormulaVersion:
    if plan.formula is None:
        raise Invalid("formula", "Choose a formula.")
    if plan.version is None:
        try:
            return keep_in(session, find(session, plan.formula), "Kept when a batch was planned", plan.text["made_by"])
        except IncompleteFormula as error:
            raise Invalid("draft", f"The draft does not add up yet: {error}") from error
        except Invalid:
            latest = latest_version(session, plan.formula)
            if latest is None:
                raise
            return latest
    version = session.get(FormulaVersion, plan.version)
    if version is None or version.formula_id != plan.formula:
        raise NotFound("There is no such version of this formula.")
    return version


@dataclass(frozen=True, slots=True)
class Planned:
    """A plan worked out: the formula at its size, the sheet, the day, and the columns of the batch that follow."""

    formula: Formula
    sheet: BatchSheet
    day: date
    columns: dict[str, Any]


def worked_out(session: Session, typed: Plan, version: FormulaVersion, given: object) -> Planned:
    """Return a version at the size that is planned, on the scales of the bench, filled as its product.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such product of the formula.
    """
    faults = FaultList()
    sheet = faults.read(_sheet, session, typed, version)
    plan = faults.read(typed.checked, given)
    if plan is None or sheet is None:
        raise Faults(faults.faults)
    product = session.get(Product, plan.product) if plan.product is not None else None
    columns = {
        "product_id": plan.product,
        "product_name": product.name if product else "",
        "size_g": sheet.size.net_g,
        "size_text": plan.size[:80],
        "loss_percent": sheet.loss_percent,
        "fill_g": sheet.size.fill_g,
        "planned_on": plan.planned_on,
        "made_by": plan.made_by,
    }
    return Planned(sheet.formula, sheet, plan.planned_on, columns)


def _sheet(session: Session, plan: Plan, version: FormulaVersion) -> BatchSheet:
    product = find_product(session, plan.product) if plan.product is not None else None
    if plan.product is not None and (product is None or product.formula_id != version.formula_id):
        raise NotFound("There is no such product of this formula.")
    fill = _fill_of(product) if product else ""
    formula = at_size(formula_of(version), plan.text["size"], fill or plan.text["fill"], "")
    loss = formula.loss_percent if plan.loss is None else plan.loss
    formula = replace(formula, loss_percent=loss, scales=read_context(session).defaults.scales)
    try:
        return batch_sheet(formula)
    except Invalid as error:
        raise Invalid("size", error.message) from error


def _lines(sheet: BatchSheet, shop: Workshop) -> list[BatchLine]:
    weighed = [(part.phase.letter, row) for part in sheet.phases for row in part.lines]
    return [
        BatchLine(
            position=place,
            line_key=row.line.key,
            phase=letter,
            material_id=row.line.material.id,
            name=row.line.name,
            percent=row.line.percent,
            **weights_of(row, shop),
        )
        for place, (letter, row) in enumerate(weighed, start=1)
    ]


def weights_of(row: WeighedLine, shop: Workshop) -> dict[str, Any]:
    """Return the columns of a line that follow from its weight: target, scale, advice and band."""
    # What the scale may show for a line: its own tolerance, else closer where small amounts of it work.
    material, percent = row.line.material, row.line.tolerance_percent
    if percent is None:
        percent = shop.tight_percent if is_tight(material.functions, material.phase_hint) else shop.band_percent
    band = weighing_band(row.weigh_g, row.scale.readability_g, percent)
    return {
        "target_g": row.target_g,
        "shown_g": row.weigh_g,
        "scale": row.scale.name,
        "step_g": row.scale.readability_g,
        "advice": row.advice.text if row.advice else "",
        "low_g": band.low,
        "high_g": band.high,
    }


def _issue_number(session: Session, code: str, day: date) -> str:
    pattern = the_workshop(session).batch_number_pattern
    series = series_key(pattern, code, day)
    while True:
        number = format_number(pattern, code, day, next_in_series(session, series))
        if session.scalar(select(Batch.id).where(Batch.number == number)) is None:
            return number
