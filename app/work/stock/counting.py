"""A stock-take of many lots: one sheet, one transaction; what differs becomes a line of the ledger with its reason."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import plain
from app.store.engine import Store
from app.store.stock import Lot, lots_by_id
from app.work.action import action
from app.work.form import FaultList, Faults, Form, Rows
from app.work.form_fields import Name, ShortText
from app.work.stock.ledger import count_lot
from app.work.stock.lots import StockAmount, lot_context

MOST_LOTS = 150


class CountRow(Form):
    """One lot of the sheet: what it held by the ledger when the sheet was drawn, and what was counted."""

    filled_by = ("amount",)

    lot = ShortText("Lot")
    seen = ShortText("By the ledger")
    amount = ShortText("Counted", width="w8")


class CountSheetForm(Form):
    """A stock-take; rows left empty are not counted."""

    by = Name("Counted by", "Enter your name or initials.", longest=80, width="w8")
    why = ShortText("Reason for the differences", longest=500, hint="Left empty: stock-take.", width="w20")
    rows = Rows("Lots", CountRow, "row", most=MOST_LOTS, too_many="Count at most {most} lots at a time.")


class _Counted(Form):
    """The amount of one row, read as its lot is counted."""

    amount = StockAmount("Counted", "", zero=True)


def count_sheet(store: Store, place: str = "") -> CountSheetForm:
    """Return the sheet of a stock-take: the first lots that hold something, by place, material and code."""
    asked = select(Lot.id, Lot.on_hand).where(Lot.on_hand > Decimal(0))
    with store.reading() as session:
        asked = asked.order_by(Lot.place, Lot.material_id, Lot.packaging_id, Lot.code).limit(MOST_LOTS)
        found = session.execute(asked.where(Lot.place == place) if place else asked)
        rows = [CountRow(lot=str(lot_id), seen=plain(on_hand)) for lot_id, on_hand in found]
    return CountSheetForm(rows=rows)


@action(once="stock-take")
def save_count(session: Session, typed: CountSheetForm, *, key: str = "") -> int:
    """Write a stock-take, all of it or nothing, and return how many lots differed.

    Raises:
        Faults: with everything that is wrong, each at its field; also when a lot moved since the sheet was drawn.
    """
    wrong = FaultList()
    form = wrong.read(typed.checked)
    rows = [row for row in typed.text["rows"] if not row.blank]
    numbers = {int(row.text["lot"]) for row in rows if row.text["lot"].isascii() and row.text["lot"].isdecimal()}
    known = lots_by_id(session, numbers)
    counted = [wrong.read(_read_row, session, known, row) for row in rows]
    wrong.finish()
    assert form is not None  # noqa: S101 - nothing was wrong
    return sum(count_lot(session, *one, by=form.by, why=form.why) != 0 for one in counted if one)


def _read_row(session: Session, known: Mapping[int, Lot], row: Any) -> tuple[Lot, Decimal]:
    at = f"{row.at}amount"
    lot = known.get(int(row.lot)) if row.lot.isascii() and row.lot.isdecimal() else None
    if lot is None:
        raise Invalid(at, "There is no such lot.")
    if row.seen != plain(lot.on_hand):
        raise Invalid(
            at, f"Lot {lot.code} moved since this sheet was drawn; it holds {plain(lot.on_hand)} {lot.unit} now."
        )
    typed = _Counted(amount=row.amount)
    try:
        return lot, typed.checked(lot_context(session, lot.material or lot.packaging)).amount.grams
    except Faults as wrong:
        raise Invalid(at, wrong.faults[0].message) from wrong
