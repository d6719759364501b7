"""Record numbers in addresses and forms: no longer than any database keeps them; a longer one is simply not there."""

from werkzeug.routing import IntegerConverter

from app.work.form_fields import row_number as number

__all__ = ["RowNumber", "number"]


class RowNumber(IntegerConverter):
    """A whole number of at most nine digits."""

    regex = r"\d{1,9}"
