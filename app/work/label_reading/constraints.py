"""What the maker says of the names of a list: known values as typed, and rules set aside."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Self

from app.science.errors import Invalid
from app.science.inference.values import Known
from app.science.numbers import parse_number
from app.science.percent_range import HUNDRED, ZERO, parse_range

LONGEST = 60
DROPPABLE = ("printed", "maximum", "order")
_TOLERANCE = re.compile(r"(?P<middle>.+?)(?:±|\+\s*/\s*-|\+-)(?P<room>.+)")


@dataclass(frozen=True, slots=True)
class UserConstraints:
    """Values by the key of the name, as typed; and rules set aside, each as its kind and the key of the name.

    ``observed`` is what was seen and measured, as typed, by the name of its field.
    ``printed`` sets a percentage aside that is printed in the list, ``maximum`` a legal maximum, ``order`` the place.
    """

    values: Mapping[str, str] = field(default_factory=dict)
    dropped: frozenset[tuple[str, str]] = frozenset()
    observed: Mapping[str, str] = field(default_factory=dict)

    def to_json(self) -> str:
        """Write everything as one JSON text, keys in order."""
        dropped = [list(pair) for pair in sorted(self.dropped)]
        content = {"values": dict(sorted(self.values.items())), "aside": dropped}
        seen = {"observed": dict(sorted(self.observed.items()))} if self.observed else {}
        return json.dumps(content | seen, ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Read it back; what is not of our writing is passed over."""
        try:
            found = json.loads(text)
        except ValueError:
            return cls()
        if not isinstance(found, dict):
            return cls()
        aside = found.get("aside")
        rows = [row for row in aside if isinstance(row, list) and len(row) == 2] if isinstance(aside, list) else []
        dropped = frozenset((str(kind), str(key)) for kind, key in rows)
        return cls(_values(found.get("values")), dropped, _values(found.get("observed")))

    def changed(self, values: Mapping[str, str]) -> Self:
        """Return the same with some values changed; an empty one is taken away."""
        merged = {**self.values, **{key: text.strip() for key, text in values.items()}}
        return replace(self, values={key: text for key, text in merged.items() if text})

    def observing(self, observed: Mapping[str, str]) -> Self:
        """Return the same with other observations; empty ones are left out."""
        return replace(self, observed={key: text.strip() for key, text in observed.items() if text.strip()})

    def without(self, kind: str, key: str) -> Self:
        """Return up one statement: a value, or a rule."""
        values = {k: text for k, text in self.values.items() if kind != "claim" or k != key}
        dropped = self.dropped | ({(kind, key)} if kind in DROPPABLE else frozenset())
        return replace(self, values=values, dropped=dropped)

    def again(self, kind: str, key: str) -> Self:
        """Take a rule back that was set aside."""
        return replace(self, dropped=self.dropped - {(kind, key)})


def _values(found: Any) -> dict[str, str]:
    return {str(key): str(text) for key, text in found.items()} if isinstance(found, dict) else {}


def parse_known(text: str, field: str) -> Known:
    """Read a known value in % w/w: ``10``, ``0.2-0.4``, ``< 1``, ``10 ± 0.5``.

    Raises:
        Invalid: at ``field``, when it is no percentage from 0 to 100.
    """
    if len(text) > LONGEST:
        raise Invalid(field, "Enter a percentage, a range such as 0.2-0.4, or a tolerance such as 10 ± 0.5.")
    tolerance = _TOLERANCE.fullmatch(text.strip())
    if tolerance:
        middle, room = (parse_number(tolerance[part], field, low=ZERO, high=HUNDRED) for part in ("middle", "room"))
        return Known(float(max(middle - room, ZERO)), float(min(middle + room, HUNDRED)))
    found = parse_range(text, field)
    low, high = (found.typical if end is None else end for end in (found.low, found.high))
    return Known(float(low), float(high))
