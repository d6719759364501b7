"""The cost sheet against a reckoning by hand from the same prices, and how it grows with the batch."""

from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, select, text

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.materials import MaterialRow, PriceRow
from app.store.workshop import the_workshop
from app.work.cost_sheet import CostSheet
from app.work.formulas.editing import open_draft
from app.work.formulas.results import results_of
from app.work.paper_formula import PaperRequest, batch_sheet_of, cost_sheet_of, formula_asked

CENT = Decimal("1e-9")


def sheet(store: Store, formula_id: int, size: str, loss: str = "0") -> CostSheet:
    with store.reading() as session:
        return cost_sheet_of(session, PaperRequest(formula_id, size=size, loss=loss))


def by_hand(store: Store, formula_id: int, grams: Decimal) -> Decimal:
    """Add up the materials: of what was paid last for a like amount, and of the offers it reaches, the least."""
    with store.reading() as session:
        total = Decimal(0)
        for line in formula_asked(session, PaperRequest(formula_id)).lines:
            needed = grams * line.percent / 100
            prices = sorted(session.get_one(MaterialRow, line.material.id).prices, key=lambda p: p.priced_on)
            paid = [p for p in prices if p.kind.value == "paid"]
            last = [p for p in paid if not any(q.priced_on > p.priced_on and like(p, q) for q in paid)]
            offers = sorted((p for p in prices if p.kind.value == "offered"), key=lambda p: p.quantity_g)
            start = min((p.per_kg for p in last or offers[:1]), default=Decimal(0))
            reached = [p.per_kg for p in offers if p.quantity_g <= needed or p.amount <= start * needed / 1000]
            total += min([start, *reached]) * needed / 1000
        return total


def like(one: PriceRow, other: PriceRow) -> bool:
    return max(one.quantity_g, other.quantity_g) <= 5 * min(one.quantity_g, other.quantity_g)


@pytest.mark.parametrize("formula_id", range(1, 9))
def test_the_materials_of_every_demo_product_cost_what_they_cost_by_hand(demo: Store, formula_id: int) -> None:
    found = sheet(demo, formula_id, "2 kg")
    assert found.costing.batch.materials == pytest.approx(by_hand(demo, formula_id, Decimal(2000)), abs=CENT)
    assert sum(row.amount or Decimal(0) for row in found.materials) == found.batch.materials
    assert sum(row.grams for row in found.materials) == 2000


def test_labour_overhead_and_packaging_are_added_once(demo: Store) -> None:
    found = sheet(demo, 1, "40 units")
    batch = found.costing.batch
    with demo.reading() as session:
        shop = the_workshop(session)
        labour = found.formula.labour_minutes / 60 * shop.labour_rate
        share = shop.overhead_percent / 100
    assert batch.labour == pytest.approx(labour, abs=CENT)
    assert found.batch.packaging == sum(row.amount or 0 for row in found.packaging)
    assert batch.overhead == pytest.approx(share * (batch.materials + batch.packaging + batch.labour), abs=CENT)
    assert found.costing.units == 40
    assert found.costing.per_unit.total * 40 == pytest.approx(batch.total, abs=CENT)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(units=st.integers(1, 3000), factor=st.integers(2, 30))
def test_materials_and_packaging_grow_with_the_batch_and_a_unit_gets_no_dearer(
    demo: Store, units: int, factor: int
) -> None:
    one, many = sheet(demo, 2, f"{units} units"), sheet(demo, 2, f"{units * factor} units")
    assert many.costing.batch.materials <= one.costing.batch.materials * factor + CENT
    assert many.costing.batch.packaging == pytest.approx(one.costing.batch.packaging * factor, abs=CENT)
    assert many.costing.per_unit.total <= one.costing.per_unit.total + CENT


def test_a_material_without_a_price_is_named_and_the_cost_says_at_least(demo: Store) -> None:
    with demo.transaction() as session:
        line = formula_asked(session, PaperRequest(1)).lines[0]
        for price in session.scalars(select(PriceRow).where(PriceRow.material_id == line.material.id)):
            session.delete(price)
    found = sheet(demo, 1, "1 kg")
    assert found.unpriced == (line.name,)
    assert found.costing.at_least
    assert found.materials[0].amount is None


