"""``compute convert`` by the contract."""

import json
from decimal import Decimal
from typing import Any

import pytest

from app.commands.compute import answer
from app.science.errors import Invalid


def ask(quantity: str, to: str, **more: Any) -> dict[str, Any]:
    return json.loads(answer("convert", json.dumps({"quantity": quantity, "to": to, **more})), parse_float=Decimal)


@pytest.mark.parametrize(
    ("quantity", "to", "value"),
    [
        ("1/2 tsp", "mL", "2.464460796875"),
        ("0,75 g", "mg", "750"),
        ("8 fl oz", "ml", "236.5882365"),
        ("1 lb 3 oz", "g", "538.640939375"),
        ("1 gallon", "L", "3.785411784"),
        ("1 UK pint", "mL", "568.26125"),
        ("1 Australian tbsp", "metric tsp", "4"),
        ("3 tsp", "tbsp", "1"),
        ("0 g", "oz", "0"),
    ],
)
def test_definitions_are_exact(quantity: str, to: str, value: str) -> None:
    found = ask(quantity, to)
    assert set(found) == {"value", "unit", "exact", "notes"}
    assert (found["value"], found["unit"], found["exact"]) == (Decimal(value), to, True)


def test_a_density_joins_volume_and_weight_and_is_not_exact() -> None:
    found = ask("1 tbsp", "g", density_g_ml="0.9608")
    assert abs(found["value"] - Decimal("14.2071")) < Decimal("0.0001")
    assert not found["exact"]
    assert any("0.9608 g/mL" in note for note in found["notes"])
    assert ask("100 g", "mL", density_g_ml=0.8)["value"] == 125


def test_drops_are_rough() -> None:
    found = ask("20 drops", "mL")
    assert (found["value"], found["exact"]) == (1, False)
    assert any("rough" in note for note in found["notes"])


def test_which_spoon_was_meant_is_said() -> None:
    assert any("US customary" in note for note in ask("1 tsp", "mL")["notes"])
    assert ask("1 metric tsp", "mL")["notes"] == []


@pytest.mark.parametrize(
    ("request_", "field"),
    [
        ({"quantity": "1 tbsp", "to": "g"}, "density_g_ml"),
        ({"quantity": "8 oz", "to": "mL"}, "density_g_ml"),
        ({"quantity": "20 drops", "to": "g"}, "density_g_ml"),
        ({"quantity": "1 tbsp", "to": "g", "density_g_ml": 0}, "density_g_ml"),
        ({"quantity": "1 tbsp", "to": "g", "density_g_ml": 920}, "density_g_ml"),
        ({"quantity": "1 g", "to": "mg", "density_g_ml": -1}, "density_g_ml"),
        ({"quantity": "1 blob", "to": "g"}, "quantity"),
        ({"quantity": "-1 g", "to": "g"}, "quantity"),
        ({"quantity": "1,234 g", "to": "g"}, "quantity"),
        ({"quantity": "", "to": "g"}, "quantity"),
        ({"quantity": 5, "to": "g"}, "quantity"),
        ({"quantity": "1 g", "to": "blob"}, "to"),
        ({"quantity": "1 g", "to": "gr"}, "to"),
        ({"quantity": "1 g"}, "to"),
        ({"quantity": "1 g", "to": "g", "density": 1}, "density"),
    ],
)
def test_what_cannot_be_converted_is_told_at_its_field(request_: dict[str, Any], field: str) -> None:
    with pytest.raises(Invalid) as error:
        answer("convert", json.dumps(request_))
    assert error.value.field == field
