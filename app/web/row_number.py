"""Record numbers in addresses: no longer than any database keeps them, so that a longer one is simply not there."""

from werkzeug.routing import IntegerConverter


class RowNumber(IntegerConverter):
    """A whole number of at most nine digits."""

    regex = r"\d{1,9}"
