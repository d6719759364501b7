"""``compute infer``: the contract, the accuracy on known compositions, and bad requests."""

import json
from typing import Any

import pytest

from app.commands.compute import answer, schema
from app.science.errors import Invalid

CREAM = [
    "Aqua",
    "Glycerin",
    "Cetearyl Alcohol",
    "Caprylic/Capric Triglyceride",
    "Phenoxyethanol",
    "Xanthan Gum",
    "Parfum",
]


def ask(ingredients: list[str], **more: Any) -> dict[str, Any]:
    found = json.loads(answer("infer", json.dumps({"ingredients": ingredients, **more})))
    assert isinstance(found, dict)
    return found


def refused(request: dict[str, Any]) -> Invalid:
    with pytest.raises(Invalid) as caught:
        answer("infer", json.dumps(request))
    return caught.value


def test_a_row_a_name_in_printed_order_under_the_printed_name() -> None:
    found = ask(["AQUA (WATER)", "glycerine", "Mystery Gum X"])
    assert [r["name"] for r in found["ingredients"]] == ["AQUA (WATER)", "glycerine", "Mystery Gum X"]
    assert [r["known"] for r in found["ingredients"]] == [True, True, False]
    assert any("Mystery Gum X" in note for note in found["notes"])
    assert set(found) == {"ingredients", "one_percent_line", "conflicts", "notes"}


def test_bands_lie_inside_the_bounds_and_estimates_add_up() -> None:
    found = ask(CREAM)
    for row in found["ingredients"]:
        assert row["low"] <= row["band_low"] <= row["estimate"] <= row["band_high"] <= row["high"]
    assert sum(r["estimate"] for r in found["ingredients"]) == pytest.approx(100, abs=1e-6)
    line = found["one_percent_line"]
    assert len(line["probability"]) == len(CREAM) + 1
    assert sum(line["probability"]) == pytest.approx(1)
    assert line["probability"][line["position"]] == max(line["probability"])
    assert found["conflicts"] == []


@pytest.mark.parametrize("name", ["Glycerin", "GLYCERIN", "glycerine", "Vegetable Glycerin"])
def test_a_claim_is_met_under_any_name_of_the_substance(name: str) -> None:
    row = ask(CREAM, claims={name: "12.5"})["ingredients"][1]
    assert row["low"] == row["high"] == row["estimate"] == 12.5


def test_a_claim_only_narrows_the_bounds() -> None:
    wide, narrow = ask(CREAM)["ingredients"], ask(CREAM, claims={"Cetearyl Alcohol": 4})["ingredients"]
    for before, after in zip(wide, narrow, strict=True):
        assert before["low"] <= after["low"] + 1e-9
        assert after["high"] <= before["high"] + 1e-9


def test_the_legal_maximum_bounds_its_name_and_all_after_it() -> None:
    rows = {r["name"]: r for r in ask(["Aqua", "Potassium Sorbate", "Glycerin"])["ingredients"]}
    assert rows["Potassium Sorbate"]["high"] == pytest.approx(0.6 / 0.7464)
    assert rows["Glycerin"]["high"] == 1
    free = {r["name"]: r for r in ask(["Aqua", "Potassium Sorbate", "Glycerin"], jurisdiction="US")["ingredients"]}
    assert free["Potassium Sorbate"]["high"] == 50


def test_the_product_type_settles_the_scope_of_a_maximum() -> None:
    def high(product_type: str) -> float:
        rows = ask(["Aqua", "Glycerin", "Sodium Benzoate"], product_type=product_type)["ingredients"]
        return float(rows[2]["high"])

    assert high("body lotion") == pytest.approx(0.5 / 0.8475)
    assert high("shampoo") == pytest.approx(2.5 / 0.8475)
    assert high("something else") == pytest.approx(2.5 / 0.8475)


