"""A packing run: begun from what a batch made, its figures, its line clearance, its end."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.keeping_time import Mark, keeping_time
from app.science.numbers import parse_number, plain
from app.science.quantities import HEAVIEST_G, Quantity, parse_quantity
from app.science.units import Measure
from app.store.batches import Batch, BatchState, Deviation
from app.store.errors import Conflict, NotFound
from app.store.labels import designs_of
from app.store.packing import Clearance, PackingRun, PackingTick, RunState
from app.store.products import Product, products_of
from app.store.stock import Lot
from app.store.workshop import next_in_series, the_workshop
from app.work.action import action
from app.work.batches.loading import load_batch
from app.work.clock import now
from app.work.form import Faults, Field, Form, rule
from app.work.form_fields import DayOrToday, LongText, MaybeDay, MaybeGrams, ShortText
from app.work.formulas.versions import formula_of
from app.work.packing.loading import open_run
from app.work.people import SignedBy, person_named
from app.work.products.product_form import Months
from app.work.products.products import load_product

MOST_UNITS = 10_000_000
PACKABLE = (BatchState.RELEASED, BatchState.QUARANTINE, BatchState.IN_PROCESS)


class Units(Field[int]):
    """A number of whole units; an empty field is none."""

    control = "decimal"
    numeric = True

    def __init__(self, label: str, **more: Any) -> None:
        super().__init__(label, **{"width": "w6", **more})

    def read(self, text: str, at: str, form: Form) -> int:
        """Return the number."""
        if not text.strip():
            return 0
        units = parse_number(text, at, low=Decimal(0), high=Decimal(MOST_UNITS))
        if units != int(units):
            raise Invalid(at, "Enter a whole number of units.")
        return int(units)


class PrintedForm(Form):
    """What is printed on the units of a run."""

    artwork = ShortText(
        "Label and version", longest=300, width="w20", hint="The artwork that is used, such as Front, v3."
    )
    code_printed = ShortText("Code printed", longest=120, hint="Batch number or a code that leads to it.")
    best_before = MaybeDay("Best before", hint="Leave empty where no date is printed.")
    open_months = Months("Period after opening, months", width="w4")


class RunForm(PrintedForm):
    """The beginning of a run."""

    packed_on = DayOrToday("Day", hint="Leave empty for today.")
    place = ShortText("Line or bench", longest=120)
    bulk = MaybeGrams("Bulk taken", column="bulk_g", low=Decimal(0), high=HEAVIEST_G, hint="Grams, or with a unit.")
    early_why = ShortText("Why it is packed before its release", longest=500, width="w20")
    who = SignedBy("Enter who packs.")


class FiguresForm(PrintedForm):
    """What came of a run; it can be written as often as it takes until the run is closed."""

    units_filled = Units("Units filled", hint="All of them, with the spoilt ones and the samples.")
    units_spoilt = Units("of these spoilt or opened for a test")
    bulk = MaybeGrams("Bulk taken", column="bulk_g", low=Decimal(0), high=HEAVIEST_G)
    rest = MaybeGrams(
        "Bulk left over", column="rest_g", low=Decimal(0), high=HEAVIEST_G, hint="Weighed back; 0 when none."
    )
    waste = MaybeGrams("Waste", column="waste_g", low=Decimal(0), high=HEAVIEST_G, hint="Filler, hoses, first units.")
    notes = LongText("Notes", lines=2)
    who = SignedBy("Enter who packs.")

    @rule
    def bulk_is_something(self) -> None:
        """Refuse a run of nothing."""
        if self.bulk is not None and self.bulk <= 0:
            raise Invalid("bulk", "Enter a weight above 0.")

    @rule
    def no_more_spoilt_than_filled(self) -> None:
        """Refuse more spoilt units than there were."""
        if self.units_spoilt > self.units_filled:
            raise Invalid("units_spoilt", f"Only {self.units_filled} were filled.")


@dataclass(frozen=True, slots=True)
class Packable:
    """What a batch still has to pack: the products it can be packed as, the bulk left, and why it is packed early."""

    batch: Batch
    products: tuple[Product, ...]
    left_g: Decimal | None

    @property
    def is_early(self) -> bool:
        """Whether it is not released yet, so that a reason has to be written."""
        return self.batch.state is not BatchState.RELEASED


def packable(session: Session, batch_id: int) -> Packable:
    """Return what can be packed of a batch.

    Raises:
        NotFound: when there is no such batch.
    """
    batch = load_batch(session, batch_id)
    found = tuple(one for one in products_of(session, batch.version.formula_id) if one.fill_amount is not None)
    return Packable(batch, found, bulk_left(session, batch))


def bulk_left(session: Session, batch: Batch) -> Decimal | None:
    """Return the bulk of a batch, grams, that no run took; None while no yield is recorded."""
    if batch.yield_g is None:
        return None
    runs = session.scalars(
        select(PackingRun).where(PackingRun.batch_id == batch.id, PackingRun.state != RunState.CANCELLED)
    )
    taken = sum(((run.bulk_g or Decimal(0)) - (run.rest_g or Decimal(0)) for run in runs), Decimal(0))
    return batch.yield_g - taken


def nominal_of(run: PackingRun) -> Quantity:
    """Return the content of a unit as it is declared."""
    return parse_quantity(f"{run.fill_amount:f} {run.fill_unit}", "fill")


def nominal_g(run: PackingRun) -> Decimal | None:
    """Return the content of a unit in grams; None for a volume without a density."""
    nominal = nominal_of(run)
    if nominal.unit.measure is Measure.MASS:
        return nominal.base
    return None if run.density_g_ml is None else nominal.base * run.density_g_ml


def last_day(session: Session, batch: Batch, product: Product) -> date | None:
    """Return the best-before date of a batch as a product: the earlier of its months and its lots' dates."""
    made = batch.made_on
    used = {one.lot_id for line in batch.lines for one in line.standing if one.lot_id is not None and one.grams}
    lots = session.scalars(select(Lot).where(Lot.id.in_(sorted(used)))) if used else ()
    found = keeping_time(made, product.shelf_months, {lot.code: lot.expires_on for lot in lots if lot.expires_on})
    return found.use_by if found and product.shelf_months and found.mark is Mark.BEST_BEFORE else None


