"""Search as you type over names, INCI names, CAS numbers and functions, for the shelf and for the library.

Words may stand in any order, be only begun, hold accents or not, and carry a slip of the finger. What is called just
as it was typed comes first, then what begins so. The index is made once for a list of entries; a query then reads only
the words it needs.
"""

import re
import unicodedata
from bisect import bisect_left
from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from heapq import nsmallest
from itertools import pairwise
from typing import Generic, TypeVar

from rapidfuzz.distance import OSA
from rapidfuzz.process import extract

K = TypeVar("K", bound=Hashable)

ALONE, FIRST, OTHERS, JOINED, FUNCTION = 1.0, 0.9, 0.8, 0.75, 0.5
EXACT, BEGUN, INSIDE, MISSPELT, SLIP = 1.0, 0.85, 0.55, 0.7, 0.15
SHORT = 5  # letters
CALLED_SO, BEGINS_SO = 3, 2  # how an entry stands to a query that is one of its names, or the first words of one
_WORD = re.compile(r"\d{2,7}-\d{1,2}(?:-\d?)?(?!\w)|[^\W_]+")
# Ways to write a word that mean the same in the trade (common practice).
_SAME = (
    (re.compile(r"\bvit\b"), "vitamin"),
    (re.compile(r"\bessential oil\b|\beo\b"), "oil"),
    (re.compile(r"sulph"), "sulf"),
    (re.compile(r"\baluminium\b"), "aluminum"),
    (re.compile(r"\b(?:huile essentielle|aceite esencial|essential oil)\b"), "oil"),
    (re.compile(r"\b(?:huile|aceite|olie|olio|oleo)\b"), "oil"),
    (re.compile(r"\b(?:beurre|manteca|boter|burro)\b"), "butter"),
    (re.compile(r"\b(?:eau|agua|acqua)\b"), "water"),
    (re.compile(r"\b(?:acide|acido|zuur)\b"), "acid"),
    (re.compile(r"\b(?:de|du|des|di|del|della|la|le)\b\s*(?=\S)"), ""),
)
_ELIDED = re.compile(r"\b[dl]['’](?=\w)", re.IGNORECASE)  # huile d'argan, extrait d'aloès
# Words that say too little to find something by when the others are not known.
_GENERAL = {
    "acid", "alcohol", "and", "base", "blend", "butter", "certified", "clear", "cold", "cosmetic", "extract", "flower",
    "free", "grade", "gum", "heavy", "in", "leaf", "light", "liquid", "mix", "natural", "of", "oil", "organic", "plant",
    "powder", "pressed", "pure", "raw", "refined", "seed", "solution", "the", "unrefined", "vegetable", "virgin",
    "water", "wax",
}  # fmt: skip
_UNSPLIT = str.maketrans({"æ": "ae", "œ": "oe", "ø": "o", "ß": "ss", "ł": "l", "đ": "d", "’": "", "'": ""})


@dataclass(frozen=True, slots=True)
class SearchEntry(Generic[K]):
    """Something that can be found; ``id`` is what the caller knows it by."""

    id: K
    name: str
    inci: tuple[str, ...] = ()
    cas: tuple[str, ...] = ()
    functions: tuple[str, ...] = ()
    other_names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Hit(Generic[K]):
    """A found entry; ``sure`` means no spelling was guessed.

    ``standing`` is 3 for what is called just as it was typed, 2 when its name begins with those words, 1 when it begins
    with those letters, 0 otherwise; within one standing a higher ``score`` is a better answer.
    """

    entry: SearchEntry[K]
    score: float
    sure: bool
    standing: int = 0


def fold(text: str) -> str:
    """Take case and accents off, so that what people type meets what is written.

    >>> fold("Crème À l'Huile")
    'creme a lhuile'
    """
    plain = unicodedata.normalize("NFKD", text).casefold().translate(_UNSPLIT)
    return "".join(sign for sign in unicodedata.normalize("NFKD", plain) if not unicodedata.combining(sign))


def words_of(text: str) -> list[str]:
    """Split a text into folded words; a CAS number, also one being typed, stays one word.

    >>> words_of("Coco-Glucoside, 110615-47-9")
    ['coco', 'glucoside', '110615-47-9']
    """
    return [word.rstrip("-") for word in _WORD.findall(fold(_ELIDED.sub("", text)))]


