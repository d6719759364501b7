"""A predicted pH in words: as many decimals as its range allows."""

from app.science.acid_base.values import Range

FINE, COARSE = 0.25, 2.5  # width of the range, pH units, up to which two decimals and one say something


def places_for(ph: Range) -> int:
    """Return how many decimals a predicted pH may show: 2 up to a range of 0.25 pH, 1 up to 2.5, none beyond."""
    width = ph.high - ph.low
    return 2 if width <= FINE else 1 if width <= COARSE else 0


def in_words(ph: Range, with_range: bool = True) -> str:
    """Return a predicted pH for reading, with its range or alone.

    >>> in_words(Range(6.324, 5.95, 6.70)), in_words(Range(8.48, 5.9, 8.76)), in_words(Range(2.01, -0.02, 2.4))
    ('6.3 (6.0 to 6.7)', '8 (6 to 9)', '2.0 (0.0 to 2.4)')
    """
    value = _written(ph.value, ph)
    return f"{value} ({range_in_words(ph)})" if with_range else value


def range_in_words(ph: Range) -> str:
    """Return the range alone: ``6.0 to 6.7``."""
    return f"{_written(ph.low, ph)} to {_written(ph.high, ph)}"


def _written(number: float, ph: Range) -> str:
    places = places_for(ph)
    return f"{round(number, places) + 0.0:.{places}f}"
