"""A formula as a value: totals, the line to 100, its plain form, and published compositions at other sizes."""

import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science.batch_size import BatchSize, read_batch_size
from app.science.composition import AllergenShare, Part, PartKind, expand
from app.science.emulsion_sides import Affinity, Split, split_formula
from app.science.errors import Invalid
from app.science.formula import (
    Formula,
    HouseholdMeasure,
    Line,
    Material,
    Packaging,
    Phase,
    Price,
    Rates,
    Solvency,
    percent_w_w_from_v_v,
    percent_w_w_from_w_v,
    remainder_percent,
    total_message,
)
from app.science.quantities import parse_quantity, to_grams
from app.science.scales import Scale
from app.science.weighing import weigh

D = Decimal
PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "data" / "published_formulas.json").read_text(encoding="utf-8"), parse_float=Decimal
)["formulas"]
WATER = (Part("Aqua", Decimal(100)),)
OIL = (Part("Olea Europaea Fruit Oil", Decimal(100)),)


def line(key: str, percent: str, parts: tuple[Part, ...] = WATER, **more: Any) -> Line:
    return Line(key, Material(1, key, parts), Decimal(percent), **more)


def test_the_line_to_100_takes_the_remainder() -> None:
    assert remainder_percent([D("5.25"), D(20)]) == D("74.75")
    assert remainder_percent([D("0.1")] * 10) == 99
    assert remainder_percent([D(60), D(41)]) == -1


@pytest.mark.parametrize(
    ("total", "words"),
    [("98.50", "1.5 is missing"), ("101.2", "take 1.2 away"), ("100.00", "add up to 100.")],
)
def test_the_total_is_said_in_words_with_its_figures(total: str, words: str) -> None:
    assert words in total_message(Decimal(total))


def published_grams(item: dict[str, Any]) -> Decimal | None:
    """Read the published quantity through the parser and the density, as a maker would type it."""
    if item["amount"] is None or item["unit"] not in ("g", "mL", "mg", "uL"):
        return None
    density = item["density_g_ml"]
    return to_grams(parse_quantity(f"{item['amount']} {item['unit']}"), None if density is None else Decimal(density))


VOLUMES = [
    pytest.param(item, id=f"{formula['id']}-{item['inci']}")
    for formula in PUBLISHED
    for item in formula["items"]
    if published_grams(item) is not None
]


@pytest.mark.parametrize("item", VOLUMES)
def test_published_quantities_become_the_published_masses(item: dict[str, Any]) -> None:
    found = published_grams(item)
    assert found is not None
    # masses in the table are written to four decimals
    assert abs(found - Decimal(item["mass_g"])) <= Decimal("0.00005")


@pytest.mark.parametrize("formula", PUBLISHED, ids=lambda f: f["id"])
@pytest.mark.parametrize("batch_g", ["100", "250", "8630", "12345.678"])
def test_published_compositions_scale_to_any_batch(formula: dict[str, Any], batch_g: str) -> None:
    masses = [Decimal(item["mass_g"]) for item in formula["items"]]
    whole = sum(masses)
    lines = tuple(
        line(str(place), str(D(item["percent_w_w"])), is_remainder=place == masses.index(max(masses)))
        for place, item in enumerate(formula["items"])
    )
    weighed = weigh(Formula(phases=(Phase("A", lines=lines),), size=BatchSize(D(batch_g))))
    for found, mass in zip(weighed.lines, masses, strict=True):
        # the table gives shares to four places
        assert abs(found.target_g - D(batch_g) * mass / whole) <= D(batch_g) * D("2e-6")


def test_the_who_hand_rub_needs_more_water_than_volumes_suggest() -> None:
    # WHO 2010: 8333 mL ethanol 96 %, 417 mL peroxide 3 %, 145 mL glycerol, water to 10 L of 0.863 g/mL
    typed = (("8333 mL", "0.8074"), ("417 mL", "1.0095"), ("145 mL", "1.256"))
    weighed = [to_grams(parse_quantity(text), Decimal(density)) for text, density in typed]
    water = 10000 * Decimal("0.863") - sum(weighed)
    assert abs(water - Decimal("1298.854")) < Decimal("0.001")
    assert water - (10000 - 8333 - 417 - 145) > 190


def test_percent_by_volume_becomes_percent_by_weight() -> None:
    # 96 % v/v ethanol is 93.9 % w/w at 0.807 g/mL; pure ethanol 0.7893 g/mL (Perry's handbook table)
    found = percent_w_w_from_v_v(Decimal(96), Decimal("0.7893"), Decimal("0.807"))
    assert abs(found - Decimal("93.9")) < Decimal("0.1")
    assert percent_w_w_from_w_v(Decimal(5), Decimal("1.25")) == 4


def test_a_line_without_material_brings_no_substance() -> None:
    blend = (Part("Glycerin", Decimal(60)), Part("AQUA", Decimal(40)))
    lines = (line("w", "90", is_remainder=True), line("b", "10", blend), line("x", "0", ()))
    found = {s.inci: s.percent for s in expand(Formula(phases=(Phase("A", lines=lines),)).dosed)}
    assert found == {"Aqua": Decimal(94), "Glycerin": Decimal(6)}


