"""Taking off a piece what is not part of the name: footnote signs, '(nano)', a printed percentage."""

import re
from dataclasses import dataclass
from decimal import Decimal

from app.science.label_list.pieces import SIGNS

NANO = re.compile(r"[\[(]\s*nano\s*[\])]|(?<=\s)nano\Z", re.IGNORECASE)
PERCENT = re.compile(r"[\[(:=]?\s*(?:~|ca\.?\s*)?(\d{1,3}(?:[.,]\d+)?)\s*(?:%|percent\b)\s*(?:[wW]/[wW])?\s*[\])]?")
PER_MILLION = re.compile(r"[\[(]?\s*(\d{1,3}(?:[., ]?\d{3})*|\d+)\s*ppm\s*[\])]?", re.IGNORECASE)
LEADING = re.compile(rf"\A[\s{re.escape(SIGNS)}]*[{re.escape(SIGNS)}]\s*")
TRAILING = re.compile(rf"\s*[{re.escape(SIGNS)}][\s{re.escape(SIGNS)}]*\Z")
INSIDE = re.compile(rf"[{re.escape(SIGNS)}]+(?=\s|[)/])")
BRACKETED_SIGNS = re.compile(rf"\(\s*([{re.escape(SIGNS)}]+|\d|[a-z])\s*\)\s*\Z")


@dataclass(frozen=True, slots=True)
class Bare:
    """A piece without its marks; ``percent`` is % w/w as printed."""

    text: str
    percent: Decimal | None
    nano: bool
    marks: str


def bare(text: str) -> Bare:
    """Take the marks off a piece.

    >>> bare("Aloe Barbadensis Leaf Juice* (2,5 %)").text
    'Aloe Barbadensis Leaf Juice'
    """
    without, percent = _percent(text)
    without, nano = NANO.subn(" ", without)
    marks = ""
    for shape in (BRACKETED_SIGNS, LEADING, TRAILING, INSIDE):
        found = "".join(match.group() for match in shape.finditer(without))
        marks += "".join(sign for sign in found if sign in SIGNS or sign.isalnum())
        without = shape.sub(" ", without)
    stripped = re.sub(" {2,}", " ", without).strip().strip(" .:-–")
    full = stripped + "." if stripped.casefold().endswith(" denat") else stripped
    return Bare(full, percent, nano > 0, marks)


def _percent(text: str) -> tuple[str, Decimal | None]:
    """Part a printed percentage from its name; '(100 ppm)' is 0.01 %. A piece of nothing else keeps it."""
    found = PERCENT.search(text) or PER_MILLION.search(text)
    if found is None or not text.replace(found.group(), "").strip():
        return text, None
    if found.re is PERCENT:
        value = Decimal(found.group(1).replace(",", "."))
    else:
        value = Decimal(re.sub(r"[., ]", "", found.group(1))) / 10_000
    return (text[: found.start()] + " " + text[found.end() :]).strip(), value if value <= 100 else None
