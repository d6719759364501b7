"""Two people changed one draft: what each changed is kept, and where both changed the same field, they are asked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from app.work.formulas.draft import Draft
from app.work.formulas.fields import GROUPS, Value, assemble, flat, order, row_name, row_summary, shown, words_of

ABSENT = "(removed)"


@dataclass(frozen=True, slots=True)
class MergeConflict:
    """A field, or a whole row, that both sides changed in different ways since ``base``."""

    path: str
    words: str
    base: str
    theirs: str
    mine: str


@dataclass(frozen=True, slots=True)
class Merged:
    """The draft with both sides' changes, and the clashes that ``picks`` decided or that fell to mine."""

    draft: Draft
    clashes: tuple[MergeConflict, ...]


def merge(base: Draft, theirs: Draft, mine: Draft, picks: Mapping[str, str] | None = None) -> Merged:
    """Merge two drafts that both started from ``base``, field by field and row by row.

    A clash takes the side that ``picks`` names for its path (``mine`` or ``theirs``), else mine.
    """
    chosen = picks or {}
    rows = {group: _Rows(group, base, theirs, mine, chosen) for group in GROUPS}
    gone = {f"{group}.{row_id}" for group, found in rows.items() for row_id in found.gone}
    old, other, own = flat(base), flat(theirs), flat(mine)
    values: dict[str, Value] = {}
    field_clashes = []
    for path in dict.fromkeys([*own, *other]):
        before = old.get(path)
        there, here = other.get(path, before), own.get(path, before)
        takes_theirs = here == before or (chosen.get(path) == "theirs" and there != before)
        values[path] = there if takes_theirs else here
        if path in own and path in other and there not in (before, here) and here != before:
            texts = (shown(path, value, mine) for value in (before, there, here))
            field_clashes.append(MergeConflict(path, words_of(path, mine), *texts))
    row_clashes = [clash for found in rows.values() for clash in found.clashes]
    kept = {path: value for path, value in values.items() if _row_path(path) not in gone}
    orders = {group: found.order for group, found in rows.items()}
    inside = {_row_path(clash.path) for clash in row_clashes}
    clashes = [*row_clashes, *(c for c in field_clashes if _row_path(c.path) not in inside | gone)]
    return Merged(_in_known_phases(assemble(kept, orders)), tuple(clashes))


def _row_path(path: str) -> str:
    return ".".join(path.split(".")[:2])


class _Rows:
    """Which rows of one group stay, in which order, and which removals clash with changes."""

    def __init__(self, group: str, base: Draft, theirs: Draft, mine: Draft, picks: Mapping[str, str]) -> None:
        self.group = group
        self.base, self.theirs, self.mine = base, theirs, mine
        self.picks = picks
        self.old, self.other, self.own = (order(draft, group) for draft in (base, theirs, mine))
        self.changed_there, self.changed_here = (_changed_rows(base, draft) for draft in (theirs, mine))
        self.clashes = [self._clash(row_id) for row_id in self.old if self._clashes(row_id)]
        everything = dict.fromkeys([*self.own, *self.other])
        self.gone = {row_id for row_id in [*everything, *self.old] if not self._stays(row_id)}
        self.order = [row_id for row_id in self._all_in_order() if row_id not in self.gone]

    def _clashes(self, row_id: str) -> bool:
        if (row_id in self.own) == (row_id in self.other):
            return False
        return f"{self.group}.{row_id}" in (self.changed_here if row_id in self.own else self.changed_there)

    def _clash(self, row_id: str) -> MergeConflict:
        sides = [
            row_summary(self.group, row_id, draft) if row_id in order(draft, self.group) else ABSENT
            for draft in (self.base, self.theirs, self.mine)
        ]
        return MergeConflict(f"{self.group}.{row_id}", row_name(self.group, row_id, self.base), *sides)

    def _stays(self, row_id: str) -> bool:
        if row_id not in self.old:
            return True
        if self._clashes(row_id):
            return row_id in (self.other if self.picks.get(f"{self.group}.{row_id}") == "theirs" else self.own)
        return row_id in self.own and row_id in self.other

    def _all_in_order(self) -> Sequence[str]:
        """Follow the side that moved rows, mine when both did; a row of one side comes after its neighbour."""
        moved = _kept(self.own, self.old) != _kept(self.old, self.own)
        first, second = (self.own, self.other) if moved else (self.other, self.own)
        result = list(first)
        for place, row_id in enumerate(second):
            if row_id not in result:
                before = next((r for r in reversed(second[:place]) if r in result), None)
                result.insert(result.index(before) + 1 if before else 0, row_id)
        return result


def _changed_rows(before: Draft, after: Draft) -> set[str]:
    old, new = flat(before), flat(after)
    return {_row_path(path) for path in old if old[path] != new.get(path)}


def _kept(ids: Sequence[str], others: Sequence[str]) -> list[str]:
    return [row_id for row_id in ids if row_id in others]


def _in_known_phases(draft: Draft) -> Draft:
    """Put lines whose phase was removed on one side into the first phase that is left."""
    known = {phase.id for phase in draft.phases}
    if not draft.phases or all(line.phase in known for line in draft.lines):
        return draft
    home = draft.phases[0].id
    return replace(
        draft, lines=tuple(line if line.phase in known else replace(line, phase=home) for line in draft.lines)
    )
