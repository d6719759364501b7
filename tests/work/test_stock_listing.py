"""Pages of what is on hand: which rows stand on them, by which day something is due, and the order to use lots in."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlalchemy import select

from app.store.engine import Store
from app.store.materials import MaterialRow, PackagingRow
from app.store.stock import Lot, LotState
from app.work.clock import now, today
from app.work.equipment import PACKAGING, PackagingForm
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.stock import listing
from app.work.stock.listing import attention, load_stock, lots_of, stock_page, stock_row, stock_rows
from app.work.stock.lots import CountForm, ReceiveForm, count_by_hand, receive

D = Decimal
DAY = today()


def material(store: Store, name: str, **more: Any) -> int:
    return add_material(store, MaterialForm(name, parts=(PartForm("Glycerin"),), **more))


def lot(store: Store, of: int, amount: str = "100 g", **texts: str) -> int:
    form = ReceiveForm(**{"amount": amount, "by": "I", "accepted": "yes", "received_on": "2026-01-01", **texts})
    return receive(store, form, material_id=of)


def day(away: int) -> str:
    return (DAY + timedelta(away)).isoformat()


DATES = [
    # expires, re-test, usable, first due, due within 30 days
    ("", "", True, "", False),
    (day(0), "", True, day(0), True),
    (day(-1), "", False, day(-1), True),
    ("", day(0), True, day(0), True),
    ("", day(-1), False, day(-1), True),
    (day(30), "", True, day(30), True),
    ("", day(30), True, day(30), True),
    (day(31), "", True, day(31), False),
    (day(40), day(35), True, day(35), False),
    (day(35), day(40), True, day(35), False),
    (day(40), day(-1), False, day(-1), True),
]


@pytest.mark.parametrize(("expires", "retest", "usable", "due", "soon"), DATES)
def test_a_lot_is_usable_to_its_last_day_and_due_by_the_earlier_of_its_dates(
    store: Store, expires: str, retest: str, usable: bool, due: str, soon: bool
) -> None:
    oil = material(store, "Oil")
    lot(store, oil, expires_on=expires, retest_on=retest)
    with store.reading() as session:
        row = stock_row(session, session.get_one(MaterialRow, oil))
        (same,) = stock_rows(session)
        shown = stock_rows(session, show=listing.DUE)
        seen = attention(session)
    assert row == same
    assert (row.usable, row.spent) == ((100, 0) if usable else (0, 100))
    assert (row.first_due.isoformat() if row.first_due else "") == due
    assert bool(shown) is soon
    assert (seen.soon, seen.expired) == (int(soon and usable), int(not usable))


def test_rows_stand_for_what_is_there_needed_or_to_be_kept(store: Store) -> None:
    material(store, "Kept", reorder="1 kg")
    material(store, "Empty")
    oil, gone = material(store, "Oil"), material(store, "Gone")
    held = lot(store, oil)
    lot(store, gone)
    PACKAGING.add(store, PackagingForm("Jar", reorder="10"))
    PACKAGING.add(store, PackagingForm("Box"))
    receive(store, ReceiveForm(amount="5", by="I", received_on="2026-01-01"), packaging_id=1)
    with store.transaction() as session:
        session.get_one(MaterialRow, gone).retired_at = now()
    with store.reading() as session:
        assert [row.name for row in stock_rows(session)] == ["Jar", "Kept", "Oil"]
        assert [row.name for row in stock_rows(session, every=True)] == ["Box", "Empty", "Jar", "Kept", "Oil"]
        assert [row.name for row in stock_rows(session, "il O")] == ["Oil"]
        assert [row.name for row in stock_rows(session, show=listing.LOW)] == ["Jar", "Kept"]
        assert [row.name for row in stock_rows(session, show=listing.HELD)] == ["Jar"]
        jar = stock_row(session, session.get_one(PackagingRow, 1))
        assert (jar.unit, jar.held, jar.usable, jar.reorder, jar.lots) == ("pieces", 5, 0, 10, 1)
        rows, place, count = stock_page(session, "", 1)
        assert ([row.name for row in rows], place, count) == (["Jar", "Kept", "Oil"], 1, 3)
        assert stock_page(session, "oil", 1)[2] == 1
        seen = attention(session)
        assert (seen.low, seen.held) == (2, 1)
    assert [row.name for row in load_stock(store, "", listing.LOW, 5)[0]] == ["Jar", "Kept"]
    count_by_hand(store, held, CountForm(amount="0", by="I"))
    with store.reading() as session:
        assert [row.name for row in stock_rows(session)] == ["Jar", "Kept"]


def test_pages_are_cut_by_name_and_a_number_beyond_them_is_the_last(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listing, "PAGE", 2)
    for name in ("e", "B", "d"):
        material(store, name, reorder="1 g")
    PACKAGING.add(store, PackagingForm("c", reorder="10"))
    PACKAGING.add(store, PackagingForm("A", reorder="10"))
    for show in (listing.ALL, listing.LOW):
        pages = {n: load_stock(store, "", show, n) for n in (0, 1, 2, 3, 4)}
        assert {n: [row.name for row in rows] for n, (rows, *_) in pages.items()} == {
            0: ["A", "B"], 1: ["A", "B"], 2: ["c", "d"], 3: ["e"], 4: ["e"],
        }  # fmt: skip
        assert [pages[n][1:] for n in (0, 3, 4)] == [(1, 5), (3, 5), (3, 5)]
        assert load_stock(store, "nothing", show, 2) == ([], 1, 0)


def test_lots_are_used_in_order_of_their_dates_then_the_oldest_and_empty_ones_stand_last(store: Store) -> None:
    oil = material(store, "Oil")
    empty = lot(store, oil, expires_on=day(1))
    count_by_hand(store, empty, CountForm(amount="0", by="I"))
    undated_new = lot(store, oil, received_on="2026-02-02")
    undated_old = lot(store, oil)
    late = lot(store, oil, expires_on=day(50), retest_on=day(20))
    soon = lot(store, oil, expires_on=day(10))
    past = lot(store, oil, received_on="2020-01-01", expires_on="2021-01-01")
    held = lot(store, oil, accepted="")
    with store.reading() as session:
        order = [soon, late, undated_old, undated_new, past, held]
        assert [one.id for one in lots_of(session, material_ids=[oil])] == order
        assert [one.id for one in lots_of(session, material_ids=[oil], empty=True)] == [*order, empty]
        assert lots_of(session, material_ids=[oil + 1]) == []
        assert session.scalars(select(Lot.state).where(Lot.id == held)).one() is LotState.QUARANTINE


def test_nothing_is_low_where_no_stock_is_kept(store: Store, gel: Any) -> None:
    with store.reading() as session:
        assert attention(session).low == 0
        assert all(row.is_low for row in stock_rows(session) if not row.drawn_here)
    lot(store, gel.materials["glycerin"], "15 g")
    with store.reading() as session:
        # Carbomer and alkali are short; what is drawn here never is.
        assert attention(session).low == sum(row.is_low for row in stock_rows(session)) > 0
        glycerin = next(row for row in stock_rows(session) if row.name.startswith("Glycerin"))
        assert (glycerin.reserved, glycerin.free, glycerin.is_low) == (15, 0, False)
