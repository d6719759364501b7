"""The ``compute`` command: every calculation of the workbench, asked by JSON."""

import importlib
import json
import pkgutil
import sys
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal, InvalidOperation
from types import ModuleType
from typing import Any

import click
from pydantic import ValidationError

from app.commands import computations
from app.science.errors import Invalid

MOST_CHARACTERS = 20_000_000
MOST_INTEGER_DIGITS = 40


def names() -> list[str]:
    """Return the computations that are built, in alphabetical order."""
    found = (m.name for m in pkgutil.iter_modules(computations.__path__) if not m.name.startswith("_"))
    return sorted(name.replace("_", "-") for name in found)


def load(name: str) -> ModuleType:
    """Import the module of one computation.

    Raises:
        Invalid: when there is no computation of that name.
    """
    if name not in names():
        raise Invalid("NAME", f"there is no computation called {name!r}; the names are {', '.join(names())}")
    return importlib.import_module(f"{computations.__name__}.{name.replace('-', '_')}")


def schema(name: str) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a computation's request and answer."""
    module = load(name)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": name,
        "description": module.SUMMARY,
        "request": _identified(name, "request", module.Request.model_json_schema(mode="validation")),
        "answer": _identified(name, "answer", module.Answer.model_json_schema(mode="validation")),
    }


def _identified(name: str, side: str, schema_of_side: dict[str, Any]) -> dict[str, Any]:
    """Return a schema an identity of its own, so that its references are looked up in itself and not in the whole."""
    return {"$id": f"urn:tarebook:compute:{name}:{side}", **schema_of_side}


def answer(name: str, text: str) -> str:
    """Answer one JSON request with one line of JSON.

    Raises:
        Invalid: naming the field, when the request cannot be read or makes no sense.
    """
    module = load(name)
    try:
        if len(text) > MOST_CHARACTERS:
            raise Invalid("", "the request is too long")
        try:
            value = json.loads(
                text, parse_float=_decimal, parse_int=_integer, parse_constant=float, object_pairs_hook=_each_key_once
            )
        except RecursionError as error:
            raise Invalid("", "the request is nested too deeply") from error
        except json.JSONDecodeError as error:
            raise Invalid("", f"the request is not readable as JSON: {error}") from error
        if not isinstance(value, dict):
            raise Invalid("", "the request must be one JSON object")
        request = module.Request.model_validate(value)
    except ValidationError as error:
        raise _first_fault(error) from error
    try:
        result = module.compute(request).model_dump(mode="python", by_alias=True, exclude_none=True)
        return json.dumps(result, default=_plain, ensure_ascii=False, allow_nan=False)
    except Invalid:
        raise
    except Exception as error:
        # Whatever a computation trips over, the caller gets a sentence and the other lines their answers.
        message = f"this could not be worked out ({type(error).__name__}); please report it with the request"
        raise Invalid("", message) from error


def _each_key_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return a JSON object; of a key that stands twice nobody can tell which value was meant."""
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise Invalid(key, "this key stands twice in one object; keep one of them")
        found[key] = value
    return found


def _decimal(digits: str) -> Decimal | float:
    """Read a number; one whose exponent no decimal holds becomes no number, which its field then refuses."""
    try:
        return Decimal(digits)
    except InvalidOperation:
        return float("nan")


def _integer(digits: str) -> int | Decimal:
    """Read an integer; one too long for ``int`` stays a decimal, so that its field can be named in the refusal."""
    return int(digits) if len(digits) <= MOST_INTEGER_DIGITS else Decimal(digits)


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return int(value) if value == value.to_integral_value() and abs(value) < 10**15 else float(value)
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"cannot write {type(value).__name__}")


WORDS = {
    "missing": "this is missing",
    "extra_forbidden": "there is no such key",
    "greater_than": "must be more than {gt}",
    "greater_than_equal": "must be {ge} or more",
    "less_than": "must be less than {lt}",
    "less_than_equal": "must be {le} or less",
    "literal_error": "must be {expected}",
    "enum": "must be {expected}",
    "string_type": "write a text",
    "string_unicode": "this holds half of a character; enter it whole",
    "string_too_short": "this is empty",
    "string_too_long": "this is longer than {max_length} characters",
    "list_type": "write a list",
    "too_short": "give at least {min_length}",
    "too_long": "give at most {max_length}",
    "bool_type": "write true or false",
    "bool_parsing": "write true or false",
    "model_type": "write an object with named values",
    "dict_type": "write an object with named values",
}


def _first_fault(error: ValidationError) -> Invalid:
    fault = error.errors(include_url=False)[0]
    words = WORDS.get(fault["type"])
    message = words.format(**fault.get("ctx", {})) if words else fault["msg"].removeprefix("Value error, ")
    text = ""
    for step in fault["loc"]:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else str(step)
    return Invalid(text, message)


def fault_line(error: Invalid) -> str:
    """Write an error as the one JSON object of the contract."""
    return json.dumps({"error": {"field": error.field, "message": error.message}}, ensure_ascii=False)


def answer_lines(name: str, lines: Iterable[str | bytes]) -> Iterator[tuple[bool, str]]:
    """Answer one request a line, in order; a bad line, also one in another encoding, gives its error in its place."""
    for line in lines:
        if not line.strip():
            continue
        try:
            yield True, answer(name, line if isinstance(line, str) else _decoded(line))
        except Invalid as error:
            yield False, fault_line(error)


@click.command("compute")
@click.argument("name", required=False)
@click.option("--lines", is_flag=True, help="One request a line, one answer a line.")
@click.option("--list", "list_names", is_flag=True, help="Print the names of the computations.")
@click.option("--schema", "show_schema", is_flag=True, help="Print the JSON Schema of request and answer.")
def compute(name: str | None, lines: bool, list_names: bool, show_schema: bool) -> None:
    """Answer a JSON request read from standard input."""
    if list_names:
        click.echo("\n".join(names()))
        return
    try:
        if name is None:
            raise Invalid("NAME", f"name a computation: {', '.join(names())}")
        if show_schema:
            click.echo(json.dumps(schema(name), indent=2, ensure_ascii=False))
        elif lines:
            load(name)
            good = True
            for fine, line in answer_lines(name, sys.stdin.buffer):
                good = good and fine
                _write(line)
            if not good:
                sys.exit(2)
        else:
            _write(answer(name, _decoded(sys.stdin.buffer.read())))
    except Invalid as error:
        _write(fault_line(error), err=True)
        sys.exit(2)


def _write(text: str, *, err: bool = False) -> None:
    """Write a line in UTF-8 whatever the terminal speaks; half of a surrogate pair is written as its escape."""
    click.echo(text.encode("utf-8", "backslashreplace"), err=err)


def _decoded(typed: bytes) -> str:
    try:
        return typed.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Invalid("", "the request is not written in UTF-8") from error
