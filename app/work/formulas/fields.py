"""A draft taken apart into single fields, so that two drafts can be compared and merged field by field."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from app.work.formulas.draft import Draft, DraftLine, DraftPhase

Value = str | int | bool | None | tuple[object, ...]

HEAD_WORDS: Mapping[str, str] = {
    "name": "Name",
    "code": "Code",
    "product_type": "Product type",
    "product_kind": "Kind of product",
    "exposure": "Leave-on or rinse-off",
    "special_uses": "Special uses",
    "basis": "How amounts are meant",
    "density": "Density of the product",
    "batch": "Batch size",
    "fill": "Fill per unit",
    "loss_percent": "Process loss",
    "target_ph": "Target pH",
    "labour_minutes": "Labour",
    "notes": "Notes",
    "specification": "Specification",
}
PHASE_WORDS: Mapping[str, str] = {"name": "Name", "temperature": "Temperature", "method": "Method"}
LINE_WORDS: Mapping[str, str] = {"material": "Material", "amount": "Amount", "note": "Note", "phase": "Phase"}
GROUPS = ("phase", "line")


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field that differs; ``before`` or ``after`` is None where the row is missing."""

    path: str
    words: str
    before: str | None
    after: str | None


def flat(draft: Draft) -> dict[str, Value]:
    """Write a draft as one value per field path, such as ``line.k3.amount``; the order of rows is left out."""
    found: dict[str, Value] = {name: getattr(draft, name) for name in HEAD_WORDS}
    found["qs"] = tuple(line.id for line in draft.lines if line.qs)
    for phase in draft.phases:
        found |= {f"phase.{phase.id}.{name}": getattr(phase, name) for name in PHASE_WORDS}
    for line in draft.lines:
        found |= {
            f"line.{line.id}.{name}": ((line.typed, line.material_id) if name == "material" else getattr(line, name))
            for name in LINE_WORDS
        }
    return found


def order(draft: Draft, group: str) -> tuple[str, ...]:
    """Return the row ids of one group (``phase`` or ``line``) in their order."""
    rows: Sequence[DraftPhase] | Sequence[DraftLine] = draft.phases if group == "phase" else draft.lines
    return tuple(row.id for row in rows)


def assemble(values: Mapping[str, Value], orders: Mapping[str, Sequence[str]]) -> Draft:
    """Put a draft together again from its fields and the order of its rows."""
    head = {name: values[name] for name in HEAD_WORDS}
    qs = values["qs"] if isinstance(values["qs"], tuple) else ()
    lines = []
    for row_id in orders["line"]:
        material, amount, note, phase = _row_values(values, "line", row_id, LINE_WORDS)
        typed, material_id = material if isinstance(material, tuple) else ("", None)
        line = DraftLine(row_id, str(phase), str(typed), material_id, str(amount), row_id in qs, str(note))  # type: ignore[arg-type]
        lines.append(line)
    return replace(
        Draft(),
        **head,  # type: ignore[arg-type]
        phases=tuple(DraftPhase(i, *_row_values(values, "phase", i, PHASE_WORDS)) for i in orders["phase"]),  # type: ignore[arg-type]
        lines=tuple(lines),
    )


def _row_values(values: Mapping[str, Value], group: str, row_id: str, words: Mapping[str, str]) -> list[Value]:
    return [values[f"{group}.{row_id}.{name}"] for name in words]


def changes(before: Draft, after: Draft) -> tuple[FieldChange, ...]:
    """Return what differs between two drafts, in the order of the page, in words."""
    old, new = flat(before), flat(after)
    paths = list(dict.fromkeys([*new, *old]))
    single = []
    for path in paths:
        if old.get(path) != new.get(path):
            draft = after if path in new else before
            texts = [shown(path, side[path], draft) if path in side else None for side in (old, new)]
            single.append(FieldChange(path, words_of(path, draft), *texts))
    moved = []
    for group, words in (("phase", "Order of the phases"), ("line", "Order of the lines")):
        shared = set(order(before, group)) & set(order(after, group))
        order_before, order_after = ([i for i in order(draft, group) if i in shared] for draft in (before, after))
        if order_before != order_after:
            moved.append(FieldChange(f"order.{group}", words, None, "moved"))
    return (*_whole_rows(before, after, single), *moved)


def _whole_rows(before: Draft, after: Draft, single: Sequence[FieldChange]) -> tuple[FieldChange, ...]:
    """Show a row that came or went as one change instead of one per field."""
    old, new = ({(group, row_id) for group in GROUPS for row_id in order(draft, group)} for draft in (before, after))
    kept: dict[str, FieldChange] = {}
    for change in single:
        group, _, rest = change.path.partition(".")
        row_id = rest.partition(".")[0]
        if group not in GROUPS or ((group, row_id) in old and (group, row_id) in new):
            kept[change.path] = change
        elif f"{group}.{row_id}" not in kept:
            came = (group, row_id) in new
            draft = after if came else before
            summary = row_summary(group, row_id, draft)
            texts = (None, summary) if came else (summary, None)
            path = f"{group}.{row_id}"
            kept[path] = FieldChange(path, row_name(group, row_id, draft), *texts)
    return tuple(kept.values())


def words_of(path: str, draft: Draft) -> str:
    """Name a field as a person would: ``Amount of Glycerin``, ``Method of phase A``."""
    if path == "qs":
        return "Line that fills up to 100"
    group, _, rest = path.partition(".")
    row_id, _, name = rest.partition(".")
    if group not in GROUPS:
        return HEAD_WORDS.get(path, path)
    words = {"phase": PHASE_WORDS, "line": LINE_WORDS}[group].get(name, "Row")
    return f"{words} of {row_name(group, row_id, draft)}"


def row_name(group: str, row_id: str, draft: Draft) -> str:
    """Name a row: its material, its phase letter, or its place."""
    place = order(draft, group).index(row_id) + 1 if row_id in order(draft, group) else 0
    if group == "phase":
        return f"phase {draft.letter_of(row_id)}"
    typed = next((line.typed.strip() for line in draft.lines if line.id == row_id), "")
    return typed or f"line {place}"


def row_summary(group: str, row_id: str, draft: Draft) -> str:
    """Say in short what stands in a row."""
    values = flat(draft)
    names = {"phase": ("name",), "line": ("material", "amount")}[group]
    texts = [shown(f"{group}.{row_id}.{name}", values[f"{group}.{row_id}.{name}"], draft) for name in names]
    return ", ".join(text for text in texts if text) or "empty"


def shown(path: str, value: Value, draft: Draft) -> str:
    """Write the value of a field for reading."""
    if path == "qs":
        ids = value if isinstance(value, tuple) else ()
        return ", ".join(row_name("line", str(i), draft) for i in ids) or "none"
    if path.endswith(".material") and isinstance(value, tuple):
        return str(value[0])
    if path.startswith("line.") and path.endswith(".phase"):
        return draft.letter_of(str(value))
    if isinstance(value, tuple):
        return ", ".join(str(word) for word in value)
    return "" if value is None else str(value)
