"""Finished units that a person counts, uses here or throws away; and the list of what is on hand as a file."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.errors import NotFound
from app.store.packing import FinishedMove, PackingRun, RunState, UnitsKind
from app.work.action import action
from app.work.clock import now
from app.work.csv_text import write_table
from app.work.form import Faults, Form, rule
from app.work.form_fields import DayOrToday, OneOf, ShortText
from app.work.packing.finished import FinishedRow, units_on_hand
from app.work.packing.runs import Units
from app.work.people import SignedBy


class UnitsForm(Form):
    """What a person did with finished units of one product and batch."""

    kind = OneOf("What", UnitsKind, "Choose what happened.", default=UnitsKind.COUNTED.value)
    units = Units("Units", hint="Counted: what is there now; else how many went.")
    moved_on = DayOrToday("Day", hint="Leave empty for today.")
    why = ShortText("Why", longest=500, width="w20")
    who = SignedBy("Enter who it was.")

    @rule
    def why_is_given(self) -> None:
        """Refuse a change without a reason."""
        if not self.why:
            raise Invalid("why", "Enter why.")


@action(once="finished {product_id} {batch_id}")
def move_units(session: Session, product_id: int, batch_id: int, typed: UnitsForm, *, key: str = "") -> int:
    """Write a count of finished units, or that some were used here or thrown away; return the change.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when nothing was packed of that product out of that batch.
    """
    form = typed.checked(session)
    run_id = session.scalar(
        select(PackingRun.id)
        .where(PackingRun.product_id == product_id, PackingRun.batch_id == batch_id)
        .where(PackingRun.state == RunState.CLOSED)
        .order_by(PackingRun.id.desc())
        .limit(1)
    )
    if run_id is None:
        raise NotFound("Nothing of that product was packed out of that batch.")
    there = units_on_hand(session, product_id, batch_id)
    change = form.units - there if form.kind is UnitsKind.COUNTED else -form.units
    if form.kind is not UnitsKind.COUNTED and not 0 < form.units <= there:
        words = "Enter how many." if not form.units else f"Only {there} are on hand; count them if there are more."
        raise Faults([Invalid("units", words)])
    values = form.columns() | {"units": change}
    session.add(FinishedMove(**values, run_id=run_id, at=now()))
    return change


HEADINGS = ("product", "batch", "packed", "moved", "on hand", "best before", "last packed")


def finished_csv(rows: list[FinishedRow]) -> str:
    """Return what is on hand as a file."""
    return write_table(
        HEADINGS,
        (
            {
                "product": row.product,
                "batch": row.batch,
                "packed": str(row.packed),
                "moved": str(sum(row.moved.values())),
                "on hand": str(row.on_hand),
                "best before": row.best_before.isoformat() if row.best_before else "",
                "last packed": row.last_packed.isoformat(),
            }
            for row in rows
        ),
        numbers=HEADINGS[2:5],
    )
