"""Changing a batch that is only planned, and taking another material for a line that is not weighed yet."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import plain
from app.store.batches import Batch, BatchEvent, BatchLine, BatchState, BatchWeighing
from app.store.errors import Conflict, NotFound
from app.store.materials import MaterialRow
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.batch_sheet import batch_sheet
from app.work.batches.loading import open_batch
from app.work.batches.planned_sheet import formula_to_make
from app.work.batches.planning import Plan, weights_of, worked_out
from app.work.clock import now
from app.work.form import Field, Form
from app.work.form_fields import Name, row_number
from app.work.formulas.context import read_context
from app.work.formulas.pinned_materials import pin, read_shelf
from app.work.people import SignedBy, session_of
from app.work.typed_text import required_line

LONGEST_NUMBER = 60


@dataclass(frozen=True, slots=True)
class MaterialChoice:
    """A material that can be taken in the place of another."""

    id: int
    name: str


class NewNumber(Field[str]):
    """The number of a batch; one that any batch has or had is never given again."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the number."""
        number = required_line(text, at, "Enter the batch number.")
        batch: Batch = form.given
        if len(number) > LONGEST_NUMBER:
            raise Invalid(at, f"Shorten the number to {LONGEST_NUMBER} characters; it has {len(number)}.")
        if number == batch.number:
            return number
        session = session_of(form)
        used = session.scalar(select(Batch.id).where(Batch.number == number))
        once = select(BatchEvent.id).where(BatchEvent.what == "plan changed", BatchEvent.old.startswith(f"{number}, "))
        if used is not None or session.scalar(once.limit(1)) is not None:
            raise Invalid(at, f"The number {number} was given to a batch already.")
        return number


class PlanChange(Plan):
    """A plan that takes the place of an earlier one; checked with its batch."""

    number = NewNumber("Batch number", hint="A number is never used twice.", width="w12")
    who = SignedBy("Enter who changes the plan.", label="Changed by")


def plan_of(batch: Batch) -> PlanChange:
    """Return the plan of a batch as it would be typed."""
    fill = f"{plain(batch.fill_g)} g" if batch.fill_g is not None and batch.product_id is None else ""
    return PlanChange(
        formula=str(batch.version.formula_id),
        version=str(batch.version_id),
        size=batch.size_text or f"{plain(batch.size_g)} g",
        fill=fill,
        loss=plain(batch.loss_percent),
        planned_on=batch.planned_on.isoformat(),
        made_by=batch.made_by,
        product=str(batch.product_id or ""),
        number=batch.number,
    )


@action(once="plan of batch {batch_id}")
def change_plan(session: Session, batch_id: int, row_version: int, typed: PlanChange, *, key: str = "") -> None:
    """Change size, product, loss, day, maker or number of a batch that is not begun; its lines are worked out again.

    The version stays. A lot that was noted for a line stays with it, and so does a material that stands in for another.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such product of the formula.
        Conflict: when the batch is begun or decided, or was changed in the meantime.
    """
    batch = open_batch(session, batch_id, row_version)
    if batch.state is not BatchState.PLANNED:
        raise Conflict(f"Batch {batch.number} is {batch.state.value}; only a batch that is not begun is planned anew.")
    planned = worked_out(session, typed, batch.version, batch)
    form = typed.checked(batch)
    before = _plan_words(batch)
    batch.number = form.number
    for column, value in planned.columns.items():
        setattr(batch, column, value)
    rows = {line.line_key: line for line in batch.lines if not line.added_at_bench}
    shop = the_workshop(session)
    for weighed in planned.sheet.lines:
        _set(rows[weighed.line.key], weights_of(weighed, shop))
    session.flush()
    session.refresh(batch, ["product"])
    batch.log("plan changed", by=form.who, at=now(), old=before, new=_plan_words(batch))
    batch.touch()


def _set(line: BatchLine, columns: Mapping[str, object]) -> None:
    for column, value in columns.items():
        setattr(line, column, value)


def _plan_words(batch: Batch) -> str:
    product = f", {batch.product_name}" if batch.product_name else ""
    fill = f", filled {plain(batch.fill_g)} g" if batch.fill_g is not None else ""
    size = batch.size_text or f"{plain(batch.size_g)} g"
    return (
        f"{batch.number}, {size}{product}{fill}, {plain(batch.loss_percent)} % loss, for {batch.planned_on.isoformat()}"
        f"{f', made by {batch.made_by}' if batch.made_by else ''}"
    )


def material_choices(session: Session) -> tuple[MaterialChoice, ...]:
    """Return the materials on the shelf by name."""
    listed = select(MaterialRow.id, MaterialRow.name)
    live = listed.where(MaterialRow.retired_at.is_(None)).order_by(MaterialRow.name)
    return tuple(MaterialChoice(one.id, one.name) for one in session.execute(live))


class StandIn(Field[int]):
    """The material that is taken instead of that of a line."""

    control = "choice"

    def read(self, text: str, at: str, form: Form) -> int:
        """Return its number."""
        line: BatchLine = form.given
        found = row_number(str(text)) or 0
        material = read_shelf(session_of(form), {found}).get(found)
        if material is None or material.retired:
            raise Invalid(at, "Choose the material that is taken instead.")
        if material.id == line.material_id:
            raise Invalid(at, f"{line.name} stands there already.")
        return material.id


class SwapForm(Form):
    """Another material for a line; checked with that line."""

    material = StandIn("Material")
    why = Name("Why", "Enter why another material is taken.")
    who = SignedBy("Enter who swaps it.")


@action(once="swap in line {line_id}")
def swap_material(session: Session, batch_id: int, line_id: int, typed: SwapForm, *, key: str = "") -> None:
    """Take another material for a line that is not weighed yet; a deviation, until somebody decides on it.

    The grams stay as planned; what the formula becomes by it, and whether its checks still hold, is worked out as made.

    Raises:
        Faults: at ``material``, ``who`` or ``why``.
        NotFound: when the batch has no such line of its formula.
        Conflict: when the batch is decided, or the line is weighed already.
    """
    batch = open_batch(session, batch_id)
    line = next((one for one in batch.lines if one.id == line_id and not one.added_at_bench), None)
    if line is None:
        raise NotFound("There is no such line in this batch.")
    if line.actual_g is not None:
        raise Conflict(f"{line.name} is weighed already.")
    form = typed.checked(line)
    material = read_shelf(session, {form.material})[form.material]
    before = line.name
    for noted in line.standing:  # a lot that was noted is one of the other material
        line.weighings.append(BatchWeighing(lot_text="", by=form.who, at=now(), replaces_id=noted.id, reason="swapped"))
    if line.planned_material_id is None:
        line.planned_material_id, line.planned_name = line.material_id, line.name
    line.material_id, line.name, line.material = material.id, material.name, pin([material])
    if line.material_id == line.planned_material_id:
        line.planned_material_id, line.planned_name, line.material = None, "", ""
    # What to do where the scale is too coarse, and the band, are those of the material that stands there now; where the
    # batch was raised since it was planned, its weights stand.
    formula = replace(formula_to_make(batch), scales=read_context(session).defaults.scales)
    columns = weights_of(batch_sheet(formula).weighing.by_key[line.line_key], the_workshop(session))
    as_planned = columns["shown_g"] == line.shown_g
    _set(line, {name: columns[name] for name in ("advice", "low_g", "high_g")} if as_planned else {"advice": ""})
    batch.log("material swapped", by=form.who, at=now(), old=before, new=material.name, why=form.why)
    batch.touch()
