"""Cutting a pasted text into pieces between separators, without cutting names that hold a comma."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from app.science.label_list.values import Piece

BULLETS = "•·∙●▪◦‧・|¦"
BULLET = re.compile(f"[{BULLETS}]")
HEADING = re.compile(
    r"(?P<inactive>\b(?:inactive|other)\s+)?(?P<active>\bactive\s+)?"
    r"\b(?:full\s+)?(?:ingredients?\s+list|list\s+of\s+ingredients|ingr[eé]dients?|ingredientes|ingredienti|"
    r"zutaten|bestandteile|ingredi[eë]nten|ingredienser|inhaltsstoffe|ainesosat|innehåll|indhold|全成分|成分|전성분|sk[łl]adniki|inci(?:\s+name)?|composition)"
    r"(?:\s*[(/]\s*\w+\s*\)?)*\s*[:：]|\b(?P<actives>actives?)\s*[:：]",
    re.IGNORECASE,
)
BARE_HEADING = re.compile(
    r"\A\s*(?:(?:full|key|all|complete)\s+)?(?:ingredients?|ingr[eé]dients|inhaltsstoffe|inci)(?:\s+list)?\b\s*"
    r"(?:[-–—=]\s*|\r?\n\s*)",
    re.IGNORECASE,
)
MAY_CONTAIN = re.compile(
    r"(?:[\[(]\s*)?(?:(?:\(\s*)?(?:\+\s*/\s*-|±|\+\s*/\s*[−–])(?:\s*\))?|"
    r"\b(?:may\s+contain|peut\s+contenir|kann\s+enthalten|puede\s+contener|pu[òo]\s+contenere|kan\s+bevatten)\b)"
    r"(?:\s*(?:\(?\+\s*/\s*-\)?|±|may\s+contain))*\s*[:：]?",
    re.IGNORECASE,
)
PERCENT_COMMA = re.compile(r"\d,(?=\d+\s*%)")
LOCANTS = re.compile(r"(?<![^\W_])(?:\d{1,2}'?|[NOS])(?:,(?:\d{1,2}'?|[NOS])){1,20}(?=-)")
SPACED_LOCANTS = re.compile(r"(?:\A|[,;\n])\s*\d{1,2}(?:,\s\d{1,2}){1,20}(?=-[A-Za-z])")
NUMBER_COMMA = re.compile(r"(?<![^\W_])(?:\d{1,2}),(?=\d{1,2}-)")
NUMBERING = re.compile(r"\d{1,3}[.)]\s+(?=[A-Za-z])")
FARTHEST_BRACKET = 200  # a bracket that closes no sooner was forgotten
SIGNS = "*†‡§¤°^#¹²³⁴⁵"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of the text with one standing: ordinary, after 'may contain', or under 'active ingredients'."""

    start: int
    end: int
    may_contain: bool = False
    active: bool = False


def pieces_of(text: str) -> list[Piece]:
    """Cut a text into pieces at commas, semicolons, bullets, or line breaks where nothing else separates.

    Commas inside numbers of a chemical name ('1,2-Hexanediol'), inside percentages and inside brackets do not cut.
    """
    lines, spaced = _lines_separate(text), _spaced_marks(text)
    found = []
    for stretch in _stretches(text):
        for start, end in _cut(text, stretch, lines, spaced):
            piece = _trimmed(text, start, end)
            if piece:
                found.append(Piece(text[piece[0] : piece[1]], *piece, stretch.may_contain, stretch.active))
    return found


def _lines_separate(text: str) -> bool:
    """Return whether line breaks separate names: only where commas, semicolons and bullets do not."""
    body = LOCANTS.sub(lambda m: "x" * len(m.group()), text)
    lines = [line for line in body.splitlines() if line.strip()]
    marks = sum(line.count(",") + line.count(";") for line in lines) + len(BULLET.findall(body))
    return len(lines) > 1 and marks < len(lines) - 1


