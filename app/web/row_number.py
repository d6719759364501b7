"""Record numbers in addresses and forms: no longer than any database keeps them; a longer one is simply not there."""

from werkzeug.routing import IntegerConverter


class RowNumber(IntegerConverter):
    """A whole number of at most nine digits."""

    regex = r"\d{1,9}"


def number(text: str) -> int | None:
    """Read a record number from a form; None for anything else."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None