def start_form(session: Session, batch: Batch, product: Product, *, who: str = "") -> RunForm:
    """Return the form of a new run with what is already known."""
    until, left = last_day(session, batch, product), bulk_left(session, batch)
    return RunForm(
        artwork=", ".join(design.name for design in designs_of(session, product.id)),
        code_printed=batch.number,
        best_before=until.isoformat() if until else "",
        open_months=str(product.open_months or ""),
        bulk=f"{plain(left)} g" if left and left > 0 else "",
        who=who,
    )


@action(once="packing of batch {batch_id}")
def start_run(session: Session, batch_id: int, product_id: int, typed: RunForm, *, key: str = "") -> int:
    """Begin a packing run of a batch as a product and return its id; the line clearance comes from the workshop.

    A batch that is not released is packed only with a reason, which becomes a deviation of that batch: it cannot be
    released before somebody decided on it.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the batch is not begun, rejected or cancelled.
        NotFound: when there is no such batch or product.
    """
    batch, product = load_batch(session, batch_id, for_writing=True), load_product(session, product_id)
    if batch.state not in PACKABLE:
        raise Conflict(f"Batch {batch.number} is {batch.state.value}: there is nothing of it to pack.")
    if product.formula_id != batch.version.formula_id or product.fill_amount is None:
        raise NotFound("This batch is not packed as that product.")
    form = typed.checked(session)
    if batch.state is not BatchState.RELEASED and not form.early_why:
        raise Faults([Invalid("early_why", f"The batch is {batch.state.value}, not released. Enter why it is packed.")])
    _not_past_already(form.best_before, form.packed_on)
    density, shop = formula_of(batch.version).density_g_ml, the_workshop(session)
    lists = ((Clearance.BEFORE, shop.clear_before), (Clearance.AFTER, shop.clear_after))
    points = [(kind, line.strip()) for kind, text in lists for line in text.splitlines() if line.strip()]
    run = PackingRun(
        **form.columns(),
        number=f"{batch.number}-P{next_in_series(session, f'packing {batch.number}')}",
        batch=batch,
        product=product,
        product_name=product.name,
        fill_amount=product.fill_amount,
        fill_unit=product.fill_unit,
        density_g_ml=density,
        jurisdiction=product.jurisdiction,
        bulk_low_percent=shop.bulk_low_percent,
        bulk_high_percent=shop.bulk_high_percent,
        created_at=now(),
        ticks=[PackingTick(kind=kind, position=place, words=words) for place, (kind, words) in enumerate(points, 1)],
    )
    if batch.state is BatchState.RELEASED:
        run.early_why = ""
    else:
        _note_early(batch, run, form.who)
    session.add(run)
    what = f"{product.name}, {plain(run.fill_amount)} {run.fill_unit}"
    run.log("started", by=form.who, at=now(), new=what, why=run.early_why)
    batch.log("packing started", by=form.who, at=now(), new=f"{run.number}, {product.name}")
    session.flush()
    return run.id


