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
    without, marks = _signs(without)
    stripped = without.strip(" .:-–")
    full = stripped + "." if stripped.casefold().endswith(" denat") else stripped
    return Bare(full, percent, nano > 0, marks)


def _percent(text: str) -> tuple[str, Decimal | None]:
    found = PERCENT.search(text)
    if found is None:
        return _per_million(text)
    if not text.replace(found.group(), "").strip():
        return text, None
    value = Decimal(found.group(1).replace(",", "."))
    return (text[: found.start()] + " " + text[found.end() :]).strip(), value if value <= 100 else None


def _per_million(text: str) -> tuple[str, Decimal | None]:
    """Read '(100 ppm)' as 0.01 %."""
    found = PER_MILLION.search(text)
    if not found or not text.replace(found.group(), "").strip():
        return text, None
    value = Decimal(re.sub(r"[., ]", "", found.group(1))) / 10_000
    return (text[: found.start()] + " " + text[found.end() :]).strip(), value if value <= 100 else None


def _signs(text: str) -> tuple[str, str]:
    found = []
    for shape in (BRACKETED_SIGNS, LEADING, TRAILING, INSIDE):
        found += ["".join(sign for sign in m.group() if sign in SIGNS or sign.isalnum()) for m in shape.finditer(text)]
        text = shape.sub(" ", text)
    return " ".join(text.split(" ")).strip(), "".join(found)