def _spaced_marks(text: str) -> frozenset[int]:
    """Return the places of tabs, of dashes between blanks, or of numbers in front, where nothing else separates."""
    if re.search(r"[,;\r\n，、]", LOCANTS.sub("", text).strip()) or BULLET.search(text):
        return frozenset()
    tabs = [place for place, sign in enumerate(text) if sign == "\t"]
    dashes = [match.start() + 1 for match in re.finditer(r"(?<=\S) - (?=\S)", text)]
    numbers = [
        match.start() - 1 for match in NUMBERING.finditer(text) if text[match.start() - 1 : match.start()] == " "
    ]
    if tabs:
        return frozenset(tabs)
    marks = dashes if len(dashes) >= len(numbers) else numbers
    return frozenset(marks if len(marks) > 1 else ())


def _stretches(text: str) -> Iterator[Stretch]:
    bare = BARE_HEADING.match(text)
    start, active = (bare.end() if bare else 0), False
    headings = list(HEADING.finditer(text))
    if headings and not _of_actives(headings[0]):
        start = headings[0].end()
    for heading in headings:
        yield from _with_palette(text, start, max(start, heading.start()), active)
        start, active = heading.end(), _of_actives(heading)
    yield from _with_palette(text, start, len(text), active)


def _of_actives(heading: re.Match[str]) -> bool:
    return bool(heading.group("active") or heading.group("actives"))


def _with_palette(text: str, start: int, end: int, active: bool) -> Iterator[Stretch]:
    """Part the shades after 'may contain' from the rest; brackets around them end where they close."""
    marker = MAY_CONTAIN.search(text, start, end)
    if not marker:
        yield Stretch(start, end, active=active)
        return
    yield Stretch(start, marker.start(), active=active)
    close = _closing(text, marker, end)
    yield Stretch(marker.end(), close, may_contain=True)
    yield Stretch(min(close + 1, end), end, active=active)


def _closing(text: str, marker: re.Match[str], end: int) -> int:
    whole = marker.group()
    opened = whole.lstrip()[:1]
    if opened not in ("[", "(") or all(whole.count(a) == whole.count(b) for a, b in ("()", "[]")):
        return end
    close, depth = "])"["[(".index(opened)], 0
    for place in range(marker.end(), end):
        depth += (text[place] == opened) - (text[place] == close)
        if depth < 0:
            return place
    return end


def _cut(text: str, stretch: Stretch, lines: bool, spaced: frozenset[int]) -> Iterator[tuple[int, int]]:
    kept = _protected(text)
    start, depth = stretch.start, 0
    for place in range(stretch.start, stretch.end):
        sign = text[place]
        depth = max(0, depth + (sign in "([{") - (sign in ")]}"))
        separates = sign in ",;，、" + BULLETS or (lines and sign in "\r\n") or place in spaced
        if not separates or place in kept:
            continue
        # Inside brackets nothing is cut, but a bracket that was forgotten must not swallow the list.
        ahead = text[place : min(place + FARTHEST_BRACKET, stretch.end)]
        if depth and any(sign in ahead for sign in ")]}"):
            continue
        yield start, place
        start, depth = place + 1, 0
    yield start, stretch.end


def _protected(text: str) -> set[int]:
    """Return the places of commas that belong to a name or a number."""
    spans = [m.span() for shape in (LOCANTS, PERCENT_COMMA, NUMBER_COMMA) for m in shape.finditer(text)]
    places = {p for a, b in spans for p in range(a, b) if text[p] == ","}
    for match in SPACED_LOCANTS.finditer(text):
        first = re.search(r"\d", match.group())
        a = match.start() + (first.start() if first else 0)
        places |= {p for p in range(a, match.end()) if text[p] == ","}
    return places


def _trimmed(text: str, start: int, end: int) -> tuple[int, int] | None:
    """Take blanks, list dashes, a number in front and the closing full stop off a piece; None when nothing is left."""
    while start < end and (
        text[start].isspace() or (text[start] in "-–—" and start + 1 < end and text[start + 1].isspace())
    ):
        start += 1
    number = NUMBERING.match(text, start, end)
    start = number.end() if number else start
    while start < end and (text[end - 1].isspace() or text[end - 1] in ".:"):
        end -= 1
    keep = text[start:end].casefold().endswith((" denat", "denat", " no"))
    if keep and text[end : end + 1] == ".":
        end += 1
    return (start, end) if start < end else None