def test_loss_is_paid_for_but_not_sold(demo: Store) -> None:
    without, lossy = sheet(demo, 1, "40 units"), sheet(demo, 1, "40 units", "20")
    assert lossy.costing.units == without.costing.units == 40
    assert lossy.costing.batch.materials == pytest.approx(
        without.costing.batch.materials * Decimal("1.25"), rel=Decimal("1e-4")
    )


def test_a_batch_that_fills_no_unit_has_no_unit_cost(demo: Store) -> None:
    with pytest.raises(Invalid):
        sheet(demo, 1, "1 g")


@pytest.mark.parametrize("formula_id", range(1, 9))
@pytest.mark.parametrize("size", ["500 g", "1 kg", "2.5 kg", "12 kg", "40 units"])
def test_the_parts_of_every_printed_table_make_up_its_total(demo: Store, formula_id: int, size: str) -> None:
    found = sheet(demo, formula_id, size, "3")
    cent = Decimal("0.01")
    for amounts in (found.unit, found.batch):
        assert all(part % cent == 0 for part in amounts.parts)
        assert sum(amounts.parts) == amounts.total
    assert [row.batch for row in found.kinds] == list(found.batch.parts)
    assert sum(row.amount or 0 for row in found.materials) == found.batch.materials
    assert sum(row.amount or 0 for row in found.packaging) == found.batch.packaging
    assert sum(row.grams for row in found.materials) == found.weighing.total_g
    for rows in (found.kinds, found.materials):
        assert sum(row.share_percent for row in rows) == 100


@pytest.mark.parametrize("formula_id", range(1, 9))
def test_page_and_sheets_say_the_same_grams_and_the_same_cost(demo: Store, formula_id: int) -> None:
    with demo.reading() as session:
        page = results_of(session, open_draft(session, formula_id))
        cost = cost_sheet_of(session, PaperRequest(formula_id))
        batch = batch_sheet_of(session, PaperRequest(formula_id))
    assert page.cost is not None
    assert page.cost.costing == cost.costing
    assert page.weighed_g == batch.weighed_g == cost.weighing.total_g
    grams = {line.draft.id: (line.grams, line.places) for line in page.lines}
    assert grams == {line.line.key: (line.weigh_g, line.scale.places) for line in batch.lines}
    assert [row.grams for row in cost.materials] == [line.weigh_g for line in batch.lines]


def test_a_version_can_be_costed_with_todays_prices_and_stays_what_it_was(demo: Store) -> None:
    with demo.transaction() as session:
        for price in session.scalars(select(PriceRow)):
            price.amount *= 2
        session.execute(text("UPDATE workshop SET labour_rate = '30'"))
    with demo.reading() as session:
        kept = cost_sheet_of(session, PaperRequest(2, version_id=2))
        today = cost_sheet_of(session, PaperRequest(2, version_id=2, prices="today"))
    assert today.costing.batch.materials == pytest.approx(2 * kept.costing.batch.materials, abs=CENT)
    assert (kept.job.labour_rate, today.job.labour_rate) == (22, 30)
    assert [row.grams for row in today.materials] == [row.grams for row in kept.materials]


def test_what_counts_something_without_a_price_is_at_least_what_it_comes_to(demo: Store) -> None:
    """The folding box of the hand cream has no price: packaging and the overhead on it, but no material."""
    found = sheet(demo, 2, "40 units")
    assert found.unpriced == ("Folding box",)
    assert [row.kind for row in found.kinds if row.is_least] == ["packaging", "overhead"]


def test_where_nothing_costs_anything_no_kind_has_a_share(demo: Store) -> None:
    with demo.transaction() as session:
        session.execute(delete(PriceRow))
        the_workshop(session).labour_rate = Decimal(0)
    found = sheet(demo, 1, "1 kg")
    assert found.costing.batch.total == 0
    assert [row.share_percent for row in found.kinds] == [0, 0, 0, 0]
