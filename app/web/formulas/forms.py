"""The form of a formula: what was posted becomes a draft, exactly as typed."""

import re
import secrets
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, fields

from werkzeug.datastructures import MultiDict

from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import SaveOrigin
from app.work.formulas.faults import FieldFault

Form = MultiDict[str, str]

USES = ("eye area", "spray", "oral", "under three", "professional")
ONE_LINE = (
    "name",
    "code",
    "product_type",
    "product_kind",
    "exposure",
    "basis",
    "density",
    "batch",
    "fill",
    "loss_percent",
    "target_ph",
    "labour_minutes",
)
LONGEST = 500
LONGEST_TEXT = 10_000
_ID = re.compile(r"[A-Za-z0-9_-]{1,32}")
_ROW = re.compile(r"\d{1,18}")


@dataclass(frozen=True, slots=True)
class PostedFormula:
    """A posted form: the draft, where it started from, what else to do, and what is too long to keep."""

    draft: Draft
    origin: SaveOrigin
    base: Draft | None
    do: str
    faults: tuple[FieldFault, ...]


def new_id() -> str:
    """Make the id of a new row."""
    return "r" + secrets.token_hex(5)


def posted(form: Form) -> PostedFormula:
    """Read a posted form; nothing is refused here but texts that are too long."""
    draft = draft_of(form)
    version = form.get("row_version", "")
    base = _base(form.get("base", ""))
    origin = SaveOrigin(int(version) if _ROW.fullmatch(version) else 0, form.get("editor", "")[:40], base)
    return PostedFormula(draft, origin, base, form.get("do", ""), tuple(_too_long(draft)))


def _base(text: str) -> Draft | None:
    """Read the state that the page started from; anything else than our own writing counts as none."""
    try:
        found = Draft.from_json(text)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return None
    return found if _well_typed(found) else None


def _well_typed(draft: Draft) -> bool:
    rows: tuple[DraftPhase | DraftLine, ...] = (*draft.phases, *draft.lines)
    numbers = {"material_id"}
    values = [(field.name, getattr(row, field.name)) for row in rows for field in fields(row)]
    head = [getattr(draft, name) for name in (*ONE_LINE, "notes", "specification")]
    return all(isinstance(text, str) for text in (*head, *draft.special_uses)) and all(
        type(value) in ((int, type(None)) if name in numbers else (bool,) if name == "qs" else (str,))
        for name, value in values
    )


def draft_of(form: Form) -> Draft:
    """Read the draft out of a posted form; rows in which nothing stands are left out."""
    phases = tuple(_phases(form)) or (DraftPhase("p1"),)
    return Draft(
        **{field: one_line(form.get(field, "")) for field in ONE_LINE},
        special_uses=tuple(use for use in USES if use in form.getlist("special_uses")),
        notes=several_lines(form.get("notes", "")),
        specification=several_lines(form.get("specification", "")),
        phases=phases,
        lines=tuple(_lines(form, {phase.id for phase in phases}, phases[0].id)),
    )


def _ids(form: Form, group: str) -> list[str]:
    return list(dict.fromkeys(row for row in form.getlist(group) if _ID.fullmatch(row)))


def _phases(form: Form) -> Iterable[DraftPhase]:
    for row in _ids(form, "phase"):
        name, temperature = (one_line(form.get(f"phase.{row}.{field}", "")) for field in ("name", "temperature"))
        yield DraftPhase(row, name, temperature, several_lines(form.get(f"phase.{row}.method", "")))


def _lines(form: Form, phases: set[str], home: str) -> Iterable[DraftLine]:
    filling = set(form.getlist("qs"))
    for row in _ids(form, "line"):
        typed, amount, note, phase = (
            one_line(form.get(f"line.{row}.{field}", "")) for field in ("typed", "amount", "note", "phase")
        )
        if typed or amount or note or row in filling:
            yield DraftLine(row, phase if phase in phases else home, typed, None, amount, row in filling, note)


def choices_of(form: Form) -> dict[str, str]:
    """Return the materials that were chosen for lines from the library, by the id of the line."""
    chosen = {row: form.get(f"line.{row}.choice", "") for row in _ids(form, "line")}
    return {row: choice for row, choice in chosen.items() if choice}


def one_line(text: str) -> str:
    """Keep a text as typed, without signs that no field can hold."""
    return " ".join(several_lines(text).split("\n"))


def several_lines(text: str) -> str:
    """Keep a text of several lines as typed, without control signs and half characters."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(sign for sign in plain if sign in "\n\t" or unicodedata.category(sign) not in ("Cc", "Cs"))


def _too_long(draft: Draft) -> Iterable[FieldFault]:
    for field in ONE_LINE:
        yield from _length(field, getattr(draft, field), LONGEST)
    yield from _length("notes", draft.notes, LONGEST_TEXT)
    yield from _length("specification", draft.specification, LONGEST_TEXT)
    for phase in draft.phases:
        yield from _length(f"phase.{phase.id}.method", phase.method, LONGEST_TEXT)
        yield from _length(f"phase.{phase.id}.name", phase.name, LONGEST)
        yield from _length(f"phase.{phase.id}.temperature", phase.temperature, LONGEST)
    for line in draft.lines:
        for field in ("typed", "amount", "note"):
            yield from _length(f"line.{line.id}.{field}", getattr(line, field), LONGEST)


def _length(field: str, text: str, most: int) -> Iterable[FieldFault]:
    if len(text) > most:
        yield FieldFault(field, f"Shorten this to {most:,} characters; it has {len(text):,}. It is not saved yet.")
