"""Names by their pairs of letters, so that a text is compared only with the names it can be a misspelling of."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.int64]


class NearNames:
    """A list of names that answers which of them can be like a text.

    Every pair of neighbouring letters knows the names that hold it, and of a pair that a name holds several times each
    turn counts for itself. A slip of the finger breaks few pairs (q-gram lemma: E. Ukkonen, Approximate string-matching
    with q-grams and maximal matches, Theoretical Computer Science 92, 1992, 191-211), so names that share too few pairs
    with the text need not be compared letter by letter.
    """

    def __init__(self, names: Iterable[str]) -> None:
        given = tuple(names)
        self._order = np.array(sorted(range(len(given)), key=lambda number: len(given[number])), dtype=np.int64)
        self._names = [given[number] for number in self._order]  # the shortest first, so that a length is a range
        self._lengths = np.array([len(name) for name in self._names], dtype=np.int64)
        letters = _signs("".join(self._names))
        self._alphabet = np.unique(letters)
        self._all_pairs = (len(self._alphabet) + 1) ** 2 * len(self._names)
        places = np.repeat(np.arange(len(self._names)), self._lengths)
        within = places[1:] == places[:-1]
        held = np.sort(self._pairs(letters)[within] + places[:-1][within])
        turns = _turns(held)
        self._held = (held + turns * self._all_pairs)[np.argsort(turns, kind="stable")]
        self._holders = (self._held % len(self._names)).astype(np.int32)

    def _pairs(self, letters: Numbers) -> Numbers:
        """Return a number for each two letters that follow each other, so far apart that places fit between them."""
        at = np.searchsorted(self._alphabet, letters)
        return (at[:-1] * (len(self._alphabet) + 1) + at[1:]) * len(self._names)

    def sharing(self, text: str, pairs: float, longer: float) -> list[str]:
        """Return the names that share enough pairs of letters with a text, in the order they were given in.

        Args:
            text: written as the names are; a letter that no name holds is taken for another, which only lets more in.
            pairs: share of the letters of both together (0..0.5); so many pairs, less one, are shared at the least.
            longer: a name is at most so many times as long as the text, and the text as the name (1 or more).
        """
        low, high = np.searchsorted(self._lengths, [len(text) / longer, len(text) * longer + 1e-9])
        typed = np.sort(self._pairs(_signs(text)))
        first = typed + _turns(typed) * self._all_pairs
        ranges = zip(np.searchsorted(self._held, first + low), np.searchsorted(self._held, first + high), strict=True)
        holders = np.concatenate([self._holders[:0], *(self._holders[start:end] for start, end in ranges)])
        shared = np.bincount(holders - low, minlength=high - low)
        near = low + np.flatnonzero(shared >= pairs * (len(text) + self._lengths[low:high]) - 1)
        return [self._names[place] for place in near[np.argsort(self._order[near])]]


def _signs(text: str) -> Numbers:
    return np.frombuffer(text.encode("utf-32-le", "surrogatepass"), dtype=np.uint32).astype(np.int64)


def _turns(ordered: Numbers) -> Numbers:
    """Return for each of some ordered numbers how many equal ones come before it."""
    starts = np.flatnonzero(np.diff(ordered, prepend=-1))
    return np.arange(len(ordered)) - np.repeat(starts, np.diff(starts, append=len(ordered)))
