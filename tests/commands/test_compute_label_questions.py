"""``compute net-content`` and ``compute keeping`` by the contract."""

import json

import pytest

from app.commands.compute import answer
from app.science.errors import Invalid


def content(**changes):
    request = {
        "nominal": {"value": 50, "unit": "ml"},
        "panel": {"shape": "rectangle", "width_mm": 40, "height_mm": 60},
        "jurisdiction": "EU",
        **changes,
    }
    return json.loads(answer("net-content", json.dumps(request)))


def test_the_answer_has_the_keys_of_the_contract():
    assert set(content()) == {"text", "min_type_mm", "exempt", "tolerable_negative_error", "why"}
    assert set(content(fills_g=[50], density_g_ml=1)) == {*content(), "lot_passes"}
    assert content(jurisdiction="US")["tolerable_negative_error"] is None


def test_fills_of_a_volume_go_through_the_density():
    assert content(fills_g=[46] * 5, density_g_ml=0.92)["lot_passes"] is True
    assert content(fills_g=[46] * 5, density_g_ml=1)["lot_passes"] is False
    with pytest.raises(Invalid) as error:
        content(fills_g=[46])
    assert error.value.field == "density_g_ml"


def test_a_us_volume_whose_mean_is_short_fails_and_else_is_not_judged():
    short, kept = (content(jurisdiction="US", fills_g=[fill] * 5, density_g_ml=1) for fill in (49, 51))
    assert short["lot_passes"] is False
    assert "lot_passes" not in kept
    assert "mean is kept" in kept["why"][-1]


def test_an_eu_pack_may_be_judged_by_the_us_rule():
    grams = {"nominal": {"value": 50, "unit": "g"}}
    fills = [52] * 19 + [46.3]
    assert content(**grams, fills_g=fills)["lot_passes"] is True
    assert content(**grams, fills_g=fills, rule="US")["lot_passes"] is False


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"nominal": {"value": 50, "unit": "drops"}}, "nominal"),
        ({"nominal": {"value": 50, "unit": "cubits"}}, "nominal.unit"),
        ({"nominal": {"value": 0, "unit": "g"}}, "nominal.value"),
        ({"panel": {"shape": "star", "width_mm": 1, "height_mm": 1}}, "panel.shape"),
        ({"density_g_ml": 1000, "fills_g": [1]}, "density_g_ml"),
        ({"jurisdiction": "UK"}, "jurisdiction"),
    ],
)
def test_a_request_that_makes_no_sense_names_its_field(changes, field):
    with pytest.raises(Invalid) as error:
        content(**changes)
    assert error.value.field == field


def keeping(**changes):
    return json.loads(answer("keeping", json.dumps({"made_on": "2026-08-31", "jurisdiction": "EU", **changes})))


def test_keeping_answers_by_the_contract():
    found = keeping(formula_months=6, lots=[{"id": "L1", "expires_on": "2027-01-15"}], period_after_opening_months=6)
    assert found["use_by"] == "2027-01-15"
    assert found["limited_by"] == "L1"
    assert found["mark"] == "best-before"
    assert found["period_after_opening_months"] == 6
    assert keeping(formula_months=36)["mark"] == "period-after-opening"
    assert any("no date is required" in note for note in keeping(formula_months=12, jurisdiction="US")["notes"])


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({}, "formula_months"),
        ({"formula_months": 0}, "formula_months"),
        ({"formula_months": 12, "made_on": 0}, "made_on"),
        ({"formula_months": 12, "made_on": "2026-02-30"}, "made_on"),
        ({"lots": [{"id": "a", "expires_on": "soon"}]}, "lots[0].expires_on"),
    ],
)
def test_days_that_are_none_are_told(changes, field):
    with pytest.raises(Invalid) as error:
        keeping(**changes)
    assert error.value.field == field
