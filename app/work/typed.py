"""Reading what was typed into a form: all faults at once, each at its field."""

import unicodedata
from collections.abc import Callable
from decimal import Decimal
from typing import ParamSpec, TypeVar

from app.science.errors import Invalid
from app.science.numbers import parse_number
from app.work.form import Faults

__all__ = ["Faults", "Reader", "maybe_number", "name", "one_line", "words"]

LONGEST_NAME = 200
LONGEST_TEXT = 10_000

P = ParamSpec("P")
T = TypeVar("T")


class Reader:
    """Reads one field after another and keeps what was wrong, so that a form is told everything at once."""

    def __init__(self) -> None:
        self.faults: list[Invalid] = []

    def take(self, read: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T | None:
        """Read one field; None when it could not be read, and the fault is kept."""
        try:
            return read(*args, **kwargs)
        except Invalid as fault:
            self.faults.append(fault)
            return None

    def fail(self, field: str, message: str) -> None:
        """Keep a fault that concerns a field."""
        self.faults.append(Invalid(field, message))

    def finish(self) -> None:
        """Raise every fault that was kept.

        Raises:
            Faults: when there is any.
        """
        if self.faults:
            raise Faults(self.faults)


def words(text: str, field: str, *, longest: int = LONGEST_TEXT) -> str:
    """Give a text of several lines without surrounding blanks; control signs other than line ends are left out.

    Raises:
        Invalid: when it is too long or holds half a character that no file can keep.
    """
    kept = "".join(sign for sign in _line_ends(text) if sign in "\n\t" or unicodedata.category(sign) != "Cc").strip()
    if any(unicodedata.category(sign) == "Cs" for sign in kept):
        raise Invalid(field, "One of the characters is only half there; type it again.")
    if len(kept) > longest:
        raise Invalid(field, f"Shorten this to {longest:,} characters; it has {len(kept):,}.")
    return kept


def _line_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def one_line(text: str, field: str, *, longest: int = LONGEST_NAME) -> str:
    """Give a text of one line with single blanks.

    Raises:
        Invalid: as for `words`.
    """
    return words(" ".join(text.split()), field, longest=longest)


def name(text: str, field: str, asked: str) -> str:
    """Give a name, which must not be empty; ``asked`` is the sentence that asks for it.

    Raises:
        Invalid: when it is empty, or as for `words`.
    """
    found = one_line(text, field)
    if not found:
        raise Invalid(field, asked)
    return found


def maybe_number(text: str, field: str, *, low: Decimal | None = None, high: Decimal | None = None) -> Decimal | None:
    """Read a number that may be left empty.

    Raises:
        Invalid: when something is typed that is no number inside the limits.
    """
    return parse_number(text, field, low=low, high=high) if text.strip() else None