def test_water_is_water_and_not_the_water_side() -> None:
    mist = Phase("A", lines=(line("w", "50"), line("hydrolat", "40", (Part("Rosa Damascena Flower Water", D(100)),))))
    oily = Phase("B", lines=(line("o", "6", OIL), line("b", "2", (Part("X", D(50)), Part("Aqua", D(40))))))
    rest = Phase("C", lines=(line("p", "2", (Part("Kaolin", D(100)),)),))
    sides = {"OLEA EUROPAEA FRUIT OIL": Affinity.OIL, "ROSA DAMASCENA FLOWER WATER": Affinity.WATER}
    found = split_formula(Formula(phases=(mist, oily, rest)), sides, {"B": Affinity.OIL})
    assert found == Split(water=D("50.8"), with_water=D(40), oil=D("7.2"), other=D(2))
    assert split_formula(Formula(), {}) == Split(D(0), D(0), D(0), D(0))


decimals = st.decimals("0.001", 10**6, places=3)
maybe = st.none() | decimals
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
parts = st.builds(
    Part, texts, decimals, st.sampled_from(PartKind), st.booleans(), st.none() | texts, st.booleans(),
    st.lists(st.builds(AllergenShare, texts, decimals), max_size=2).map(tuple), maybe, maybe,
)  # fmt: skip
prices = st.builds(Price, decimals, decimals, st.booleans(), st.none() | st.dates())
materials = st.builds(
    Material, st.integers(0, 99), texts, st.lists(parts, max_size=2).map(tuple), density_g_ml=maybe,
    form=texts, cautions=texts, use_high=maybe, solvency=st.none() | st.sampled_from(Solvency),
    prices=st.lists(prices, max_size=2).map(tuple),
)  # fmt: skip
measures = st.none() | st.builds(HouseholdMeasure, texts, decimals, st.booleans())
lines_ = st.builds(Line, texts, materials, decimals, st.booleans(), texts, measures)
phases = st.builds(
    Phase, texts, texts, maybe, st.lists(texts, max_size=2).map(tuple), st.lists(lines_, max_size=3).map(tuple)
)
sizes = st.none() | st.builds(BatchSize, decimals, maybe, st.none() | st.integers(0, 99), maybe, texts)
formulas = st.builds(
    Formula, texts, st.lists(phases, max_size=2).map(tuple), texts, texts, texts, texts,
    st.lists(texts, max_size=2).map(tuple), texts, texts, sizes,
    maybe, decimals, st.lists(st.builds(Scale, decimals, maybe, texts, decimals), max_size=2).map(tuple), maybe,
    st.lists(st.builds(Packaging, st.integers(0, 9), texts, decimals, decimals, maybe), max_size=2).map(tuple),
    decimals, maybe, st.builds(Rates, texts, st.integers(0, 4), decimals, decimals, decimals),
)  # fmt: skip


@given(formulas)
@settings(max_examples=60)
def test_the_plain_form_gives_the_same_value_back(formula: Formula) -> None:
    text = formula.to_json()
    assert Formula.from_json(text) == formula
    assert Formula.from_json(text).to_json() == text


def test_a_formula_of_a_later_program_or_none_at_all_is_refused() -> None:
    for text in ('{"schema": 2}', "{}", "[]", '{"schema": 1, "phases": [{"lines": 7}]}', '{"schema": 1, "name": 5}'):
        with pytest.raises(ValueError, match=r"later program|is no"):
            Formula.from_json(text)


def test_what_a_formula_is_worth_is_no_part_of_what_it_is() -> None:
    paid = Price(D(9), D(1000), day=date(2026, 1, 2))
    dear, cheap = (
        Formula(phases=(Phase("A", lines=(Line("a", Material(1, "Oil", OIL, prices=kept), D(100)),)),))
        for kept in ((paid,), ())
    )
    assert dear != cheap
    assert dear.without_prices() == cheap.without_prices()


@pytest.mark.parametrize(
    ("text", "fill", "words", "fill_words", "net_g"),
    [
        ("500 g", "", "500 g", "", "500"),
        ("2 l", "50 ml", "2 L", "50 mL", "1900"),
        ("40 jars", "50 g", "40 units", "50 g", "2000"),
        ("1 kg", "1 oz", "1 kg", "1 oz", "1000"),
    ],
)
def test_a_batch_size_says_how_it_was_asked_for(text: str, fill: str, words: str, fill_words: str, net_g: str) -> None:
    found = read_batch_size(text, fill, D("0.95"))
    assert (found.words, found.fill_words, found.net_g) == (words, fill_words, D(net_g))
    assert read_batch_size(found.words, found.fill_words, D("0.95")) == found


def test_units_are_whole_and_a_million_at_the_most() -> None:
    assert read_batch_size("1000000 units", "0.5 g", None).units == 1_000_000
    for text in ("1000001 units", "0 units", "2.5 units"):
        with pytest.raises(Invalid) as refused:
            read_batch_size(text, "0.5 g", None)
        assert refused.value.field == "batch"