def test_a_kind_of_the_pick_list_settles_the_scope_and_counts_for_the_amounts() -> None:
    def rows(**more: str) -> list[dict[str, Any]]:
        return list(ask(["Aqua", "Glycerin", "Sodium Benzoate"], **more)["ingredients"])

    assert rows(product_kind="body lotion")[2]["high"] == pytest.approx(0.5 / 0.8475)
    assert rows(product_kind="shampoo")[2]["high"] == pytest.approx(2.5 / 0.8475)
    assert rows(product_kind="body lotion")[1]["estimate"] != rows(product_kind="shampoo")[1]["estimate"]
    assert "product_kind" in schema("infer")["request"]["properties"]


def test_a_maximum_that_began_lately_binds_only_when_a_day_is_named() -> None:
    """REACH Annex XVII entry 70: 0.1 % of cyclopentasiloxane in wash-off products from 31 January 2020."""
    names = ["Aqua", "Sodium Laureth Sulfate", "Cyclopentasiloxane"]

    def high(**more: str) -> float:
        return float(ask(names, product_type="shampoo", **more)["ingredients"][2]["high"])

    assert high() > 1
    assert high(date="2019-06-01") > 1
    assert high(date="2026-06-01") == pytest.approx(0.1)


def test_printed_allergens_of_a_rinse_off_lie_above_what_makes_them_printable() -> None:
    """EU 1223/2009 Annex III: 0.01 % in products that are rinsed off."""
    names = ["Aqua", "Sodium Laureth Sulfate", "Cocamidopropyl Betaine", "Sodium Chloride", "Parfum", "Linalool"]
    assert ask(names, product_type="shampoo")["ingredients"][5]["estimate"] >= 0.01


def test_maxima_for_one_purpose_bound_nothing() -> None:
    for name in ("Benzyl Alcohol", "Salicylic Acid", "Cetrimonium Chloride", "Titanium Dioxide"):
        assert ask(["Aqua", name])["ingredients"][1]["high"] == 50


def test_trailing_colours_may_be_larger_than_what_stands_before_them() -> None:
    rows = ask(["Talc", "Mica", "Dimethicone", "CI 77491"])["ingredients"]
    assert rows[3]["high"] > rows[2]["high"]


def test_shades_after_may_contain_are_not_counted() -> None:
    found = ask(["Talc", "Mica", "+/- CI 77491", "CI 77492"])
    assert sum(r["estimate"] for r in found["ingredients"][:2]) == pytest.approx(100)
    assert found["ingredients"][3]["low"] == 0


def test_repeated_names_are_counted_once_with_a_note() -> None:
    found = ask(["Aqua", "Glycerin", "Water"])
    assert [r["name"] for r in found["ingredients"]] == ["Aqua", "Glycerin", "Water"]
    assert any("repeats" in note for note in found["notes"])


def test_a_contradiction_is_an_answer_with_its_ways_out() -> None:
    found = ask(["Aqua", "Potassium Sorbate", "Glycerin"], claims={"Glycerin": 5})
    text = " ".join(found["conflicts"])
    assert "Glycerin is 5 %" in text
    assert "Potassium Sorbate is at most 0.804 %" in text
    assert "Giving up" in text
    assert sum(r["estimate"] for r in found["ingredients"]) == pytest.approx(100)


def test_the_same_list_always_gives_the_same_answer() -> None:
    assert ask(CREAM) == ask(CREAM)


def test_a_list_of_one_name_is_all_of_it() -> None:
    row = ask(["Aqua"])["ingredients"][0]
    assert row["estimate"] == row["low"] == row["high"] == 100


def test_nothing_is_called_safe_or_the_same() -> None:
    notes = " ".join(ask(CREAM)["notes"])
    assert "safe" not in notes
    assert "never proof" in notes


