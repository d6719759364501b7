"""``compute cost`` by the contract."""

import json
from decimal import Decimal
from typing import Any

import pytest

from app.commands.compute import answer
from app.science.errors import Invalid

JOB: dict[str, Any] = {
    "lines": [
        {"id": "water", "grams": 800, "price": "1.00", "price_for_g": 1000},
        {"id": "oil", "grams": 200, "price": 30, "price_for_g": 500},
    ],
    "packaging": [{"id": "jar", "units_per_pack": 24, "price": 12}],
    "labour_minutes": 90,
    "labour_rate": 20,
    "overhead_percent": 10,
    "batch_g": 1000,
    "loss_percent": 3,
    "fill_g": 50,
    "currency": "EUR",
}


def ask(**change: Any) -> dict[str, Any]:
    return json.loads(answer("cost", json.dumps(JOB | change)), parse_float=Decimal)


def test_the_answer_has_the_keys_of_the_contract() -> None:
    found = ask()
    kinds = {"materials", "packaging", "labour", "overhead", "total"}
    assert set(found) == {"units", "per_unit", "batch", "share"}
    assert set(found["per_unit"]) == set(found["batch"]) == kinds
    assert found["units"] == 19
    assert found["batch"] == {
        k: Decimal(v) for k, v in zip(found["batch"], ("12.8", "9.5", "30", "5.23", "57.53"), strict=True)
    }
    assert [(s["id"], s["percent"]) for s in found["share"]] == [("water", Decimal("6.25")), ("oil", Decimal("93.75"))]


def test_the_margin_is_on_the_price_without_tax() -> None:
    found = ask(price="11.90", tax_percent=19)
    assert abs(found["margin_percent"] - (10 - Decimal("57.53") / 19) * 10) < Decimal("1e-9")
    assert ask(price="10")["margin_percent"] == ask(price="10", tax_percent=0)["margin_percent"]
    assert "margin_percent" not in ask(tax_percent=19)


def test_without_packaging_there_is_none() -> None:
    assert ask(packaging=[])["batch"]["packaging"] == 0


def test_the_currency_may_be_written_small() -> None:
    assert ask(currency="usd") == ask()


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"currency": "XYZ"}, "currency"),
        ({"currency": "€"}, "currency"),
        ({"fill_g": 2000}, "fill_g"),
        ({"fill_g": 0}, "fill_g"),
        ({"batch_g": -1}, "batch_g"),
        ({"loss_percent": 100}, "loss_percent"),
        ({"loss_percent": -1}, "loss_percent"),
        ({"price": 0}, "price"),
        ({"tax_percent": -1}, "tax_percent"),
        ({"lines": []}, "lines"),
        ({"lines": [{"id": "a", "grams": 1, "price": 1}]}, "lines[0].price_for_g"),
        ({"lines": [{"id": "a", "grams": 1, "price": 1, "price_for_g": 0}]}, "lines[0].price_for_g"),
        ({"packaging": [{"id": "a", "units_per_pack": 0, "price": 1}]}, "packaging[0].units_per_pack"),
        ({"labour_rate": "NaN"}, "labour_rate"),
        ({"discount": 1}, "discount"),
    ],
)
def test_what_makes_no_sense_is_told_at_its_field(change: dict[str, Any], field: str) -> None:
    with pytest.raises(Invalid) as error:
        ask(**change)
    assert error.value.field == field
