"""The cost sheet against a reckoning by hand from the same prices, and how it grows with the batch."""

from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.materials import Material, Price
from app.store.workshop import the_workshop
from app.work.cost_sheet import CostSheet
from app.work.papers import Asked, cost_sheet_of, formula_asked

CENT = Decimal("1e-9")


def sheet(store: Store, formula_id: int, size: str, loss: str = "0") -> CostSheet:
    with store.reading() as session:
        return cost_sheet_of(session, Asked(formula_id, size=size, loss=loss))


def by_hand(store: Store, formula_id: int, grams: Decimal) -> Decimal:
    """Add up the materials of a batch from the newest price that was paid, or offered where none was."""
    with store.reading() as session:
        lines = formula_asked(session, Asked(formula_id)).lines
        total = Decimal(0)
        for line in lines:
            prices = session.get_one(Material, line.material_id).prices
            paid = [p for p in prices if p.kind.value == "paid"] or list(prices)
            newest = max(paid, key=lambda p: (p.priced_on, p.id)) if paid else None
            total += newest.amount / newest.quantity_g * grams * line.percent / 100 if newest else 0
        return total


@pytest.mark.parametrize("formula_id", range(1, 9))
def test_the_materials_of_every_demo_product_cost_what_they_cost_by_hand(demo: Store, formula_id: int) -> None:
    found = sheet(demo, formula_id, "2 kg")
    assert found.costing.batch.materials == pytest.approx(by_hand(demo, formula_id, Decimal(2000)), abs=CENT)
    assert sum(row.amount or Decimal(0) for row in found.materials) == pytest.approx(
        found.costing.batch.materials, abs=CENT
    )
    assert sum(row.grams for row in found.materials) == 2000


def test_labour_overhead_and_packaging_are_added_once(demo: Store) -> None:
    found = sheet(demo, 1, "40 units")
    batch = found.costing.batch
    with demo.reading() as session:
        shop = the_workshop(session)
        labour = found.formula.labour_minutes / 60 * shop.labour_rate
        share = shop.overhead_percent / 100
    assert batch.labour == pytest.approx(labour, abs=CENT)
    assert batch.packaging == pytest.approx(sum(row.amount or 0 for row in found.packaging), abs=CENT)
    assert batch.overhead == pytest.approx(share * (batch.materials + batch.packaging + batch.labour), abs=CENT)
    assert found.costing.units == 40
    assert found.costing.per_unit.total * 40 == pytest.approx(batch.total, abs=CENT)


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(units=st.integers(1, 3000), factor=st.integers(2, 30))
def test_materials_and_packaging_grow_with_the_batch_and_a_unit_gets_no_dearer(
    demo: Store, units: int, factor: int
) -> None:
    one, many = sheet(demo, 2, f"{units} units"), sheet(demo, 2, f"{units * factor} units")
    assert many.costing.batch.materials == pytest.approx(one.costing.batch.materials * factor, abs=CENT)
    assert many.costing.batch.packaging == pytest.approx(one.costing.batch.packaging * factor, abs=CENT)
    assert many.costing.per_unit.total <= one.costing.per_unit.total + CENT


def test_a_material_without_a_price_is_named_and_the_cost_says_at_least(demo: Store) -> None:
    with demo.transaction() as session:
        line = formula_asked(session, Asked(1)).lines[0]
        for price in session.scalars(select(Price).where(Price.material_id == line.material_id)):
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