@pytest.mark.parametrize(
    ("request_", "field"),
    [
        ({}, "ingredients"),
        ({"ingredients": []}, "ingredients"),
        ({"ingredients": "Aqua"}, "ingredients"),
        ({"ingredients": ["Aqua", " "]}, "ingredients[1]"),
        ({"ingredients": ["Aqua", "***"]}, "ingredients[1]"),
        ({"ingredients": ["Aqua", 3]}, "ingredients[1]"),
        ({"ingredients": ["x"] * 300}, "ingredients"),
        ({"ingredients": ["Aqua"], "claims": {"Urea": 3}}, "claims.Urea"),
        ({"ingredients": ["Aqua", "Urea"], "claims": {"Urea": 101}}, "claims.Urea"),
        ({"ingredients": ["Aqua", "Urea"], "claims": {"Urea": -1}}, "claims.Urea"),
        ({"ingredients": ["Aqua", "Urea"], "claims": {"Urea": "much"}}, "claims.Urea"),
        ({"ingredients": ["Aqua", "Urea"], "claims": {"Urea": 3, "UREA": 4}}, "claims.UREA"),
        ({"ingredients": ["Aqua"], "jurisdiction": "XX"}, "jurisdiction"),
        ({"ingredients": ["Aqua"], "colour": "red"}, "colour"),
        ({"ingredients": ["Aqua"], "product_kind": "spaceship"}, "product_kind"),
        ({"ingredients": ["Aqua"], "date": "tomorrow"}, "date"),
    ],
)
def test_a_bad_request_names_its_field(request_: dict[str, Any], field: str) -> None:
    assert refused(request_).field == field


def test_the_schema_describes_request_and_answer() -> None:
    assert set(schema("infer")["answer"]["properties"]) == {"ingredients", "one_percent_line", "conflicts", "notes"}


def test_a_repeated_name_keeps_its_row_and_counts_once():
    once = ask(ingredients=["Aqua", "Glycerin", "Panthenol", "Phenoxyethanol", "Parfum"])
    found = ask(ingredients=["Aqua", "Glycerin", "AQUA", "Panthenol", "Phenoxyethanol", "Glycerin", "Parfum"])
    assert [row["name"] for row in found["ingredients"]] == [
        "Aqua", "Glycerin", "AQUA", "Panthenol", "Phenoxyethanol", "Glycerin", "Parfum",
    ]  # fmt: skip
    figures = [{k: v for k, v in row.items() if k != "name"} for row in found["ingredients"]]
    assert figures[2] == figures[0]
    assert figures[5] == figures[1]
    assert [figures[i] for i in (0, 1, 3, 4, 6)] == [
        {k: v for k, v in row.items() if k != "name"} for row in once["ingredients"]
    ]
    line = found["one_percent_line"]
    assert len(line["probability"]) == 8
    assert sum(line["probability"]) == pytest.approx(sum(once["one_percent_line"]["probability"]))
    assert line["probability"][line["position"]] == max(line["probability"])


def test_a_name_nobody_knows_is_named_with_the_nearest():
    notes = ask(ingredients=["Aqua", "Glycerin", "Formaldehyyydee"])["notes"]
    assert any("Formaldehyyydee" in note and "did you mean Formaldehyde?" in note for note in notes)


def test_what_was_measured_and_what_the_pack_says_narrow_the_answer() -> None:
    names = ["Aqua", "Glycerin", "Cetearyl Alcohol", "Niacinamide", "Phenoxyethanol", "Parfum"]
    plain = ask(ingredients=names, product_type="o/w cream")["ingredients"]
    told = ask(
        ingredients=names,
        product_type="o/w cream",
        measured={"drying": "80 ± 1"},
        pack_words="5 % niacinamide, fragrance-free",
    )
    rows = told["ingredients"]
    assert rows[0]["band_high"] - rows[0]["band_low"] < (plain[0]["band_high"] - plain[0]["band_low"]) / 3
    assert 4.5 <= rows[3]["estimate"] <= 5.5
    assert any("free of fragrance" in note for note in told["notes"])
    for after, before in zip(rows[:1], plain[:1], strict=True):
        assert after["low"] >= before["low"]


def test_a_reading_that_is_no_number_is_refused_at_its_field() -> None:
    fault = refused({"ingredients": ["Aqua", "Glycerin"], "measured": {"drying": 130}})
    assert fault.field == "measured.drying"
    assert "0 to 100" in fault.message
