"""Texts as they are typed: cleaned, of one line, required, or a number that may be left empty."""

import unicodedata

from app.science.errors import Invalid

LONGEST_NAME = 200
LONGEST_TEXT = 10_000
# Signs that turn the direction of what follows, so that it reads as something else than was typed (Unicode UAX 9, 2.1
# to 2.3); the plain marks beside right-to-left words stay.
TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def clean_text(text: str, field: str, *, longest: int = LONGEST_TEXT) -> str:
    """Return a text of several lines without surrounding blanks.

    Control signs other than line ends, and signs that turn the direction of writing, are left out.

    Raises:
        Invalid: when it is too long or holds half a character that no file can keep.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    plain = (sign for sign in lines if sign in "\n\t" or unicodedata.category(sign) != "Cc")
    kept = "".join(sign for sign in plain if sign not in TURNING).strip()
    if any(unicodedata.category(sign) == "Cs" for sign in kept):
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
