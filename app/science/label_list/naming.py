"""From one printed piece to the substances it names."""

import re
from collections.abc import Iterable, Iterator

from app.science.label_list.values import Certainty, Match, SubstanceNames
from app.science.names import inci_key

BRACKETS = re.compile(r"\s*[(\[{]([^()\[\]{}]*)[)\]}]\s*")
AND = re.compile(r"\s*[\[(]\s*(?:and|et|und|&)\s*[\])]\s*", re.IGNORECASE)
LOOSE_AND = re.compile(r"\s+(?:and|et|und)\s+|\s*&\s*|\s+\+\s+", re.IGNORECASE)
COLOUR_INDEX = re.compile(r"\bC\.?\s?I\.?\s*(?:No\.?\s*)?(\d{5})(:\d)?|\A(\d{5})(:\d)?\Z|\bE\s?171\b", re.IGNORECASE)
LINE_BREAK = re.compile(r"[ \t]*[\r\n]+[ \t]*")
SOFT = str.maketrans({"\u00ad": "", "\u200b": "", "\u2060": "", "\ufeff": "", "\u00a0": " ", "\u2019": "'"})
DASHES = str.maketrans({**dict.fromkeys("‐‑‒–−", "-"), "\\": "/"})
DEEPEST = 12  # more brackets than this in one piece are no name but noise
PERFUMES = frozenset({"PARFUM", "AROMA"})


def plain(text: str) -> str:
    """Write all dashes, slashes and blanks in one way and take invisible signs out."""
    return text.translate(SOFT).translate(DASHES)


def spellings(text: str) -> Iterator[str]:
    """Return the ways a piece can be meant when a line break cut it: with a blank, closed up, with the hyphen.

    >>> list(spellings("Phenoxy-\\nethanol"))
    ['Phenoxy-ethanol', 'Phenoxyethanol', 'Phenoxy- ethanol']
    """
    if not LINE_BREAK.search(text):
        yield " ".join(text.split())
        return
    closed = LINE_BREAK.sub("", text)
    spaced = " ".join(LINE_BREAK.sub(" ", text).split())
    if re.search(r"-[ \t]*[\r\n]", text):
        yield from (closed, re.sub(r"-[ \t]*[\r\n]+[ \t]*", "", text), spaced)
    else:
        yield from (spaced, closed)


def known(text: str, book: SubstanceNames) -> Match | None:
    """Find the one substance a piece means, through its line breaks, brackets, slashes and colour numbers."""
    return known_as(text, book)[1]


def known_as(text: str, book: SubstanceNames) -> tuple[str, Match | None]:
    """Find the one substance a piece means, with the spelling that told it (the plainest one when none does)."""
    ways = list(spellings(plain(text)))
    for way in ways:
        closed = f"{way})" if way.count("(") > way.count(")") else way  # a bracket that was forgotten
        match = _as_printed(closed, book)
        if match:
            return way, match
    return ways[0], None


def _as_printed(text: str, book: SubstanceNames) -> Match | None:
    found = book.find(text) or _colour(text)
    if found:
        return found
    if BRACKETS.search(text):
        return _through_brackets(text, book) if sum(map(text.count, "([{")) <= DEEPEST else None
    if "/" in text:  # 'Water/Aqua/Eau' and bilingual names; two different substances stay unread here
        return _one_of([part.strip() for part in text.split("/")], book)
    tight = text.replace("- ", "-").replace(" -", "-")
    return book.find(tight) if tight != text else None


def _colour(text: str) -> Match | None:
    numbers = list(COLOUR_INDEX.finditer(text))
    if len({found.group() for found in numbers}) != 1:
        return None
    found = numbers[0]
    number = found.group(1) or found.group(3) or "77891"
    name = f"CI {number}"
    exact = inci_key(text) == name
    return Match(name, name, Certainty.EXACT if exact else Certainty.SYNONYM)


def _through_brackets(text: str, book: SubstanceNames) -> Match | None:
    """Read 'Aqua (Water)' and 'Butyrospermum Parkii (Shea) Butter'; what contradicts itself stays unread."""
    outer = " ".join(BRACKETS.sub(" ", text).split())
    inner = [part for content in BRACKETS.findall(text) for part in re.split(r"[,/]", content)]
    whole = known(outer, book) if outer else None
    if whole:
        return _less_sure(whole)
    return _one_of([part.strip() for part in inner], book)


def _one_of(parts: Iterable[str], book: SubstanceNames) -> Match | None:
    """Return the substance that the known ones of several names all mean."""
    matches = [match for part in parts if (match := book.find(part))]
    return _less_sure(matches[0]) if len({match.key for match in matches}) == 1 else None


def _less_sure(match: Match) -> Match:
    if match.certainty is Certainty.SPELLING:
        return match
    return Match(match.key, match.inci, Certainty.SYNONYM)


def blend_parts(text: str, book: SubstanceNames) -> list[str]:
    """Split a blend at '(and)', and at a bare 'and', '&' or '/' where that makes known names of an unknown one."""
    parts = [part for part in AND.split(text) if part.strip()]
    if len(parts) > 1:
        return parts
    for shape in (LOOSE_AND, re.compile(r"\s*/\s*")):
        parts = [part.strip() for part in shape.split(text) if part.strip()]
        if len(parts) > 1 and all(known(part, book) for part in parts):
            return parts
    return [text]


def bracketed_names(text: str, book: SubstanceNames) -> tuple[str, list[str]] | None:
    """Read 'Parfum (Limonene, Linalool)': a name followed by other names in brackets; None when it is not that.

    A collective name before several colour numbers ('Iron Oxides (CI 77491, CI 77492)') is left out of the names.
    """
    found = re.fullmatch(r"\s*([^()\[\]]+?)\s*[(\[]([^()\[\]]*)[)\]]\s*", text)
    if not found:
        return None
    outer = known(found.group(1), book)
    inner = [part.strip() for part in re.split(r"[,;]", found.group(2)) if part.strip()]
    matches = [match for part in inner if (match := known(part, book))]
    if len(inner) > 1 and len(matches) == len(inner) and all(m.key.startswith("CI ") for m in matches):
        return "", inner
    others = [match for match in matches if outer and match.key != outer.key]
    if not outer or not others or (len(inner) < 2 and outer.key not in PERFUMES):
        return None
    return found.group(1), inner


def comma_parts(text: str, book: SubstanceNames) -> list[str]:
    """Split an unread piece at a comma between numbers where both sides are names: 'PEG-8,1,2-Hexanediol'."""
    for place in (m.start() for m in re.finditer(",", text)):
        left, right = text[:place], text[place + 1 :]
        if known(left, book) and known(right, book):
            return [left.strip(), right.strip()]
    return [text]


def first_known(texts: Iterable[str], book: SubstanceNames) -> Match | None:
    """Return the first likely misspelling among several ways of writing."""
    return next((match for text in texts if (match := book.guess(text))), None)
