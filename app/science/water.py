"""How much of a named substance is water: hydrosols, juices, milk, honey and the like, by the shape of the name."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fnmatch import translate
from functools import lru_cache

from app.science.rules.names import plain_name


@dataclass(frozen=True, slots=True)
class WaterContent:
    """Names of one shape (``*`` any words, capitals) and the water in them, % w/w of the substance as sold (0..100)."""

    pattern: str
    percent: Decimal
    source: str
    status: str


class WaterTable:
    """The shapes of names in their order; the first that fits a name decides."""

    def __init__(self, contents: Iterable[WaterContent]) -> None:
        self.contents = tuple(contents)
        self._patterns = [(re.compile(translate(c.pattern)), c) for c in self.contents]
        self.find = lru_cache(maxsize=8192)(self._find)

    def _find(self, name: str) -> WaterContent | None:
        """Return the row that speaks of a name, or None when no row does."""
        words = plain_name(name)
        return next((content for pattern, content in self._patterns if pattern.match(words)), None)

    def percent_in(self, name: str) -> Decimal:
        """Return the water in a substance, % w/w of it (0..100); 0 where nothing is known or there is none.

        What a maker writes into the composition of a material (a solution, a syrup, an extract in water and glycerin)
        comes first: this is for names that hold their water within.
        """
        found = self.find(name)
        return found.percent if found else Decimal(0)
