"""A draft formula: totals, the q.s. line, faults, and published compositions scaled to other sizes."""

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.composition import Part, expand
from app.science.errors import Invalid
from app.science.formula import (
    Affinity,
    FaultCode,
    Line,
    Split,
    density_of_mixture,
    dosed,
    grams,
    normalised,
    percent_w_w_from_v_v,
    percent_w_w_from_w_v,
    percents,
    percents_from_grams,
    split_strip,
    total_message,
    totals,
)
from app.science.quantities import parse_quantity, to_grams

PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "data" / "published_formulas.json").read_text(encoding="utf-8"), parse_float=Decimal
)["formulas"]
WATER = (Part("Aqua", Decimal(100)),)
OIL = (Part("Olea Europaea Fruit Oil", Decimal(100)),)


def line(id_: str, percent: str | None = None, **more: Any) -> Line:
    more.setdefault("parts", WATER)
    return Line(id_, None if percent is None else Decimal(percent), **more)


def codes(lines: list[Line]) -> list[tuple[FaultCode, str | None]]:
    return [(fault.code, fault.line_id) for fault in totals(lines).faults]


def test_the_line_to_100_takes_the_remainder() -> None:
    found = totals([line("water", qs=True), line("glycerin", "5.25"), line("oil", "20")])
    assert (found.sum_percent, found.qs_percent, found.total_percent, found.faults) == (
        Decimal("25.25"),
        Decimal("74.75"),
        100,
        (),
    )


def test_ten_tenths_are_one() -> None:
    assert totals([line(str(i), "0.1") for i in range(10)]).sum_percent == 1


@pytest.mark.parametrize(
    ("lines", "wanted"),
    [
        ([line("a", "98.5")], [(FaultCode.TOTAL, None)]),
        ([line("a", "101.2")], [(FaultCode.TOTAL, None)]),
        ([line("a", "99.9999999")], [(FaultCode.TOTAL, None)]),
        ([line("a", qs=True), line("b", qs=True)], [(FaultCode.SECOND_QS, "b")]),
        ([line("a", qs=True), line("b", "101")], [(FaultCode.NEGATIVE_QS, "a")]),
        ([line("a", "100", parts=None)], [(FaultCode.NO_MATERIAL, "a")]),
        ([line("a", "100", by_volume=True)], [(FaultCode.NO_DENSITY, "a")]),
        ([line("a", "100", by_volume=True, density_g_ml=Decimal(1))], []),
        ([line("a", qs=True), line("b")], [(FaultCode.NO_PERCENT, "b")]),
        ([line("a", qs=True), line("b", "-1")], [(FaultCode.NEGATIVE, "b")]),
        ([], []),
    ],
)
def test_what_is_wrong_is_named_at_its_line(lines: list[Line], wanted: list[tuple[FaultCode, str | None]]) -> None:
    assert codes(lines) == wanted


@pytest.mark.parametrize(
    ("total", "words"),
    [("98.50", "1.5 is missing"), ("101.2", "take 1.2 away"), ("100.00", "add up to 100.")],
)
def test_the_total_is_said_in_words_with_its_figures(total: str, words: str) -> None:
    assert words in total_message(Decimal(total))


def test_a_second_line_to_100_gets_nothing() -> None:
    assert percents([line("a", qs=True), line("b", "40"), line("c", qs=True)]) == {"a": 60, "b": 40, "c": 0}


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
    masses = {str(i): Decimal(item["mass_g"]) for i, item in enumerate(formula["items"])}
    shares = percents_from_grams(masses)
    for place, item in enumerate(formula["items"]):
        assert abs(shares[str(place)] - Decimal(item["percent_w_w"])) <= Decimal("0.0002")
    scaled = grams([Line(key, share) for key, share in shares.items()], Decimal(batch_g))
    whole = sum(masses.values())
    for key, mass in masses.items():
        assert abs(scaled[key] * whole / Decimal(batch_g) - mass) < Decimal("1e-20")


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


def test_ideal_volumes_give_the_density_of_a_mixture() -> None:
    assert density_of_mixture([(Decimal(50), Decimal(1)), (Decimal(50), Decimal("0.5"))]) == Decimal(100) / 150
    with pytest.raises(Invalid):
        density_of_mixture([])
    with pytest.raises(Invalid, match="above 0"):
        density_of_mixture([(Decimal(1), Decimal(0))])


amounts = st.dictionaries(st.text(max_size=4), st.decimals("0.001", 1000, places=3), min_size=1, max_size=12)


@given(amounts, st.decimals("0.1", 10**5, places=2))
def test_scaling_up_and_down_returns_the_start(masses: dict[str, Decimal], batch_g: Decimal) -> None:
    shares = percents_from_grams(masses)
    scaled = grams([Line(key, share) for key, share in shares.items()], batch_g)
    back = percents_from_grams(scaled)
    for key, share in shares.items():
        assert abs(back[key] - share) < Decimal("1e-20")


def test_a_formula_is_normalised_only_on_request() -> None:
    assert normalised({"a": Decimal(50), "b": Decimal(51)})["a"] == Decimal(5000) / 101
    assert totals([line("a", "50"), line("b", "51")]).sum_percent == 101
    with pytest.raises(Invalid):
        normalised({"a": Decimal(0)})
    with pytest.raises(Invalid):
        percents_from_grams({"a": Decimal(-1), "b": Decimal(2)})


def test_lines_expand_to_substances_with_the_remainder_filled_in() -> None:
    blend = (Part("Glycerin", Decimal(60)), Part("AQUA", Decimal(40)))
    found = {
        s.inci: s.percent
        for s in expand(dosed([line("w", qs=True), line("b", "10", parts=blend), line("x", None, parts=None)]))
    }
    assert found == {"Aqua": Decimal(94), "Glycerin": Decimal(6)}


def test_the_strip_splits_water_oil_and_the_rest() -> None:
    lines = [
        line("w", qs=True, phase="A"),
        line("o", "20", parts=OIL, phase="B"),
        line("p", "3", parts=(Part("Kaolin", Decimal(100)),), phase="C"),
        line("b", "10", parts=(Part("Sorbitan Oleate", Decimal(50)), Part("Aqua", Decimal(40))), phase="B"),
    ]
    sides = {"AQUA": Affinity.WATER, "OLEA EUROPAEA FRUIT OIL": Affinity.OIL}
    assert split_strip(lines, sides, {"B": Affinity.OIL}) == Split(Decimal(71), Decimal(26), Decimal(3))
    assert split_strip([], {}) == Split(Decimal(0), Decimal(0), Decimal(0))
