"""Hostile requests: every request of the contract, spoilt in one place, gets an answer or a sentence at a field."""

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.commands import compute

MIX = [{"inci": "Citric Acid", "percent": 0.4, "hydrate": "monohydrate"}, {"inci": "Glycerin", "percent": 5}]
MATERIALS = [
    {
        "name": "perfume",
        "percent": 0.5,
        "composition": [
            {"inci": "Parfum", "percent": 100, "kind": "perfume", "allergens": [{"inci": "Linalool", "percent": 3}]}
        ],
    },
    {"name": "water", "percent": 99.5, "composition": [{"inci": "Aqua", "percent": 100}]},
]
GOOD: dict[str, dict[str, Any]] = {
    "weigh": {
        "lines": [{"id": "a", "qs": True}, {"id": "b", "percent": 0.01}],
        "batch_g": 500,
        "loss_percent": 2,
        "scales": [{"readability_g": 0.01, "capacity_g": 500}],
    },
    "convert": {"quantity": "1 1/2 fl oz", "to": "g", "density_g_ml": 0.92},
    "declaration": {"jurisdiction": "EU", "exposure": "leave-on", "materials": MATERIALS},
    "check": {"jurisdiction": "US", "exposure": "rinse-off", "materials": MATERIALS, "ph": 5},
    "cost": {
        "lines": [{"id": "a", "grams": 10, "price": 4.5, "price_for_g": 250}],
        "packaging": [{"id": "jar", "units_per_pack": 12, "price": 9}],
        "labour_minutes": 30,
        "labour_rate": 20,
        "overhead_percent": 10,
        "batch_g": 500,
        "loss_percent": 3,
        "fill_g": 50,
        "price": 12,
        "tax_percent": 19,
        "currency": "EUR",
    },
    "ph": {"mixture": MIX, "temperature_c": 25, "carbonate": "closed"},
    "dose": {
        "mixture": MIX,
        "target_ph": 5,
        "adjuster": {"inci": "Sodium Hydroxide", "strength_percent": 10},
        "batch_g": 200,
        "readings": [{"added_g": 0.5, "ph": 3}],
    },
    "preservation": {"mixture": [*MIX, {"inci": "Sodium Benzoate", "percent": 0.5}], "exposure": "leave-on"},
    "infer": {"ingredients": ["Aqua", "Glycerin", "Parfum"], "claims": {"Glycerin": 5}},
    "net-content": {
        "nominal": {"value": 50, "unit": "ml"},
        "panel": {"shape": "cylinder", "width_mm": 35, "height_mm": 80},
        "density_g_ml": 0.98,
        "jurisdiction": "EU",
        "fills_g": [50, 49.5],
    },
    "keeping": {
        "made_on": "2026-08-31",
        "formula_months": 6,
        "lots": [{"id": "L1", "expires_on": "2027-01-15"}],
        "jurisdiction": "EU",
    },
    "gel": {"polymer": {"inci": "Carbomer", "percent": 0.4}, "mixture": MIX, "ph": 6},
}
BAD = [
    "1e-400",
    "1e-300",
    1e-320,
    "1e400",
    1e308,
    -1,
    0,
    "0",
    "NaN",
    None,
    [],
    {},
    True,
    "",
    "x" * 500,
    "\ud800",
    10**30,
]


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """List the paths of everything inside a request."""
    if path:
        yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inner:
        yield from places(one, (*path, key))


def spoilt(request: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    made = copy.deepcopy(request)
    inner: Any = made
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    return made


@pytest.mark.parametrize("name", sorted(GOOD))
def test_the_requests_are_good_before_they_are_spoilt(name: str) -> None:
    assert "error" not in json.loads(compute.answer(name, json.dumps(GOOD[name])))


def test_every_computation_that_is_built_has_a_request_here_or_a_test_of_its_own() -> None:
    assert set(GOOD) <= set(compute.names())


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_one_spoilt_place_never_ends_the_lines(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(GOOD)))
    path = data.draw(st.sampled_from(list(places(GOOD[name]))))
    bad = spoilt(GOOD[name], path, data.draw(st.sampled_from(BAD)))
    good = json.dumps(GOOD["convert"]) if name == "convert" else json.dumps(GOOD[name])
    found = list(compute.answer_lines(name, [json.dumps(bad), good]))
    assert len(found) == 2
    assert found[1][0]
    assert "could not be worked out" not in found[0][1]
    if not found[0][0]:
        assert json.loads(found[0][1])["error"]["message"]


