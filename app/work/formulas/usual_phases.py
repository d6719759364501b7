"""Lines sorted into the phases where their materials usually go (common practice)."""

from collections.abc import Callable, Mapping
from dataclasses import replace

from app.work.formulas.draft import Draft, DraftPhase

# The hint of a material on the shelf, and the phase it means; a material without one goes with the water.
PHASES: Mapping[str, str] = {
    "water": "Water phase",
    "any": "Water phase",
    "powder": "Water phase",
    "oil": "Oil phase",
    "cool-down": "Cool-down",
    "adjuster": "Adjust the pH",
}
ORDER = tuple(dict.fromkeys(PHASES.values()))


def sort_into_phases(draft: Draft, hints: Mapping[str, str], new_id: Callable[[], str]) -> Draft:
    """Return the draft with its lines in their usual phases, by the hint of the material of each line.

    A phase that has the name already is used; phases that are left without lines, name and method go.
    """
    wanted = {line.id: PHASES.get(hints.get(line.id, ""), "") for line in draft.lines}
    needed = [name for name in ORDER if name in set(wanted.values())]
    if len(needed) < 2:
        return draft
    by_name = {phase.name.strip().casefold(): phase for phase in draft.phases}
    homes = {name: by_name.get(name.casefold()) or DraftPhase(new_id(), name) for name in needed}
    lines = tuple(replace(line, phase=homes[wanted[line.id]].id) if wanted[line.id] else line for line in draft.lines)
    used = {line.phase for line in lines}
    ids = {phase.id for phase in homes.values()}
    others = [p for p in draft.phases if p.id not in ids and (p.id in used or p.name.strip() or p.method.strip())]
    return replace(draft, phases=(*homes.values(), *others), lines=lines)