@dataclass(frozen=True)
class Index(Generic[K]):
    """The entries, their words in order, and for each word the entries that hold it with the weight of the field.

    ``called`` are the folded names that an entry goes by: its own, its INCI name when it has only one, its other names.
    """

    entries: tuple[SearchEntry[K], ...]
    words: tuple[str, ...]
    places: tuple[tuple[tuple[int, float], ...], ...]
    called: tuple[tuple[str, ...], ...]
    _heads: dict[int, dict[str, range]] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def text(self) -> str:
        """All words in one string, each after a line break, to look for a word inside others."""
        return "\n" + "\n".join(self.words)

    @cached_property
    def starts(self) -> list[int]:
        """Where each word begins in `text`."""
        found, at = [], 1
        for word in self.words:
            found.append(at)
            at += len(word) + 1
        return found

    @cached_property
    def sized(self) -> dict[int, dict[str, range]]:
        """The words by their length, each with its own number."""
        found: dict[int, dict[str, range]] = {}
        for number, word in enumerate(self.words):
            found.setdefault(len(word), {})[word] = range(number, number + 1)
        return found

    def heads(self, length: int) -> dict[str, range]:
        """Return the beginnings of that length, each with the numbers of the words that begin so; kept once made."""
        if length not in self._heads:
            self._heads[length] = _heads(self.words, length)
        return self._heads[length]


def _heads(words: tuple[str, ...], length: int) -> dict[str, range]:
    found: dict[str, range] = {}
    for number, word in enumerate(words):
        head = word[:length]
        found[head] = range(found[head].start if head in found else number, number + 1)
    return found


def build_index(entries: Iterable[SearchEntry[K]]) -> Index[K]:
    """Prepare entries for `search`; 5,000 of them take a fraction of a second."""
    kept = tuple(entries)
    found: dict[str, dict[int, float]] = {}
    for number, entry in enumerate(kept):
        for word, weight in _weighted_words(entry):
            places = found.setdefault(word, {})
            places[number] = max(weight, places.get(number, 0.0))
    ordered = sorted(found)
    places_of = tuple(tuple(found[word].items()) for word in ordered)
    called = tuple(
        tuple(" ".join(words_of(text)) for text in (e.name, *(e.inci if len(e.inci) == 1 else ()), *e.other_names))
        for e in kept
    )
    return Index(kept, tuple(ordered), places_of, called)


def _weighted_words(entry: SearchEntry[K]) -> Iterator[tuple[str, float]]:
    for text, weight in _weighted_texts(entry):
        yield from ((word, weight) for word in words_of(text))
    for text in (entry.name, *entry.inci, *entry.other_names):
        yield from ((first + second, JOINED) for first, second in pairwise(words_of(text)))


def _weighted_texts(entry: SearchEntry[K]) -> Iterator[tuple[str, float]]:
    """Yield every text of an entry; what stands alone in it, or first, says more about it than the rest."""
    yield entry.name, ALONE
    for texts in (entry.inci, entry.cas):
        first = ALONE if len(texts) == 1 else FIRST
        yield from ((text, OTHERS if number else first) for number, text in enumerate(texts))
    yield from ((text, FIRST) for text in entry.other_names)
    yield from ((text, FUNCTION) for text in entry.functions)


def search(index: Index[K], text: str, limit: int = 20) -> list[Hit[K]]:
    """Return the entries that hold every word of ``text``, best first; an empty text finds nothing.

    Usual abbreviations are written out (``vit E``, ``lavender EO``), and what is one word may be typed as two. When no
    entry holds every word, slips of the finger are tried for all of them, and at last the entries that hold as many of
    the telling words as any.
    """
    typed = words_of(text)[:12]
    if not typed or limit < 1:
        return []
    said = " ".join(typed)
    for way, same in _SAME:
        said = way.sub(same, said)
    written_out = words_of(said)
    ways = [typed] if written_out in (typed, []) else [typed, written_out]
    joined = [[*typed[:n], typed[n] + typed[n + 1], *typed[n + 2 :]] for n in range(len(typed) - 1)]
    found = _spelled(index, ways) or _spelled(index, joined)
    if not found:
        words = ways[-1]
        found = {n: _hit(index, n, words, score, sure=False) for n, score in _guessed(index, words).items()}
    return nsmallest(limit, found.values(), key=_order)


def _spelled(index: Index[K], ways: Iterable[list[str]]) -> dict[int, Hit[K]]:
    """Find what holds every word of one of some ways to write a query, each entry by the way that suits it best."""
    found: dict[int, Hit[K]] = {}
    for words in ways:
        for number, score in _holding_all([_entries_with(index, _plain(index, word)) for word in words]).items():
            hit = _hit(index, number, words, score, sure=True)
            if number not in found or _order(hit) < _order(found[number]):
                found[number] = hit
    return found


def _guessed(index: Index[K], words: list[str]) -> dict[int, float]:
    plain = [_plain(index, word) for word in words]
    slips = [_misspelt(index, word) for word in words]
    strict = [_entries_with(index, m or s) for m, s in zip(plain, slips, strict=True)]
    loose = [_entries_with(index, s | m) for m, s in zip(plain, slips, strict=True)]
    return _holding_all(strict) or _holding_all(loose) or _holding_most(index, words, plain)


