"""Kinds of product of the trade: the words the rules know them by, and the kind that a maker's words propose."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from types import MappingProxyType

from rapidfuzz import process
from rapidfuzz.distance import OSA

from app.reference.library import split_cell
from app.reference.tables import read_table
from app.science.rules.values import Exposure

COLUMNS = ["kind", "group", "words", "exposure", "certificate_category", "proposed_from", "source_status"]
# Uses that are ticked beside the kind.
SPECIAL_USES: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "eye area": frozenset({"eye"}),
        "spray": frozenset({"spray"}),
        "oral": frozenset({"oral", "mucous membranes"}),
        "under three": frozenset({"children under 3", "children"}),
        "professional": frozenset({"professional"}),
    }
)


@dataclass(frozen=True, slots=True)
class ProductKind:
    """A kind of product; ``words`` are those of the rules, ``certificate_category`` that of perfume certificates."""

    kind: str
    group: str
    words: frozenset[str]
    exposure: Exposure
    certificate_category: str
    patterns: tuple[str, ...]


@cache
def product_kinds() -> Mapping[str, ProductKind]:
    """Return every kind by its name, in the order of the pick-list."""
    rows = read_table("product_kinds", COLUMNS)
    return MappingProxyType(
        {
            row["kind"]: ProductKind(
                kind=row["kind"],
                group=row["group"],
                words=frozenset(split_cell(row["words"])),
                exposure=Exposure(row["exposure"]),
                certificate_category=row["certificate_category"],
                patterns=split_cell(row["proposed_from"]),
            )
            for row in rows
        }
    )


def kinds_by_group() -> Mapping[str, tuple[ProductKind, ...]]:
    """Return the kinds under the headings of the pick-list."""
    groups = dict.fromkeys(one.group for one in product_kinds().values())
    return {group: tuple(one for one in product_kinds().values() if one.group == group) for group in groups}


def words_for(kind: str, special_uses: Iterable[str] = ()) -> frozenset[str]:
    """Return the words of the rules for a kind of product and its special uses; empty where no kind is known.

    >>> sorted(words_for("lip balm"))
    ['lip', 'lip care', 'mucous membranes']
    """
    found = product_kinds().get(kind)
    words = found.words if found else frozenset()
    return words.union(*(SPECIAL_USES.get(use, frozenset()) for use in special_uses))


@cache
def _patterns() -> tuple[tuple[re.Pattern[str], int, str], ...]:
    found = [
        (re.compile(rf"(?<!\w){_spelled(words)}(?:s|es)?(?!\w)", re.IGNORECASE), len(words), one.kind)
        for one in product_kinds().values()
        for words in one.patterns
    ]
    return tuple(sorted(found, key=lambda item: -item[1]))


def _spelled(words: str) -> str:
    return r"[\s,-]*".join(re.escape(word) for word in re.split(r"[\s,-]+", words))


@lru_cache(maxsize=4096)
def propose_kind(text: str) -> str:
    """Return the kind of product that some words propose, the longest name first; empty where none is recognised.

    >>> propose_kind("Mouthwash with mint"), propose_kind("Self tanner"), propose_kind("something new")
    ('mouthwash', 'self-tanner, body', '')
    """
    return next((kind for pattern, _, kind in _patterns() if pattern.search(text)), "")


def nearest_kind(text: str) -> str:
    """Return the kind that some words mean, or the one spelled most like them; empty where none is near."""
    proposed = propose_kind(text)
    if proposed:
        return proposed
    found = process.extractOne(text, list(product_kinds()), scorer=OSA.normalized_similarity, score_cutoff=0.6)
    return str(found[0]) if found else ""
