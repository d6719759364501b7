"""Texts as they are typed: cleaned, of one line, required, or a number that may be left empty."""

import re

from app.science.errors import Invalid

LONGEST_NAME = 200
LONGEST_TEXT = 10_000
# Left out: control signs (Unicode category Cc) but for tab and line end, and signs that turn the direction of what
# follows, so that it reads as something else than was typed (UAX 9, 2.1 to 2.3); the plain marks beside right-to-left
# words stay.
_LEFT_OUT = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
_HALF_SIGN = re.compile("[\ud800-\udfff]")


def clean_text(text: str, field: str, *, longest: int = LONGEST_TEXT) -> str:
    """Return a text of several lines without surrounding blanks.

    Control signs other than line ends, and signs that turn the direction of writing, are left out.

    Raises:
        Invalid: when it is too long or holds half a character that no file can keep.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    kept = _LEFT_OUT.sub("", lines).strip()
    if _HALF_SIGN.search(kept):
        raise Invalid(field, "One character is incomplete; type it again.")
    if len(kept) > longest:
        raise Invalid(field, f"Shorten this to {longest:,} characters; it has {len(kept):,}.")
    return kept


def one_line(text: str, field: str, *, longest: int = LONGEST_NAME) -> str:
    """Return a text of one line with single blanks.

    Raises:
        Invalid: as for `clean_text`.
    """
    return clean_text(" ".join(text.split()), field, longest=longest)


def required_line(text: str, field: str, asked: str) -> str:
    """Return a name, which must not be empty; ``asked`` is the sentence that asks for it.

    Raises:
        Invalid: when it is empty, or as for `clean_text`.
    """
    found = one_line(text, field)
    if not found:
        raise Invalid(field, asked)
    return found
