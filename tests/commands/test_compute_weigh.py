"""``compute weigh`` by the contract."""

import json
from decimal import Decimal
from typing import Any

import pytest

from app.commands.compute import answer
from app.science.errors import Invalid


def ask(**request: Any) -> dict[str, Any]:
    return json.loads(answer("weigh", json.dumps(request)), parse_float=Decimal)


FORMULA = [
    {"id": "water", "qs": True, "phase": "A"},
    {"id": "oil", "percent": 20, "phase": "B"},
    {"id": "e", "percent": "0.02"},
]


def test_the_answer_has_the_keys_of_the_contract() -> None:
    found = ask(lines=FORMULA, batch_g=100)
    assert set(found) == {"lines", "total_shown_g"}
    assert set(found["lines"][0]) == {"id", "percent", "target_g", "shown_g", "scale", "relative_error_percent"}
    assert [line["percent"] for line in found["lines"]] == [Decimal("79.98"), 20, Decimal("0.02")]
    assert found["total_shown_g"] == 100


def test_a_weight_too_small_gets_advice_with_a_stock_solution_and_a_batch() -> None:
    advice = ask(lines=FORMULA, batch_g=100)["lines"][2]["advice"]
    assert (advice["strength_percent"], advice["stock_g"], advice["take_off_g"]) == (2, 1, Decimal("0.98"))
    assert (advice["solvent"], advice["smallest_batch_g"]) == ("water", 500)
    assert "advice" not in ask(lines=FORMULA, batch_g=advice["smallest_batch_g"])["lines"][2]


def test_the_scales_of_the_workshop_are_used() -> None:
    scales = [{"readability_g": 1, "capacity_g": 5000}, {"readability_g": "0.001", "capacity_g": 50}]
    found = ask(lines=FORMULA, batch_g=200, scales=scales)
    assert [line["scale"]["readability_g"] for line in found["lines"]] == [1, Decimal("0.001"), Decimal("0.001")]
    assert sum(line["shown_g"] for line in found["lines"]) == found["total_shown_g"] == 200


def test_a_loss_is_weighed_in_on_top() -> None:
    assert ask(lines=FORMULA, batch_g=2400, loss_percent=4)["total_shown_g"] == 2500


def test_an_id_may_be_a_number() -> None:
    assert ask(lines=[{"id": 7, "qs": True}], batch_g=1)["lines"][0]["id"] == "7"


def test_a_formula_that_does_not_add_up_is_told_with_its_figures() -> None:
    with pytest.raises(Invalid, match="take 1 away") as error:
        ask(lines=[{"id": "a", "percent": 60}, {"id": "b", "percent": 41}], batch_g=1)
    assert error.value.field == "lines"


@pytest.mark.parametrize("batch", ["1e-12", "999999999999.999999999999"])
def test_the_smallest_and_largest_batches_keep_their_last_digit(batch: str) -> None:
    found = ask(lines=FORMULA, batch_g=batch)
    assert float(found["total_shown_g"]) == float(batch)


@pytest.mark.parametrize(
    ("rows", "field", "words"),
    [
        ([{"id": "a", "qs": True}, {"id": "b", "qs": True}], "lines[1].qs", "'a' fills up"),
        ([{"id": "a", "qs": True}, {"id": "b", "percent": 60}, {"id": "c", "percent": 60}], "lines[0].qs", "take 20"),
        ([{"id": "a"}], "lines[0].percent", "percentage"),
        ([{"id": "a", "percent": 1, "qs": True}], "lines[0].percent", "of its own"),
        ([{"id": "a", "percent": 50}, {"id": "a", "percent": 50}], "lines[1].id", "two lines"),
    ],
)
def test_what_is_no_formula_is_told_at_its_place(rows: list[dict[str, Any]], field: str, words: str) -> None:
    with pytest.raises(Invalid, match=words) as error:
        ask(lines=rows, batch_g=100)
    assert error.value.field == field