@pytest.mark.parametrize(
    ("name", "path", "field"),
    [
        ("cost", ("lines", 0, "price_for_g"), "lines[0].price_for_g"),
        ("cost", ("batch_g",), "batch_g"),
        ("weigh", ("batch_g",), "batch_g"),
        ("dose", ("batch_g",), "batch_g"),
        ("ph", ("mixture", 0, "percent"), "mixture[0].percent"),
    ],
)
@pytest.mark.parametrize("value", ["1e-400", "1e-13", 1e-300])
def test_a_number_too_small_to_be_meant_is_told_at_its_field(name: str, path: Any, field: str, value: Any) -> None:
    (fine, line), *_ = compute.answer_lines(name, [json.dumps(spoilt(GOOD[name], path, value))])
    assert not fine
    assert json.loads(line)["error"] == {
        "field": field,
        "message": "the number is too small: write 0, or at least 1e-12",
    }


@pytest.mark.parametrize(
    ("name", "path", "value", "words"),
    [
        ("check", ("date",), 0, "year-month-day"),
        ("check", ("date",), "20260101", "year-month-day"),
        ("infer", ("date",), "0", "year-month-day"),
        ("keeping", ("made_on",), 1_700_000_000, "year-month-day"),
        ("keeping", ("made_on",), "2026-02-30", "there is no day 2026-02-30"),
        ("keeping", ("made_on",), "9999-12-31", "years 1900 to 9000"),
        ("keeping", ("formula_months",), True, "whole number"),
        ("weigh", ("lines", 0, "qs"), 1, "true or false"),
        ("declaration", ("bilingual",), "yes", "true or false"),
        ("check", ("materials", 0, "composition", 0, "nano"), 0, "true or false"),
    ],
)
def test_a_number_is_no_day_and_no_flag_and_a_flag_is_no_number(name: str, path: Any, value: Any, words: str) -> None:
    (fine, line), *_ = compute.answer_lines(name, [json.dumps(spoilt(GOOD[name], path, value))])
    assert not fine
    fault = json.loads(line)["error"]
    assert words in fault["message"]
    assert fault["field"].endswith(str(path[-1]))


def test_a_fault_of_our_own_is_a_sentence_and_the_next_line_is_answered(monkeypatch: pytest.MonkeyPatch) -> None:
    module = compute.load("convert")
    real, seen = module.compute, []

    def break_once(request: Any) -> Any:
        if not seen:
            seen.append(request)
            raise ZeroDivisionError
        return real(request)

    monkeypatch.setattr(module, "compute", break_once)
    row = json.dumps(GOOD["convert"])
    result = CliRunner().invoke(compute.compute, ["convert", "--lines"], input=f"{row}\n{row}\n")
    first, second = map(json.loads, result.stdout.splitlines())
    assert result.exit_code == 2
    assert "could not be worked out" in first["error"]["message"]
    assert second["unit"] == "g"


def test_a_line_in_another_encoding_is_a_sentence_and_the_others_are_answered() -> None:
    row = json.dumps(GOOD["convert"]).encode()
    lines = b"\xef\xbb\xbf" + row + b"\r\n\n" + "größe".encode("latin-1") + b"\n" + row
    result = CliRunner().invoke(compute.compute, ["convert", "--lines"], input=lines)
    first, second, third = map(json.loads, result.stdout.splitlines())
    assert result.exit_code == 2
    assert first == third
    assert second["error"]["message"] == "the request is not written in UTF-8"


def test_half_a_character_in_a_key_is_refused_and_not_a_traceback() -> None:
    result = CliRunner().invoke(compute.compute, ["convert", "--lines"], input='{"\\ud800": 1}\n')
    assert result.exit_code == 2
    assert isinstance(json.loads(result.stdout), dict)


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        ('{"quantity": "1 g", "quantity": "2 g", "to": "oz"}', "quantity", "twice"),
        ('{"lines": [{"id": "a", "id": "b", "qs": true}], "batch_g": 1}', "id", "twice"),
        ("[" * 100_000, "", "nested too deeply"),
        ('{"quantity": "1 ml", "to": "g", "density_g_ml": 1e99999999999999999999}', "density_g_ml", "finite"),
        ('{"quantity": "1 ml", "to": "g", "density_g_ml": 1e-99999999999999999999}', "density_g_ml", "finite"),
    ],
)
def test_what_json_leaves_open_is_refused(text: str, field: str, words: str) -> None:
    answer = CliRunner().invoke(compute.compute, ["convert"], input=text)
    assert (answer.exit_code, answer.stdout) == (2, "")
    fault = json.loads(answer.stderr)["error"]
    assert fault["field"] == field
    assert words in fault["message"]
