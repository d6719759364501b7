"""The names that a printed list may hold: the library, the inventory, other ways of printing, likely misspellings."""

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import cache, lru_cache
from types import MappingProxyType

from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA

from app.reference.declaration_names import name_rows
from app.reference.inci_names import inci_names
from app.reference.library import find_substance, substances
from app.reference.near_names import NearNames
from app.reference.synonyms import synonyms
from app.reference.tables import read_table
from app.science.label_list.naming import known
from app.science.label_list.values import Certainty, Match
from app.science.names import inci_key

SHORTEST_GUESS = 6
LEAST_LIKENESS = 80.0
# With 80 % of the letters alike a fifth of those of both names is put in or taken out. One such change breaks one and a
# half of the pairs of neighbouring letters, and names hold half as many pairs as both have letters: 0.5 - 1.5 * 0.2.
LIKE_PAIRS, LIKE_LENGTHS = 0.2, 1.5
ONE_SLIP_TO = 9
TWO_SLIPS_TO = 20
MISREAD = re.compile(r"(?<=[A-Z])[015](?=[A-Z])")  # a figure in the midst of letters: read off a picture
LETTERS = {"0": "O", "1": "L", "5": "S"}
LETTER_RUN = re.compile(r"[^\W\d_]+")
# Abbreviations that labels print in capitals, alone and in compounds such as Bis-PEG/PPG-20/20 (common practice).
CODES = frozenset((
    "AMP", "BHA", "BHT", "DEA", "DIPA", "DMDM", "DNA", "DTPA", "EDTA", "HDI", "HEDTA", "IPDI", "MDI", "MEA", "MIPA",
    "PCA", "PEG", "PG", "PPG", "PTFE", "PVM", "PVP", "RNA", "SMDI", "TDI", "TEA", "TIPA", "VA", "VP",
))  # fmt: skip


# A peel is no slip for a leaf: a part of the plant that is printed stays.
PLANT_PARTS = frozenset((
    "LEAF", "PEEL", "SEED", "ROOT", "FLOWER", "FRUIT", "BARK", "KERNEL", "WOOD", "STEM", "BUD", "HERB", "NUT", "JUICE",
    "SAP", "RESIN", "OIL", "EXTRACT", "WATER", "BUTTER", "WAX", "POWDER", "GUM", "ACID",
))  # fmt: skip


@cache
def printed_otherwise() -> Mapping[str, str]:
    """Return the INCI name by the key of another way to print it, from ``synonyms.csv`` and ``label_synonyms.csv``.

    A collective name that stands for several substances is left out.
    """
    rows = read_table("label_synonyms", ["printed", "inci", "mark"])
    single = {key: names[0] for key, names in synonyms().items() if len(names) == 1}
    found: dict[str, set[str]] = {}  # the colour number by each other name that only one colour has (``Yellow 6``)
    for row in name_rows():
        for key in row.names if row.kind == "colour" and row.eu_name.startswith("CI ") else ():
            found.setdefault(key, set()).add(row.eu_name)
    named = {key: next(iter(numbers)) for key, numbers in found.items() if len(numbers) == 1}
    return MappingProxyType(
        {key: number for key, number in named.items() if key not in substances() and key not in inci_names()}
        | single
        | {inci_key(row["printed"]): row["inci"] for row in rows}
    )


class LabelNames:
    """The shipped names, with what the maker has taught beside them (printed key to INCI name)."""

    def __init__(self, taught: Mapping[str, str] | None = None) -> None:
        self._taught = {inci_key(printed): inci for printed, inci in (taught or {}).items()}

    def find(self, text: str) -> Match | None:
        """Find a text that is a name or a synonym in any case; None when it is neither."""
        key = inci_key(text)
        if key in self._taught:
            return _match(self._taught[key], Certainty.SYNONYM)
        return _find(key)

    def guess(self, text: str) -> Match | None:
        """Find the name a text is a likely misspelling of; None when nothing, or more than one thing, is close."""
        key = inci_key(text)
        clean = MISREAD.sub(lambda sign: LETTERS[sign.group()], key)
        read = self.find(clean) if clean != key else None
        return replace(read, certainty=Certainty.SPELLING) if read else _guess(clean)


