import json

import pytest

from app.commands.compute import answer, schema
from app.science.errors import Invalid

CREAM = {
    "jurisdiction": "EU",
    "exposure": "leave-on",
    "materials": [
        {"name": "water", "percent": 95, "composition": [{"inci": "Aqua", "percent": 100}]},
        {"name": "salt", "percent": "0.6", "composition": [{"inci": "sodium benzoate", "percent": 100}]},
        {
            "name": "scent",
            "percent": "0.4",
            "composition": [
                {
                    "inci": "Parfum",
                    "percent": 100,
                    "kind": "perfume",
                    "allergens": [{"inci": "Linalool", "percent": "1.5"}],
                }
            ],
        },
    ],
}


def asked(**changes):
    return json.loads(answer("check", json.dumps({**CREAM, **changes})))


def test_the_answer_has_the_shape_of_the_contract():
    result = asked(ph=5)
    assert set(result) == {"findings", "not_checked"}
    for finding in result["findings"]:
        assert {"rule", "severity", "inci", "message", "source"} <= set(finding)
        assert set(finding) <= {"rule", "severity", "inci", "message", "limit", "found", "source"}
        assert finding["severity"] in ("stop", "caution", "note")
        assert isinstance(finding["inci"], list)
    assert all(isinstance(line, str) for line in result["not_checked"])


def test_a_limit_comes_as_a_plain_number_in_the_terms_of_the_law():
    first = asked(ph=5)["findings"][0]
    assert first["rule"] == "EU 1223/2009 Annex V entry 1"
    assert (first["severity"], first["inci"]) == ("stop", ["sodium benzoate"])
    assert (first["limit"], first["found"]) == (0.5, pytest.approx(0.5085))
    assert "benzoic acid" in first["message"]
    assert "2026-05" in first["source"]


def test_an_allergen_is_a_note():
    found = [f for f in asked()["findings"] if "Linalool" in f["inci"]]
    assert [(f["severity"], f["limit"], f["found"]) for f in found] == [("note", 0.001, 0.006)]


def test_without_a_ph_the_rules_on_ph_are_listed():
    assert any("no pH was given" in line for line in asked()["not_checked"])
    assert not any("no pH was given" in line for line in asked(ph="5.0")["not_checked"])


def test_the_united_states_are_asked_their_own_rules():
    assert not [f for f in asked(jurisdiction="US")["findings"] if f["rule"].startswith("EU")]


def test_shade_colours_do_not_count_towards_the_hundred():
    shades = [{"inci": f"CI 7749{n}", "percent": 60, "kind": "colourant", "may_contain": True} for n in (1, 2)]
    tint = {"name": "tint", "percent": 1, "composition": [*shades, {"inci": "Mica", "percent": 40}]}
    assert asked(materials=[tint])["findings"] is not None


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"jurisdiction": "MOON"}, "jurisdiction"),
        ({"exposure": "sometimes"}, "exposure"),
        ({"materials": []}, "materials"),
        ({"ph": 20}, "ph"),
        ({"ph": "NaN"}, "ph"),
        ({"surprise": 1}, "surprise"),
        (
            {"materials": [{"name": "x", "percent": -1, "composition": [{"inci": "Aqua", "percent": 1}]}]},
            "materials[0].percent",
        ),
        ({"materials": [{"name": "x", "percent": 1, "composition": []}]}, "materials[0].composition"),
        (
            {"materials": [{"name": "x", "percent": 1, "composition": [{"inci": "Aqua", "percent": 60}] * 2}]},
            "materials[0].composition",
        ),
        (
            {"materials": [{"name": "x", "percent": 60, "composition": [{"inci": "Aqua", "percent": 100}]}] * 2},
            "materials",
        ),
        (
            {
                "materials": [
                    {"name": "x", "percent": 1, "composition": [{"inci": "Aqua", "percent": 1, "kind": "magic"}]}
                ]
            },
            "materials[0].composition[0].kind",
        ),
    ],
)
def test_a_request_that_makes_no_sense_is_refused_at_its_field(changes, field):
    with pytest.raises(Invalid) as caught:
        asked(**changes)
    assert caught.value.field == field
    assert caught.value.message


def test_the_schema_names_every_key():
    since = {"product_kind", "date", "formaldehyde_percent"}
    assert set(schema("check")["request"]["properties"]) == {"jurisdiction", "exposure", "materials", "ph"} | since
