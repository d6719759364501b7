"""Everything that follows from a draft, against figures worked out by hand."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from app.science.composition import Part, PartKind
from app.science.formula import Material, Price
from app.store.materials import PackagingRow, PriceKind, PriceRow
from app.store.products import Product, ProductPackaging
from app.store.workshop import CostBy, Jurisdiction, Paper, Workshop
from app.work.formulas.context import WorkshopContext
from app.work.formulas.draft import Draft
from app.work.formulas.results import Results, _grams, _remarks, percent_words, results
from app.work.pricing import Exchange, PriceBook
from app.work.products.selling import ProductSetting

Shelf = dict[int, Material]
DAY = date(2026, 11, 2)
Make = Callable[..., Draft]


def workshop(sold: ProductSetting | None = None, **more: object) -> WorkshopContext:
    zero = Decimal(0)
    values: dict[str, object] = {
        "labour_rate": zero,
        "overhead_percent": zero,
        "tax_percent": zero,
        "loss_percent": zero,
    }
    values |= {"currency": "EUR", "paper": Paper.A4, "jurisdiction": Jurisdiction.EU, **more}
    shop = Workshop(id=1, name="W", **values)
    return WorkshopContext(shop, (), sold)


def sold_with(piece: PackagingRow, per_unit: str) -> ProductSetting:
    packaging = [ProductPackaging(packaging=piece, per_unit=Decimal(per_unit))]
    product = Product(tax_percent=Decimal(0), front_words="", claims="", packaging=packaging)
    return ProductSetting(product, Decimal(1), PriceBook(Exchange("EUR"), CostBy.BEST, {}))


def work_out(draft: Draft, shelf: Shelf, sold: ProductSetting | None = None, **more: object) -> Results:
    return results(1, draft, shelf, workshop(sold, **more))


def priced(shelf: Shelf, prices: dict[int, str]) -> Shelf:
    known = {key: (Price(Decimal(price), Decimal(1000)),) for key, price in prices.items()}
    return {key: replace(m, prices=known.get(key, ())) for key, m in shelf.items()}


def test_grams_follow_batch_and_loss_and_sum_to_what_is_weighed(draft: Make, shelf: Shelf) -> None:
    found = work_out(draft((1, None), (2, "5"), batch="10 units", fill="48.5 g"), shelf, loss_percent=Decimal(3))
    assert [line.grams for line in found.lines] == [475, 25]
    assert found.weighed_g == 500


@pytest.mark.parametrize(
    ("rows", "state", "figure", "words"),
    [
        ([(1, "98.5")], "short", "98.5", "1.50 % missing"),
        ([(1, "95"), (2, "5")], "whole", "100", "adds up"),
        ([(1, "96.2"), (2, "5")], "over", "101.2", "1.20 % too much"),
        ([(1, None), (2, "28.7")], "whole", "100", "Aqua fills up with 71.30 %"),
        ([(1, None), (2, "80"), (3, "21.2")], "over", "101.2", "1.20 % too much"),
        ([(1, "99.9999")], "short", "99.9999", "0.0001 % missing"),
        ([], "empty", "0", "no line yet"),
    ],
)
def test_the_total_is_said_in_words(draft: Make, shelf: Shelf, rows: list, state: str, figure: str, words: str) -> None:
    total = work_out(draft(*rows), shelf).total
    assert (total.state, total.percent, total.words) == (state, Decimal(figure), words)


def test_ten_tenths_are_a_whole(draft: Make, shelf: Shelf) -> None:
    rows = [(1, "99"), *[(2, "0.1")] * 10]
    assert work_out(draft(*rows), shelf).complete is not None


def test_substances_are_summed_over_materials_and_water_in_a_blend_is_water(draft: Make, shelf: Shelf) -> None:
    blend = replace(shelf[2], parts=(Part("Glycerin", Decimal(86)), Part("aqua", Decimal(14))))
    found = work_out(draft((1, None), (2, "10")), shelf | {2: blend})
    assert [(s.inci, s.percent) for s in found.substances] == [("Aqua", Decimal("91.4")), ("Glycerin", Decimal("8.6"))]


def test_the_strip_is_the_whole_formula(draft: Make, shelf: Shelf) -> None:
    split = work_out(draft((1, None), (2, "5"), (4, "20")), shelf).split
    assert split
    assert split.water + split.with_water + split.oil + split.other == 100
    assert split.water == 75


def test_cost_is_worked_out_by_line_by_kilogram_and_by_unit(draft: Make, shelf: Shelf) -> None:
    jar = PackagingRow(id=1, name="Jar", units_per_pack=Decimal(10))
    jar.prices = [PriceRow(kind=PriceKind.PAID, amount=Decimal(8), currency="", quantity_g=Decimal(10), priced_on=DAY)]
    formula = draft((1, None), (2, "10"), batch="1 kg", fill="100 g", labour_minutes="30")
    shelf = priced(shelf, {1: "1", 2: "9"})
    found = work_out(formula, shelf, sold_with(jar, "2"), labour_rate=Decimal(20)).cost
    assert found
    assert found.materials_per_kg == Decimal("1.8")
    assert found.shares == {"l0": 50, "l1": 50}
    assert found.costing.per_unit.total == Decimal("0.18") + Decimal("1.6") + 1
    assert not found.at_least


def test_what_has_no_price_is_named_and_the_cost_is_at_least(draft: Make, shelf: Shelf) -> None:
    lid = PackagingRow(id=2, name="Lid", units_per_pack=Decimal(1))
    found = work_out(draft((1, None), (2, "10")), priced(shelf, {1: "1"}), sold_with(lid, "1")).cost
    assert found
    assert found.at_least
    assert found.unpriced == ("Glycerin", "Lid")


@pytest.mark.parametrize(("fill", "why"), [("", "Enter the fill"), ("2 kg", "less than one fill")])
def test_a_batch_without_a_unit_has_no_unit_cost(draft: Make, shelf: Shelf, fill: str, why: str) -> None:
    found = work_out(draft((1, None), fill=fill), shelf).cost
    assert found
    assert found.costing.units == 1
    assert why in found.why_no_unit


def test_the_list_is_written_under_the_home_law_first(draft: Make, shelf: Shelf) -> None:
    perfume = replace(shelf[3], parts=(Part("Parfum", Decimal(100), PartKind.PERFUME),))
    formula = draft((1, None), (2, "5"), (3, "0.3"))
    found = work_out(formula, shelf | {3: perfume}, jurisdiction=Jurisdiction.US).declarations
    assert [one.jurisdiction for one in found] == ["US", "EU"]
    assert [one.text for one in found] == ["Water, Glycerin, Fragrance", "Aqua, Glycerin, Parfum"]


def test_a_list_that_cannot_be_written_says_why(draft: Make, shelf: Shelf) -> None:
    too_much = replace(shelf[2], parts=(Part("Glycerin", Decimal(90)), Part("Aqua", Decimal(20))))
    found = work_out(draft((1, None), (2, "5")), shelf | {2: too_much}).declarations
    assert all(one.fault and not one.text for one in found)


def test_an_empty_draft_follows_nothing(draft: Make, shelf: Shelf) -> None:
    found = work_out(draft(), shelf)
    assert (found.declarations, found.cost, found.complete, found.substances) == ((), None, None, ())


def test_a_line_above_its_usual_use_or_retired_is_remarked(draft: Make, shelf: Shelf) -> None:
    odd = replace(shelf[2], use_low=Decimal(1), use_high=Decimal(4), retired=True)
    found = work_out(draft((1, None), (2, "5"), (3, "1")), shelf | {2: odd, 3: replace(shelf[3], parts=())})
    assert found.lines[1].remarks == ("Glycerin is retired on the shelf.", "Above its usual use of 1 to 4 %.")
    assert "no composition yet" in found.lines[2].remarks[0]


@pytest.mark.parametrize(
    ("value", "words"), [("71.3", "71.30"), ("0.123456789", "0.123457"), ("100", "100.00"), ("1E+1", "10.00")]
)
def test_percentages_have_two_places_or_more(value: str, words: str) -> None:
    assert percent_words(Decimal(value)) == words


@pytest.mark.parametrize("rows", [[(1, "50"), (2, "")], [(1, None), (2, "x")], [(1, "60"), (2, "60")], [(1, "60")]])
def test_nothing_pretends_while_the_percentages_are_not_known_or_make_no_100(
    draft: Make, shelf: Shelf, rows: list
) -> None:
    found = work_out(draft(*rows), priced(shelf, {1: "1", 2: "9"}))
    assert (found.cost, found.split, found.weighing) == (None, None, None)
    assert found.total.state != "whole"
    assert all(line.grams is None for line in found.lines if line.is_remainder)


def test_a_line_without_a_percentage_is_counted_in_the_total(draft: Make, shelf: Shelf) -> None:
    total = work_out(draft((1, None), (2, "5"), (3, "")), shelf).total
    assert (total.percent, total.words) == (5, "so far, 1 line has no percentage yet")


@pytest.mark.parametrize(
    ("asked", "percent", "grams", "places"),
    [("99.9", "1.2345", "1.233", 3), ("100", "1.2345", "1.23", 2), ("500", "12.5", "62.50", 2),
     ("50", "0.001", "0.001", 3)],
)  # fmt: skip
def test_grams_without_a_scale_are_worked_out_of_the_batch(asked: str, percent: str, grams: str, places: int) -> None:
    line = SimpleNamespace(percent=Decimal(percent))
    found = _grams(line, None, Decimal(asked), honest=True)  # type: ignore[arg-type]
    assert found == (Decimal(grams), places)
    assert _grams(line, None, Decimal(asked), honest=False) == (None, 2)  # type: ignore[arg-type]
    assert _grams(line, None, None, honest=True) == (None, 2)  # type: ignore[arg-type]
    assert _grams(None, None, Decimal(asked), honest=True) == (None, 2)


def used(low: str | None, high: str | None, *, retired: bool = False, parts: bool = True) -> Any:
    bounds = {name: None if one is None else Decimal(one) for name, one in (("use_low", low), ("use_high", high))}
    return SimpleNamespace(name="Oil", retired=retired, parts=("x",) if parts else (), **bounds)


@pytest.mark.parametrize(
    ("material", "percent", "said"),
    [
        (used("1", "5"), "5", []),
        (used("1", "5"), "5.1", ["Above its usual use of 1 to 5 %."]),
        (used(None, "5"), "5.1", ["Above its usual use of up to 5 %."]),
        (used("1", None), "90", []),
        (used("1", "5"), None, []),
        (used("1", "5", retired=True), "1", ["Oil is retired on the shelf."]),
        (used("1", "5", parts=False), "1", ["Oil has no composition yet, so the label and the checks leave it out."]),
        (None, "5", []),
    ],
)
def test_a_line_is_remarked_on_by_what_is_known_of_its_material(
    material: Any, percent: str | None, said: list[str]
) -> None:
    assert _remarks(material, None if percent is None else Decimal(percent)) == said
