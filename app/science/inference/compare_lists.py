"""Comparing two printed lists: the one a draft came from and the declaration of the draft."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Moved:
    """A name that stands elsewhere: its place (from 1) in the first and in the second list."""

    name: str
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class Comparison:
    """What two lists share and not, names in the order of the list they stand in.

    ``kept`` is a longest run of shared names that stand in the same order in both; ``moved`` the other shared names.
    """

    kept: tuple[str, ...]
    moved: tuple[Moved, ...]
    missing: tuple[str, ...]
    added: tuple[str, ...]

    @property
    def same_order(self) -> bool:
        """Return whether all shared names stand in the same order."""
        return not self.moved


def compare_lists(first: Sequence[str], second: Sequence[str]) -> Comparison:
    """Compare two lists of keys; a key printed twice counts at its first place.

    >>> compare_lists(["AQUA", "UREA", "MEL"], ["AQUA", "MEL", "UREA", "SILICA"]).added
    ('SILICA',)
    """
    before = {key: place for place, key in enumerate(dict.fromkeys(first))}
    after = {key: place for place, key in enumerate(dict.fromkeys(second))}
    shared = [key for key in before if key in after]
    kept = {shared[i] for i in _longest_rise([after[key] for key in shared])}
    return Comparison(
        tuple(key for key in shared if key in kept),
        tuple(Moved(key, before[key] + 1, after[key] + 1) for key in shared if key not in kept),
        tuple(key for key in before if key not in after),
        tuple(key for key in after if key not in before),
    )


def _longest_rise(places: Sequence[int]) -> list[int]:
    """Return the indices of a longest rising run (patience sorting)."""
    ends: list[int] = []
    tops: list[int] = []
    previous: list[int] = []
    for index, place in enumerate(places):
        pile = bisect_left(ends, place)
        previous.append(tops[pile - 1] if pile else -1)
        ends[pile : pile + 1] = [place]
        tops[pile : pile + 1] = [index]
    run, index = [], tops[-1] if tops else -1
    while index >= 0:
        run.append(index)
        index = previous[index]
    return run[::-1]