def _not_past_already(best_before: date | None, packed_on: date) -> None:
    """Refuse a date that has passed on the day of packing.

    Raises:
        Faults: at ``best_before``.
    """
    if best_before is not None and best_before < packed_on:
        raise Faults([Invalid("best_before", f"That is before the day of packing, {packed_on.isoformat()}.")])


def _note_early(batch: Batch, run: PackingRun, who: str) -> None:
    what = f"Packed as {run.number} before its release: {run.early_why}"
    batch.deviations.append(Deviation(what=what, found_at=now(), found_by=who))
    batch.log("deviation noted", by=who, at=now(), new=what)
    batch.touch()


@action()
def record_figures(session: Session, run_id: int, row_version: int, typed: FiguresForm) -> None:
    """Write what came of a run; its history keeps what stood there before.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it is closed, or changed since it was read.
        NotFound: when there is no such run.
    """
    run = open_run(session, run_id, row_version)
    form = typed.checked(session)
    if form.units_spoilt + run.units_sampled > form.units_filled:
        kept = f"{form.units_spoilt} spoilt and {run.units_sampled} kept as samples"
        raise Faults([Invalid("units_filled", f"With {kept} there were more than {form.units_filled}.")])
    _not_past_already(form.best_before, run.packed_on)
    before = FiguresForm.of(run)
    for column, value in form.columns().items():
        if column != "by":
            setattr(run, column, value)
    for change in FiguresForm.of(run).differences(before):
        run.log(change.label, by=form.who, at=now(), old=change.theirs, new=change.mine)
    run.touch()


def figures_form(run: PackingRun, *, who: str = "") -> FiguresForm:
    """Return the figures of a run as they would be typed."""
    return FiguresForm.of(run).but(who=who)


@action()
def tick_clearance(session: Session, run_id: int, tick_ids: list[int], *, who: str, remark: str = "") -> None:
    """Tick points of the line clearance; one that is ticked already stays as it was.

    Raises:
        Invalid: at ``who``.
        Conflict: when the run is closed.
        NotFound: when the run has no such point.
    """
    run = open_run(session, run_id)
    wanted = [one for one in run.ticks if one.id in set(tick_ids)]
    if not wanted:
        raise NotFound("There is no such item; tick one of those on the page.")
    by = person_named(session, who, "who", "Enter who looked.")
    for one in wanted:
        if one.done_at is None:
            one.done_at, one.done_by, one.remark = now(), by, remark.strip()
            run.log(f"{one.kind.value}: {one.words}", by=by, at=one.done_at, new=remark.strip())
    run.touch()


@action()
def cancel_run(session: Session, run_id: int, *, who: str, why: str) -> None:
    """Cancel a run of which nothing was filled and nothing issued.

    Raises:
        Faults: at ``who`` or ``why``.
        Conflict: when it is closed, or something was done in it.
    """
    run = open_run(session, run_id)
    by = person_named(session, who, "who", "Enter who cancels it.")
    if not why.strip():
        raise Faults([Invalid("why", "Enter why it is cancelled.")])
    if run.units_filled or run.weights or any(use.issued != use.returned for use in run.lots):
        raise Conflict(f"Packing run {run.number} was begun: enter what became of it and close it.")
    run.log("cancelled", by=by, at=now(), why=why)
    run.state, run.closed_at, run.closed_by = RunState.CANCELLED, now(), by
