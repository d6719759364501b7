"""The compute command: names, schemas, lines, exit codes, and errors that name their field."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from app.commands import compute
from app.science.errors import Invalid

WEIGH = {"lines": [{"id": "water", "qs": True}, {"id": "oil", "percent": 20}], "batch_g": 100}


def run(*arguments: str, text: str | bytes = "") -> Result:
    return CliRunner().invoke(compute.compute, list(arguments), input=text)


def fault(result: Result) -> dict[str, str]:
    """Read the one error object; nothing else may be on either stream."""
    assert result.exit_code == 2
    assert result.stdout == ""
    found = json.loads(result.stderr)["error"]
    assert set(found) == {"field", "message"}
    return found


def of_grams(typed: str) -> str:
    """Write a request whose batch is exactly this piece of JSON."""
    return '{"lines": [{"id": "a", "qs": true}], "batch_g": ' + typed + "}"


def test_the_list_has_a_name_a_line_and_only_what_is_built() -> None:
    listed = run("--list").stdout.split()
    assert listed == sorted(listed)
    assert {"convert", "cost", "declaration", "weigh"} <= set(listed)
    folder = Path(compute.__file__).parent / "computations"
    assert {name.replace("-", "_") for name in listed} == {p.stem for p in folder.glob("[a-z]*.py")}


@pytest.mark.parametrize("name", compute.names())
def test_every_schema_describes_request_and_answer(name: str) -> None:
    result = run(name, "--schema")
    assert result.exit_code == 0
    schema = json.loads(result.stdout)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["request"]["additionalProperties"] is False
    for side in ("request", "answer"):
        assert schema[side]["type"] == "object"
        assert schema[side]["properties"]
        referred = set(re.findall(r'"#/\$defs/([^"]+)"', json.dumps(schema[side])))
        assert referred <= set(schema[side].get("$defs", {}))
        assert schema[side]["$id"].endswith(side)


def test_an_answer_is_one_line_on_standard_output() -> None:
    result = run("weigh", text=json.dumps(WEIGH))
    assert result.exit_code == 0
    assert result.stderr == ""
    assert result.stdout.count("\n") == 1
    assert json.loads(result.stdout)["total_shown_g"] == 100


def test_a_byte_order_mark_is_no_fault() -> None:
    assert run("weigh", text=b"\xef\xbb\xbf" + json.dumps(WEIGH).encode()).exit_code == 0


@pytest.mark.parametrize("text", ["", "{", "[]", "null", "3", '"x"', "[" * 100_000, '{"a":1}}', "{'a': 1}"])
def test_what_is_not_one_json_object_is_refused(text: str) -> None:
    assert fault(run("weigh", text=text))["message"]


def test_bytes_that_are_no_utf_8_are_refused() -> None:
    assert "UTF-8" in fault(run("weigh", text=b'{"lines": "\xff"}'))["message"]


@pytest.mark.parametrize("arguments", [[], ["nothing"], ["nothing", "--schema"], ["nothing", "--lines"], ["_base"]])
def test_a_name_that_is_not_built_is_refused_with_the_names_there_are(arguments: list[str]) -> None:
    found = fault(run(*arguments))
    assert found["field"] == "NAME"
    assert "weigh" in found["message"]


@pytest.mark.parametrize(
    "typed",
    ["NaN", "Infinity", "-Infinity", "1e400", "-1", "0", "null", "true", "[]", "{}", '"abc"', '"NaN"', '"1_0"', '"٣"',
     '""', "9" * 5000, '"' + "9" * 50 + '"', '"1,5"', "1e13"],
)  # fmt: skip
def test_a_number_that_makes_no_sense_is_told_at_its_field(typed: str) -> None:
    assert fault(run("weigh", text=of_grams(typed)))["field"] == "batch_g"


@pytest.mark.parametrize("typed", ['"12.5"', "12.5", '" 12.5 "', "1.25e1", "12.50", '"1.25e1"'])
def test_numbers_may_be_json_numbers_or_decimal_strings(typed: str) -> None:
    assert json.loads(run("weigh", text=of_grams(typed)).stdout)["total_shown_g"] == 12.5


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"extra": 1}, "extra"),
        ({"lines": [{"id": "a", "qs": True, "colour": 1}]}, "lines[0].colour"),
        ({"lines": [{"id": "a", "qs": True}, {"id": "b", "percent": "x"}]}, "lines[1].percent"),
        ({"lines": [{"qs": True}]}, "lines[0].id"),
        ({"lines": "a"}, "lines"),
        ({"lines": [3]}, "lines[0]"),
        ({"scales": [{"readability_g": 0}]}, "scales[0].readability_g"),
        ({"lines": [{"id": "\ud800", "qs": True}]}, "lines[0].id"),
    ],
)
def test_the_field_is_named_in_the_form_of_the_contract(change: dict[str, Any], field: str) -> None:
    assert fault(run("weigh", text=json.dumps(WEIGH | change)))["field"] == field


def test_lines_are_answered_in_order_and_a_bad_one_in_its_place() -> None:
    rows = [json.dumps(WEIGH | {"batch_g": n}) for n in (1, 2, 3)]
    rows[1] = '{"batch_g": -1}'
    result = run("weigh", "--lines", text="\n".join(rows) + "\n")
    answers = [json.loads(row) for row in result.stdout.splitlines()]
    assert result.exit_code == 2
    assert [answers[0]["total_shown_g"], answers[2]["total_shown_g"]] == [1, 3]
    assert answers[1]["error"]["field"] == "lines"
    assert result.stderr == ""


def test_lines_that_are_all_good_end_well() -> None:
    row = json.dumps(WEIGH | {"lines": [{"id": "a\u2028b", "qs": True}]}, ensure_ascii=False)
    result = run("weigh", "--lines", text=f"{row}\r\n\n{row}")
    assert result.exit_code == 0
    assert len(result.stdout.strip().split("\n")) == 2


def test_markup_and_formula_signs_come_back_as_they_went_in() -> None:
    hostile = "<script>alert(1)</script> =cmd|' /C calc'!A0"
    text = json.dumps({"lines": [{"id": hostile, "qs": True}], "batch_g": 1})
    assert json.loads(run("weigh", text=text).stdout)["lines"][0]["id"] == hostile


def test_ten_thousand_lines_are_answered_and_one_more_is_refused() -> None:
    lines = [{"id": str(i), "percent": "0.01"} for i in range(10_000)]
    found = json.loads(compute.answer("weigh", json.dumps({"lines": lines, "batch_g": 100_000})))
    assert found["total_shown_g"] == 100_000
    with pytest.raises(Invalid, match="at most 10000") as error:
        compute.answer("weigh", json.dumps({"lines": [*lines, {"id": "x", "percent": 0}], "batch_g": 1}))
    assert error.value.field == "lines"


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=8,
)
OURS = ("weigh", "convert", "declaration", "cost")
KEYS = ("lines", "batch_g", "scales", "quantity", "to", "materials", "jurisdiction", "packaging", "currency", "fill_g")


@given(st.sampled_from(OURS), st.dictionaries(st.sampled_from(KEYS), json_values, max_size=5))
@settings(max_examples=150)
def test_whatever_is_asked_there_is_an_answer_or_a_sentence(name: str, request: dict[str, Any]) -> None:
    try:
        answer = compute.answer(name, json.dumps(request))
    except Invalid as error:
        answer = compute.fault_line(error)
    assert isinstance(json.loads(answer), dict)
