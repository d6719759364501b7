"""Kits for a class: they add up to what is weighed, and what is not on the shelf is bought."""

from decimal import Decimal

import pytest
from sqlalchemy import select

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.materials import MaterialRow
from app.store.products import products_of
from app.store.stock import Lot, LotState
from app.work.class_kits import ClassKits, class_kits, read_participants, read_step
from app.work.paper_formula import PaperRequest

CREAM = 2


def kits(store: Store, participants: int, size: str, step: str = "", product: int | None = None) -> ClassKits:
    with store.reading() as session:
        return class_kits(session, PaperRequest(CREAM, size=size, product_id=product), participants, read_step(step))


@pytest.mark.parametrize("step", ["", "1", "0.1", "0.001"])
@pytest.mark.parametrize(("participants", "size"), [(1, "60 g"), (7, "33.3 g"), (24, "100 g"), (100, "5 oz")])
def test_the_kits_add_up_to_what_is_weighed(demo: Store, participants: int, size: str, step: str) -> None:
    found = kits(demo, participants, size, step)
    assert sum(line.line.grams for line in found.lines) == found.recipe.total_g
    assert sum(line.all_g for line in found.lines) == found.all_g == participants * found.recipe.total_g
    needed = sum(one.needed for one in found.wanted if one.unit == "g")
    assert needed == found.all_g
    if step:
        assert all(line.line.grams % Decimal(step) == 0 for line in found.lines if not line.line.is_remainder)


def test_what_is_missing_is_needed_less_what_is_free_on_the_shelf(demo: Store) -> None:
    with demo.transaction() as session:
        lot = session.scalars(select(Lot).join(MaterialRow).where(MaterialRow.name == "Shea butter")).first()
        assert lot is not None
        on_hand = lot.on_hand
        assert lot.state is LotState.ACCEPTED
    few = {one.name: one for one in kits(demo, 1, "60 g").wanted}
    assert few["Shea butter"].missing == 0
    many = {one.name: one for one in kits(demo, 100, "1 kg").wanted}
    shea = many["Shea butter"]
    assert shea.missing == shea.needed - shea.free > 0
    assert shea.free <= on_hand
    assert many["Water, purified"].missing == 0  # drawn at the tap


def test_packaging_is_bought_for_every_unit_of_everybody(demo: Store) -> None:
    with demo.reading() as session:
        product = products_of(session, CREAM)[0]
        per_unit = {pack.packaging.name: pack.per_unit for pack in product.packaging}
        product_id, fill = product.id, product.fill_amount
    assert fill
    found = kits(demo, 5, f"{2 * fill} g", product=product_id)
    pieces = {one.name: one.needed for one in found.wanted if one.unit == "pieces"}
    assert pieces == {name: count * 2 * 5 for name, count in per_unit.items()}


def test_a_weight_too_small_for_the_scale_comes_with_a_stock_solution_for_all(demo: Store) -> None:
    small = next(line for line in kits(demo, 8, "60 g").lines if line.stock)
    assert small.line.grams < Decimal("0.1")
    assert small.stock is not None
    assert small.stock_g == 8 * small.stock.stock_g


@pytest.mark.parametrize(
    ("text", "words"), [("", "how many"), ("2.5", "whole"), ("0", "1"), ("101", "100"), ("many", "number")]
)
def test_a_number_of_participants_that_cannot_be_is_refused(text: str, words: str) -> None:
    with pytest.raises(Invalid, match=words) as fault:
        read_participants(text)
    assert fault.value.field == "participants"


def test_a_scale_that_is_not_offered_is_refused() -> None:
    with pytest.raises(Invalid, match="what the scale shows"):
        read_step("0.3")
