"""``compute declaration`` by the contract."""

import json
from typing import Any

import pytest

from app.commands.compute import answer
from app.science.errors import Invalid


def ask(jurisdiction: str, *materials: dict[str, Any], exposure: str = "leave-on") -> dict[str, Any]:
    request = {"jurisdiction": jurisdiction, "exposure": exposure, "materials": materials}
    return json.loads(answer("declaration", json.dumps(request)))


def material(percent: float | str, *parts: dict[str, Any]) -> dict[str, Any]:
    return {"name": parts[0]["inci"], "percent": percent, "composition": parts}


def part(inci: str, percent: float | str = 100, **more: Any) -> dict[str, Any]:
    return {"inci": inci, "percent": percent, **more}


LINALOOL = [{"inci": "Linalool", "percent": 5}]
FORMULA = (
    material("70.9", part("Aqua")),
    material(20, part("Olea Europaea Fruit Oil")),
    material(1, part("Phenoxyethanol", 90), part("Ethylhexylglycerin", 10)),
    material(1, part("Panthenol", 75), part("AQUA", 25)),
    material(1, part("Titanium Dioxide", kind="colourant", nano=True)),
    material("0.1", part("Rose Oil Base", kind="perfume", allergens=LINALOOL)),
    material(6, part("Zinc Oxide", cas="1314-13-2")),
    material(0, part("Iron Oxides", kind="colourant", may_contain=True, cas="1309-37-1")),
)


@pytest.mark.parametrize(
    ("law", "text"),
    [
        (
            "EU",
            "Aqua, Olea Europaea Fruit Oil, Zinc Oxide, Phenoxyethanol, Panthenol, Ethylhexylglycerin, Parfum, "
            "Linalool, CI 77891 (nano), +/- CI 77491",
        ),
        (
            "US",
            "Water, Olea Europaea (Olive) Fruit Oil, Zinc Oxide, Phenoxyethanol, Panthenol, Ethylhexylglycerin, "
            "Fragrance, Titanium Dioxide, May contain: Iron Oxides",
        ),
    ],
)
def test_a_whole_formula_is_declared(law: str, text: str) -> None:
    found = ask(law, *FORMULA)
    assert set(found) == {"text", "entries", "warnings"}
    assert found["text"] == text
    assert set(found["entries"][0]) == {"name", "percent", "group", "rule"}
    assert {entry["group"] for entry in found["entries"]} == {"main", "below-line", "colourant", "may-contain"}
    assert found["entries"][0]["percent"] == 71.15


def test_the_exposure_decides_on_allergens() -> None:
    assert "Linalool" in ask("EU", *FORMULA)["text"]
    assert "Linalool" not in ask("EU", *FORMULA, exposure="rinse-off")["text"]


@pytest.mark.parametrize(
    ("request_", "field"),
    [
        ({"jurisdiction": "UK"}, "jurisdiction"),
        ({"exposure": "both"}, "exposure"),
        ({"materials": []}, "materials"),
        ({"materials": [{"name": "x", "percent": 100, "composition": []}]}, "materials[0].composition"),
        ({"materials": [{"name": "x", "percent": 101, "composition": [part("A")]}]}, "materials[0].percent"),
        ({"materials": [material(60, part("A")), material(60, part("B"))]}, "materials"),
        ({"materials": [material(100, part("A", 60), part("B", 60))]}, "materials[0].composition"),
        ({"materials": [material(100, part("A", -1))]}, "materials[0].composition[0].percent"),
        ({"materials": [material(100, part("A", kind="paint"))]}, "materials[0].composition[0].kind"),
        ({"materials": [material(100, part("A", color=True))]}, "materials[0].composition[0].color"),
        (
            {"materials": [{"name": "x", "percent": 100, "composition": [part(" ")]}]},
            "materials[0].composition[0].inci",
        ),
        ({"materials": [material(0, part("A"))]}, "materials"),
    ],
)
def test_what_makes_no_sense_is_told_at_its_field(request_: dict[str, Any], field: str) -> None:
    whole = {"jurisdiction": "EU", "exposure": "leave-on", "materials": [material(100, part("Aqua"))]} | request_
    with pytest.raises(Invalid) as error:
        answer("declaration", json.dumps(whole))
    assert error.value.field == field


def test_an_excess_of_a_rounding_is_declared_with_a_warning() -> None:
    found = ask("EU", material("100.0", part("Aqua")), material("0.2", part("Urea")))
    assert any("take 0.2 away" in warning for warning in found["warnings"])
