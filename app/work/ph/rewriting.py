"""Rewriting one line of a draft: another material, another percentage, the rest in its proportions."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, parse_number, plain, to_places
from app.work.formulas.draft import Draft, DraftLine

PLACES = 4
HUNDRED, ZERO = Decimal(100), Decimal(0)


@dataclass(frozen=True, slots=True)
class Rewrite:
    """A material at a percentage w/w of the finished formula, in the place of ``replaces_id`` where that has a line."""

    material_id: int
    name: str
    percent: Decimal
    replaces_id: int | None = None


def rewritten(draft: Draft, wanted: Rewrite, *, leaving: Collection[int] = ()) -> Draft:
    """Return the draft with the line rewritten; without a q.s. line, the others are scaled to 100 again.

    Lines of the materials in ``leaving`` are taken out; the rewritten line may have taken the place of one.

    Raises:
        Invalid: when the formula is not written in % w/w, or a line of it cannot be read.
    """
    if draft.basis != "w/w":
        raise Invalid("", "The formula is not in % w/w; convert it first, then choose again.")
    lines = {one.material_id: one for one in draft.in_page_order() if one.material_id is not None}
    line = lines.get(wanted.material_id) or lines.get(wanted.replaces_id or 0)
    if line is None:
        line = DraftLine(f"ph{wanted.material_id}", draft.phases[-1].id if draft.phases else "p1")
    amount = plain(to_places(wanted.percent, PLACES))
    changed = replace(line, typed=wanted.name, material_id=wanted.material_id, amount=amount, qs=False)
    there = line.id in {old.id for old in draft.lines}
    written = draft.with_line(changed) if there else replace(draft, lines=(*draft.lines, changed))
    kept = tuple(one for one in written.lines if one.id == changed.id or one.material_id not in leaving)
    written = replace(written, lines=kept)
    return written if any(one.qs for one in written.lines) else _closed(written, changed)


def _closed(draft: Draft, kept: DraftLine) -> Draft:
    """Scale the lines beside ``kept`` so that the whole is 100 again."""
    others = [line for line in draft.lines if line.id != kept.id and line.amount.strip()]
    amounts = {line.id: parse_number(line.amount, "") for line in others}
    rest = HUNDRED - parse_number(kept.amount, "")
    with exact_arithmetic():
        whole = sum(amounts.values(), ZERO)
        if whole <= 0:
            return draft
        scaled = {key: to_places(value * rest / whole, PLACES) for key, value in amounts.items()}
        scaled[max(scaled, key=lambda key: scaled[key])] += rest - sum(scaled.values(), ZERO)
    lines = (replace(line, amount=plain(scaled[line.id])) if line.id in scaled else line for line in draft.lines)
    return replace(draft, lines=tuple(lines))
