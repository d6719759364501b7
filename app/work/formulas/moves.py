"""Changes to the rows of a draft: lines and phases moved, added and removed."""

from dataclasses import replace
from typing import Protocol, TypeVar

from app.science.numbers import plain, sum_result, to_places
from app.work.formulas.draft import Draft, DraftPhase
from app.work.formulas.resolve import Resolution, fills_up

MOST_PHASES = 40


class _Placed(Protocol):
    @property
    def id(self) -> str: ...


R = TypeVar("R", bound=_Placed)


def move_line(draft: Draft, line_id: str, step: int) -> Draft:
    """Move a line one place up (-1) or down (+1); at the edge of its phase it goes over into the next."""
    line = next((line for line in draft.lines if line.id == line_id), None)
    if line is None:
        return draft
    mates = [mate.id for mate in draft.lines_of(line.phase)]
    place = mates.index(line_id) + step
    others = [other for other in draft.lines if other.id != line.id]
    if 0 <= place < len(mates):
        at = next(n for n, other in enumerate(others) if other.id == mates[place]) + int(step > 0)
        return replace(draft, lines=(*others[:at], line, *others[at:]))
    phases = [phase.id for phase in draft.phases]
    beyond = phases.index(line.phase) + step if line.phase in phases else 0
    if not 0 <= beyond < len(phases):
        return draft
    moved = replace(line, phase=phases[beyond])
    return replace(draft, lines=(*others, moved) if step < 0 else (moved, *others))


def remove_line(draft: Draft, line_id: str) -> Draft:
    """Take a line away."""
    return replace(draft, lines=tuple(line for line in draft.lines if line.id != line_id))


def add_phase(draft: Draft, phase_id: str) -> Draft:
    """Add an empty phase at the end."""
    if len(draft.phases) >= MOST_PHASES:
        return draft
    return replace(draft, phases=(*draft.phases, DraftPhase(phase_id)))


def remove_phase(draft: Draft, phase_id: str) -> Draft:
    """Take a phase away; its lines go into the phase before it, or after it. The last phase stays."""
    rest = [phase for phase in draft.phases if phase.id != phase_id]
    if not rest or len(rest) == len(draft.phases):
        return draft
    place = next(n for n, phase in enumerate(draft.phases) if phase.id == phase_id)
    home = rest[max(place - 1, 0)].id
    lines = tuple(replace(line, phase=home) if line.phase == phase_id else line for line in draft.lines)
    return replace(draft, phases=tuple(rest), lines=lines)


def move_phase(draft: Draft, phase_id: str, step: int) -> Draft:
    """Move a phase with its lines one place up (-1) or down (+1)."""
    rows = draft.phases
    place = next((n for n, row in enumerate(rows) if row.id == phase_id), None)
    if place is None or not 0 <= place + step < len(rows):
        moved = tuple(rows)
    else:
        found = list(rows)
        found[place], found[place + step] = found[place + step], found[place]
        moved = tuple(found)
    return replace(draft, phases=moved)


def rename_line(draft: Draft, line_id: str, typed: str) -> Draft:
    """Write another material name into a line."""
    lines = (replace(line, typed=typed) if line.id == line_id else line for line in draft.lines)
    return replace(draft, lines=tuple(lines))


def work_out_sum(draft: Draft, line_id: str) -> Draft:
    """Put the result of a sum that was typed as the amount of a line in its place; anything else stays as it is."""
    typed = next((line.amount for line in draft.lines if line.id == line_id), "")
    result = sum_result(typed)
    if result is None:
        return draft
    lines = (replace(line, amount=plain(result)) if line.id == line_id else line for line in draft.lines)
    return replace(draft, lines=tuple(lines))


def as_percentages(resolution: Resolution) -> Draft:
    """Return the draft with its amounts as percentages w/w; lines that cannot be read keep what is typed.

    A batch size that followed from the amounts is written down.
    """
    draft, formula = resolution.draft, resolution.formula
    lines = []
    for row in draft.lines:
        line, is_remainder = formula.line(row.id), fills_up(row)
        amount = row.amount if line is None else plain(to_places(line.percent, 6))
        lines.append(replace(row, amount="" if is_remainder else amount, qs=is_remainder))
    batch = draft.batch.strip() or (formula.size.words if formula.size else "")
    return replace(draft, basis="w/w", lines=tuple(lines), batch=batch)
