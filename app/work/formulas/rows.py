"""Several lines of a draft at once: doubled, moved, removed, sent to another phase, put in from a table."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

from app.work.formulas.draft import Draft, DraftLine
from app.work.formulas.moves import move_line


def double_lines(draft: Draft, line_ids: Collection[str], new_id: Callable[[], str]) -> Draft:
    """Write each of some lines once more, right below itself; a copy never fills up to 100."""
    lines: list[DraftLine] = []
    for line in draft.lines:
        lines.append(line)
        if line.id in line_ids:
            lines.append(replace(line, id=new_id(), qs=False))
    return replace(draft, lines=tuple(lines))


def remove_lines(draft: Draft, line_ids: Collection[str]) -> Draft:
    """Take lines away."""
    return replace(draft, lines=tuple(line for line in draft.lines if line.id not in line_ids))


def move_lines(draft: Draft, line_ids: Collection[str], step: int) -> Draft:
    """Move lines one place up (-1) or down (+1), in their order; lines at the very edge stay together."""
    order = [line.id for phase in draft.phases for line in draft.lines_of(phase.id) if line.id in line_ids]
    walk = order if step < 0 else order[::-1]
    if not walk or move_line(draft, walk[0], step) == draft:
        return draft
    for line_id in walk:
        draft = move_line(draft, line_id, step)
    return draft


def lines_to_phase(draft: Draft, line_ids: Collection[str], phase_id: str) -> Draft:
    """Put lines at the end of another phase, in their order; nothing happens when there is no such phase."""
    if phase_id not in {phase.id for phase in draft.phases}:
        return draft
    moved = tuple(replace(line, phase=phase_id) for line in draft.in_page_order() if line.id in line_ids)
    return replace(draft, lines=(*remove_lines(draft, line_ids).lines, *moved))


def put_after(draft: Draft, added: Sequence[DraftLine], line_id: str) -> Draft:
    """Put new lines right below one line of their phase; at the end of the phase when that line is not there."""
    place = next((n for n, line in enumerate(draft.lines) if line.id == line_id), len(draft.lines) - 1)
    return replace(draft, lines=(*draft.lines[: place + 1], *added, *draft.lines[place + 1 :]))