def _plain(index: Index[K], word: str) -> dict[int, float]:
    """Find the indexed words that hold a typed word as it stands, each with how well it does (0..1)."""
    first, found = bisect_left(index.words, word), {}
    for number in range(first, len(index.words)):
        if not index.words[number].startswith(word):
            break
        share = len(word) / len(index.words[number])
        found[number] = EXACT if share == 1 else BEGUN + 0.1 * share
    return _inside(index, word) | found


def _inside(index: Index[K], word: str) -> dict[int, float]:
    if len(word) < 4:
        return {}
    found, at = {}, index.text.find(word)
    while at >= 0:
        found[bisect_left(index.starts, at + 1) - 1] = INSIDE
        at = index.text.find(word, at + 1)
    return found


def slips_allowed(word: str) -> int:
    """How many slips of the finger a word may hold: none in short words and numbers, one from 4 signs, two from 8."""
    if len(word) < 4 or any(sign.isdigit() for sign in word):
        return 0
    return 1 if len(word) < 8 else 2


def _misspelt(index: Index[K], word: str) -> dict[int, float]:
    slips = slips_allowed(word)
    if not slips:
        return {}
    found: dict[int, float] = {}
    for length in (len(word) - 1, len(word), len(word) + 1) if len(word) > 4 else ():
        found |= _close(index.heads(length), word, 1, MISSPELT - 0.1)
    for length in range(len(word) - slips, len(word) + slips + 1):
        found |= _close(index.sized.get(length, {}), word, slips, MISSPELT)
    return found


def _close(candidates: Mapping[str, range], word: str, slips: int, best: float) -> dict[int, float]:
    """Find the candidates at most so many slips away (a slip: one sign more, less, other, or two swapped).

    A short word begins as it was typed, or with its first two signs swapped: milk is no silk.
    """
    if len(word) <= SHORT:
        candidates = {other: numbers for other, numbers in candidates.items() if word[0] in other[:2]}
    close = extract(word, candidates.keys(), scorer=OSA.distance, processor=None, score_cutoff=slips, limit=None)
    return {number: best - SLIP * distance for other, distance, _ in close for number in candidates[other]}


def _entries_with(index: Index[K], meanings: Mapping[int, float]) -> dict[int, float]:
    found: dict[int, float] = {}
    for word, quality in meanings.items():
        for number, weight in index.places[word]:
            score = quality * weight
            if score > found.get(number, 0.0):
                found[number] = score
    return found


def _holding_all(by_word: list[dict[int, float]]) -> dict[int, float]:
    smallest = min(by_word, key=len)
    return {n: sum(found[n] for found in by_word) for n in smallest if all(n in found for found in by_word)}


def _holding_most(index: Index[K], words: list[str], plain: list[dict[int, float]]) -> dict[int, float]:
    """Find what holds the most of the words, of which one must be known whole and say more than ``oil`` does."""
    totals: dict[int, tuple[int, float]] = {}
    telling: set[int] = set()
    for word, meanings in zip(words, plain, strict=True):
        whole = {number for number, quality in meanings.items() if quality == EXACT}
        for number, score in _entries_with(index, meanings).items():
            count, total = totals.get(number, (0, 0.0))
            totals[number] = (count + 1, total + score)
        if len(word) > 2 and word not in _GENERAL and not word.isdigit():
            telling.update(_entries_with(index, dict.fromkeys(whole, EXACT)))
    most = max((totals[number][0] for number in telling), default=0)
    enough = len(words) <= 2 * most
    return {n: totals[n][1] for n in telling if totals[n][0] == most and enough}


def _hit(index: Index[K], number: int, words: list[str], total: float, *, sure: bool) -> Hit[K]:
    """Judge how an entry stands to what was typed."""
    typed, called = " ".join(words), index.called[number]
    standing = 0
    if typed in called:
        standing = CALLED_SO
    elif any(name.startswith(typed) for name in called):
        standing = BEGINS_SO if any(name.startswith(typed + " ") for name in called) else 1
    entry = index.entries[number]
    # A substance called so goes before its solutions and blends, and a shorter name first.
    diluted = 0.2 * (len(entry.inci) - 1) if standing == CALLED_SO else 0.0
    score = total / len(words) - len(called[0]) / 2000 - diluted
    return Hit(entry, score, sure, standing)


def _order(hit: Hit[K]) -> tuple[bool, int, float, str]:
    return not hit.sure, -hit.standing, -hit.score, hit.entry.name.casefold()
