"""Batch numbers by a pattern: which tokens there are, what a pattern says, and the number it gives."""

import re
from dataclasses import dataclass, replace
from datetime import date

from app.science.errors import Invalid

FIELD = "batch_number_pattern"
TOKENS = ("code", "year", "month", "day", "count")
LONGEST = 60
WIDEST = 9

_PIECE = re.compile(r"\{([^{}]*)\}|([^{}]+)|([{}])")
_TOKEN = re.compile(r"([a-z]+)(?::([0-9]+))?")
_WORDS = re.compile(r"[\w .#/-]+")
_DIGITS_ONLY = re.compile(r"[0-9]*")


@dataclass(frozen=True, slots=True)
class NumberPiece:
    """One piece of a pattern: a token with its width in digits (0 = as it comes), or plain text with no token."""

    text: str
    stands_for: str = ""
    width: int = 0


def parse_pattern(pattern: str) -> tuple[NumberPiece, ...]:
    """Read a pattern such as ``{code}-{year}-{count:3}``.

    ``{year:2}`` is the last two digits of the year, ``{count:3}`` pads the count to three digits; a longer count
    keeps all its digits.

    Raises:
        Invalid: when a brace is open, a token is unknown, the count is missing or given twice, a sign does not
            belong on a label, or two different batches could get the same number.
    """
    text = pattern.strip()
    if not text:
        raise Invalid(FIELD, "Enter a pattern, for example {code}-{year}-{count}")
    if len(text) > LONGEST:
        raise Invalid(FIELD, f"Shorten the pattern to {LONGEST} signs; it has {len(text)}")
    pieces = tuple(_piece(match) for match in _PIECE.finditer(text))
    found = sum(piece.stands_for == "count" for piece in pieces)
    if found != 1:
        word = "Add {count}, so that no number comes twice" if not found else "Use {count} once"
        raise Invalid(FIELD, word)
    count = next(n for n, piece in enumerate(pieces) if piece.stands_for == "count")
    for place, piece in enumerate(pieces):
        between = pieces[min(place, count) + 1 : max(place, count)]
        if piece.stands_for == "code" and all(p.stands_for or _DIGITS_ONLY.fullmatch(p.text) for p in between):
            raise Invalid(FIELD, "Put a sign that is no digit between {code} and {count}, for example a hyphen")
    return pieces


def _piece(match: re.Match[str]) -> NumberPiece:
    inside, words, brace = match.groups()
    if brace:
        raise Invalid(FIELD, "Close every brace: a token is written {count}")
    if words is None:
        return _token(inside)
    if not _WORDS.fullmatch(words):
        raise Invalid(FIELD, "Use letters, digits, spaces and - _ . / # between the tokens; the number goes on labels")
    return NumberPiece(words)


def _token(inside: str) -> NumberPiece:
    match = _TOKEN.fullmatch(inside.strip())
    if match is None or match[1] not in TOKENS:
        known = " ".join(f"{{{name}}}" for name in TOKENS)
        raise Invalid(FIELD, f"{{{inside}}} is not known here; the tokens are {known}")
    name, width = match[1], int((match[2] or "0")[:4])
    if width and (name not in ("count", "year") or (name == "year" and width not in (2, 4)) or width > WIDEST):
        raise Invalid(FIELD, f"A width goes with {{count:1}} to {{count:{WIDEST}}}, {{year:2}} or {{year:4}}")
    return NumberPiece("", name, width)


def format_number(pattern: str, code: str, day: date, count: int) -> str:
    """Write the number of one batch.

    Args:
        pattern: as for `parse_pattern`.
        code: the short code of the formula.
        day: the day the batch is planned for.
        count: the next number of `series_key`, from 1.

    Raises:
        Invalid: when the pattern cannot be read, or the count is below 1.
    """
    if count < 1:
        raise Invalid("count", "A count starts at 1")
    return _written(parse_pattern(pattern), code, day, str(count))


def series_key(pattern: str, code: str, day: date) -> str:
    """Name the series that a batch is counted in: everything of its number except the count.

    The width of the count is no part of the name, so a series goes on when only its width is changed.

    Raises:
        Invalid: when the pattern cannot be read.
    """
    pieces = tuple(
        replace(piece, width=0) if piece.stands_for == "count" else piece for piece in parse_pattern(pattern)
    )
    return _written(pieces, code, day, "#count")


def example(pattern: str, day: date) -> str:
    """Write the number that the first batch of a formula would get on a day.

    Raises:
        Invalid: when the pattern cannot be read.
    """
    return format_number(pattern, "HC1", day, 1)


def _written(pieces: tuple[NumberPiece, ...], code: str, day: date, count: str) -> str:
    values = {
        "code": code.strip(),
        "year": f"{day.year:04d}",
        "month": f"{day.month:02d}",
        "day": f"{day.day:02d}",
        "count": count,
    }
    written = ""
    for piece in pieces:
        value = values[piece.stands_for].rjust(piece.width, "0") if piece.stands_for else piece.text
        written += value[-piece.width :] if piece.stands_for == "year" and piece.width else value
    return written