@lru_cache(maxsize=20_000)
def is_listed(name: str) -> bool:
    """Return whether a name, as labels or makers write it, is one that the shipped tables know."""
    return known(name, LabelNames()) is not None


@lru_cache(maxsize=20_000)
def nearest_name(name: str) -> str:
    """Return the listed name that a text is most like; empty when none is near (less than 0.8 of the letters agree).

    The likeness is 1 - d / (length of both), d the insertions and deletions from one to the other (indel distance).
    """
    key = inci_key(name)
    guessed = _guess(key)
    if guessed is not None:
        return guessed.inci
    near = _near_names().sharing(key, LIKE_PAIRS, LIKE_LENGTHS)
    found = process.extractOne(key, near, scorer=fuzz.ratio, processor=None, score_cutoff=LEAST_LIKENESS)
    meant = _find(found[0]) if found else None
    return meant.inci if meant else ""


@cache
def _all_names() -> tuple[str, ...]:
    return tuple(dict.fromkeys([*substances(), *printed_otherwise(), *inci_names()]))


@cache
def _near_names() -> NearNames:
    return NearNames(_all_names())


@lru_cache(maxsize=20_000)
def _find(key: str) -> Match | None:
    if key in printed_otherwise():
        return _match(printed_otherwise()[key], Certainty.SYNONYM)
    if key in substances() or key in inci_names():
        return _match(key, Certainty.EXACT)
    other = find_substance(key)
    return _match(other.inci, Certainty.SYNONYM) if other else None


def _match(name: str, certainty: Certainty) -> Match:
    key = inci_key(name)
    shipped = substances().get(key)
    # An inventory name in capitals is written as labels do: each word with a capital; short words and codes stay.
    written = " ".join(word if len(word) < 3 else LETTER_RUN.sub(_capital, word) for word in name.split())
    return Match(key, shipped.inci if shipped else written, certainty)


def _capital(run: re.Match[str]) -> str:
    letters = run.group()
    if letters == "HCL":
        return "HCl"
    return letters if letters in CODES or not letters.isupper() else letters.capitalize()


@cache
def _by_start() -> Mapping[tuple[str, int], tuple[str, ...]]:
    """Group all names by their first letter and their length, to look for misspellings among few."""
    groups: dict[tuple[str, int], list[str]] = {}
    for key in _all_names():
        groups.setdefault((key[:1], len(key)), []).append(key)
    return MappingProxyType({start: tuple(keys) for start, keys in groups.items()})


def slips_allowed(key: str) -> int:
    """Return how many slips of the finger a name of this length may hold."""
    if len(key) < SHORTEST_GUESS:
        return 0
    return 1 if len(key) < ONE_SLIP_TO else 2 if len(key) < TWO_SLIPS_TO else 3


@lru_cache(maxsize=20_000)
def _guess(key: str) -> Match | None:
    slips = slips_allowed(key)
    if not slips:
        return None
    lengths = range(len(key) - slips, len(key) + slips + 1)
    near = [name for length in lengths for name in _by_start().get((key[:1], length), ())]
    close = process.extract(key, near, scorer=OSA.distance, processor=None, score_cutoff=slips, limit=8)
    parts = PLANT_PARTS & set(key.split())
    likely = [
        (name, distance) for name, distance, _ in close if _digits(name) == _digits(key) and parts <= set(name.split())
    ]
    best = [name for name, distance in likely if distance == min(d for _, d in likely)]
    # The library goes before the thousands of the inventory where both are equally close.
    shipped = [name for name in best if name in substances() or name in printed_otherwise()]
    meant = {match.key: match for name in shipped or best if (match := _find(name))}
    found = next(iter(meant.values())) if len(meant) == 1 else None
    return Match(found.key, found.inci, Certainty.SPELLING) if found else None


def _digits(text: str) -> str:
    return "".join(sign for sign in text if sign.isdigit())
