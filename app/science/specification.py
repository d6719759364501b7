"""The specification of a product as typed, a check on each line: what is read of a batch, and what it has to be.

``pH 4.5 to 5.5``, ``viscosity 3000 to 6000 mPa s (spindle 4, 20 rpm)``, ``weight lost on drying at most 2 %``,
``appearance: smooth, ivory``, ``optional density 0.98 to 1.02 g/mL``. ``weigh Glycerin within 0.5 %`` says how far one
line may miss its plan.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain

MOST_CHECKS = 40
_NUMBER = r"-?\d[\d.,]*"
_METHOD = re.compile(r"\s*\((?P<method>[^()]+)\)\s*$")
_RANGE = re.compile(rf"(?P<what>.+?)\s+(?P<low>{_NUMBER})\s*(?:to|-|–)\s*(?P<high>{_NUMBER})\s*(?P<unit>\D*)", re.ASCII)
_MOST = re.compile(rf"(?P<what>.+?)\s+(?:at most|up to|max\.?)\s+(?P<high>{_NUMBER})\s*(?P<unit>.*)", re.IGNORECASE)
_LEAST = re.compile(rf"(?P<what>.+?)\s+(?:at least|from|min\.?)\s+(?P<low>{_NUMBER})\s*(?P<unit>.*)", re.IGNORECASE)
_TOLERANCE = re.compile(rf"weigh\s+(?P<name>.+?)\s+within\s+(?P<percent>{_NUMBER})\s*%", re.IGNORECASE)
MOST_TOLERANCE = Decimal(50)
_WORDS = re.compile(r"(?P<what>[^:]+):\s*(?P<words>.+)")


@dataclass(frozen=True, slots=True)
class Check:
    """What has to be read of a batch: within ``low`` and ``high`` (both inside), or as the ``words`` say.

    ``source`` says where limits are from that nobody typed.
    """

    what: str
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""
    words: str = ""
    method: str = ""
    is_required: bool = True
    source: str = ""

    @property
    def is_number(self) -> bool:
        """Whether a number is wanted."""
        return self.low is not None or self.high is not None

    @property
    def wanted(self) -> str:
        """What is wanted, in words."""
        unit = f" {self.unit}" if self.unit else ""
        if self.low is not None and self.high is not None:
            return f"{plain(self.low)} to {plain(self.high)}{unit}"
        if self.high is not None:
            return f"at most {plain(self.high)}{unit}"
        return f"at least {plain(self.low)}{unit}" if self.low is not None else self.words

    def answers_to(self, kind: str) -> bool:
        """Return whether a reading of a kind is one of this check."""
        return kind.strip().casefold() == self.what.casefold()

    def holds(self, value: Decimal | None) -> bool:
        """Return whether a reading is as wanted; what is wanted in words is judged by the reader."""
        if not self.is_number:
            return True
        within = value is not None and (self.low is None or value >= self.low)
        return within and (self.high is None or value is None or value <= self.high)


def read_specification(text: str, field: str = "specification") -> tuple[Check, ...]:
    """Return the checks of a specification, in the order they are written.

    Raises:
        Invalid: at ``field``, when a line cannot be read, a name stands twice or there are too many.
    """
    lines = [line for line in _lines(text) if not _TOLERANCE.fullmatch(line)]
    if len(lines) > MOST_CHECKS:
        raise Invalid(field, f"Enter at most {MOST_CHECKS} checks; there are {len(lines)}.")
    checks = tuple(_check(line, field) for line in lines)
    names = [check.what.casefold() for check in checks]
    twice = next((check.what for check in checks if names.count(check.what.casefold()) > 1), "")
    if twice:
        raise Invalid(field, f"{twice} stands twice.")
    return checks


def _lines(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines() if line.strip()]


def read_tolerances(text: str, names: Sequence[str], field: str = "specification") -> dict[str, Decimal]:
    """Return how far single lines may miss their plan, in % of it, by the name of their material.

    A name is that of a line, or its beginning where only one line begins so.

    >>> read_tolerances("pH 4 to 5\\nweigh glycerin within 0.5 %", ["Glycerin, vegetable", "Water"])
    {'Glycerin, vegetable': Decimal('0.5')}

    Raises:
        Invalid: at ``field``, when no line or more than one is called so, or the tolerance is not 0 to 50 %.
    """
    found: dict[str, Decimal] = {}
    for match in filter(None, map(_TOLERANCE.fullmatch, _lines(text))):
        asked = match["name"].casefold()
        same = [name for name in names if name.casefold() == asked]
        called = same or [name for name in names if name.casefold().startswith(asked)]
        if len(set(called)) != 1:
            reason = "more than one line begins so" if called else "no line of the formula is called so"
            raise Invalid(field, f"weigh {match['name'][:60]}: {reason}.")
        found[called[0]] = parse_number(match["percent"], field, low=Decimal(0), high=MOST_TOLERANCE)
    return found


def _check(line: str, field: str) -> Check:
    required = not line.casefold().startswith("optional ")
    rest = line if required else line[len("optional ") :].strip()
    method = _METHOD.search(rest)
    bare = rest[: method.start()] if method else rest
    found = next((match for form in (_WORDS, _RANGE, _MOST, _LEAST) if (match := form.fullmatch(bare))), None)
    if found is None:
        raise Invalid(field, f"{line[:60]}: enter a name and limits, such as pH 4.5 to 5.5, or appearance: smooth.")
    parts = found.groupdict()
    low = parse_number(parts["low"], field, low=Decimal(-(10**9))) if parts.get("low") else None
    high = parse_number(parts["high"], field, low=Decimal(-(10**9))) if parts.get("high") else None
    if low is not None and high is not None and low > high:
        raise Invalid(field, f"{line[:60]}: the first limit is above the second.")
    return Check(
        what=parts["what"].strip(),
        low=low,
        high=high,
        unit=(parts.get("unit") or "").strip(),
        words=(parts.get("words") or "").strip(),
        method=method["method"].strip() if method else "",
        is_required=required,
    )
