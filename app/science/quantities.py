"""Quantities as people speak them: ``1/2 tsp``, ``0,75 g``, ``8 fl oz``, ``1 lb 3 oz``, ``20 drops``.

A volume becomes a weight only through a density; nothing is guessed. Formulas: mass = volume x density.
"""

import re
from dataclasses import dataclass
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import figures, normalise, parse_number, plain
from app.science.units import Measure, Unit, find_unit, registry

MOST_PARTS = 6
LIGHTEST_G_ML = Decimal("0.001")
DENSEST_G_ML = Decimal(25)
HEAVIEST_G = Decimal("1e8")

_NUMBER = re.compile(
    r"[-+]?(?:\d+ \d+ ?/ ?\d+|\d+ ?/ ?\d+|\d{1,3}(?: \d{3})+(?!\d)(?:[.,]\d+)?"
    r"|\d[\d.,']*\d|\d|(?<![a-zA-Z³])[.,]\d+)(?!_)",
    re.ASCII,
)
_JOINED = re.compile(r"^(?:[,.](?=\s|$))|(?:\band|[,+&;])$", re.IGNORECASE)
_CUBED = re.compile(r"(?<=[mn])3(?![\d.,])", re.IGNORECASE)
_EXPONENT = re.compile(r"\d[eE][-+]?\d")


@dataclass(frozen=True, slots=True)
class Quantity:
    """An amount (0 or more) in a unit.

    ``rough`` marks drops and pinches. ``notes`` say how words with several readings were taken.
    """

    amount: Decimal
    unit: Unit
    rough: bool = False
    notes: tuple[str, ...] = ()

    @property
    def base(self) -> Decimal:
        """The amount in grams (a mass) or millilitres (a volume)."""
        return _convert(self.amount, self.unit.name, "gram" if self.unit.measure is Measure.MASS else "millilitre")


@dataclass(frozen=True, slots=True)
class Converted:
    """A quantity in another unit; ``exact`` when only exact definitions were used (no density, no drops)."""

    value: Decimal
    unit: Unit
    exact: bool
    notes: tuple[str, ...]


def _convert(amount: Decimal, source: str, target: str) -> Decimal:
    return Decimal(registry().Quantity(amount, source).to(target).magnitude)


def parse_quantity(text: str, field: str = "", *, default_unit: str | None = None) -> Quantity:
    """Read a quantity as typed; several parts of one kind are added up (``1 lb 3 oz``) in the smallest unit.

    ``default_unit`` is taken where a bare number stands alone; of several parts each names its unit, since the 3 of
    ``1 lb 3`` may be ounces or grams.

    Raises:
        Invalid: at ``field``, when the number or the unit cannot be read, or weights and volumes are mixed.
    """
    parts = [
        Quantity(parse_number(number, field), unit, unit.rough, (unit.remark,) if unit.remark else ())
        for number, unit in _parts(normalise(text), field, default_unit)
    ]
    if len(parts) == 1:
        return parts[0]
    smallest = min((part.unit for part in parts), key=lambda unit: unit.size)
    if any(part.unit.measure is not smallest.measure for part in parts):
        raise Invalid(field, "A weight and a volume cannot be added; enter one or the other.")
    amount = sum((_convert(part.amount, part.unit.name, smallest.name) for part in parts), Decimal(0))
    notes = tuple(dict.fromkeys(note for part in parts for note in part.notes))
    return Quantity(amount, smallest, any(part.rough for part in parts), notes)


def _parts(text: str, field: str, default_unit: str | None) -> list[tuple[str, Unit]]:
    if not text:
        raise Invalid(field, "Enter an amount and a unit, such as 2.5 g.")
    marked = _CUBED.sub("³", text)
    numbers = list(_NUMBER.finditer(marked))
    if not numbers or numbers[0].start() or len(numbers) > MOST_PARTS or _EXPONENT.search(marked):
        raise _unreadable(text, field)
    ends = [number.start() for number in numbers[1:]] + [len(marked)]
    words = [marked[number.end() : end] for number, end in zip(numbers, ends, strict=True)]
    # The words that join two parts (a comma, "and", "+") come off the unit between them, at either end.
    alone = default_unit if len(numbers) == 1 else None
    bare = [_JOINED.sub("", _JOINED.sub("", word.strip()).strip()).strip() or alone for word in words]
    found = []
    for number, word in zip(numbers, bare, strict=True):
        if not word:
            raise Invalid(field, "Enter the unit too, such as g, oz or tsp.")
        found.append((number.group(), find_unit(word, field)))
    return found


def _unreadable(text: str, field: str) -> Invalid:
    shown = text if len(text) <= 40 else f"{text[:40]}…"
    if not any(sign.isdigit() for sign in text):
        return Invalid(field, f"{shown} has no number; enter an amount and a unit, such as 2.5 g.")
    if not text.isascii() and any(sign.isdigit() and not sign.isascii() for sign in text):
        return Invalid(field, "Enter the number with the digits 0 to 9.")
    return Invalid(field, f"{shown} is not an amount; enter a number and a unit, such as 2.5 g or 1 lb 3 oz.")


def to_grams(quantity: Quantity, density_g_ml: Decimal | None = None, field: str = "") -> Decimal:
    """Return the grams of a quantity; a volume needs the density in g/mL.

    Raises:
        Invalid: at ``field``, when a volume has no density, or the density is not a plausible one.
    """
    if quantity.unit.measure is Measure.MASS:
        return quantity.base
    return to_millilitres(quantity, field=field) * _density(density_g_ml, quantity, field)


def parse_grams(
    text: str,
    field: str = "",
    density_g_ml: Decimal | None = None,
    *,
    low: Decimal | None = None,
    high: Decimal | None = None,
) -> Decimal:
    """Return the grams of a weight as typed: ``1.2 kg``, ``500 mg``, ``12.5 gram``; a bare number is grams.

    A volume needs the density in g/mL. The limits are in grams, both allowed; without ``low`` zero is refused.

    Raises:
        Invalid: at ``field``, when it cannot be read, is a volume without a density, or is out of range.
    """
    grams = to_grams(parse_quantity(text, field, default_unit="g"), density_g_ml, field)
    if low is None and grams <= 0:
        raise Invalid(field, "Enter an amount above 0.")
    if low is not None and grams < low:
        raise Invalid(field, f"The weight is {figures(grams, 8)} g; the least allowed is {plain(low)} g.")
    if high is not None and grams > high:
        raise Invalid(field, f"The weight is {figures(grams, 8)} g; the most allowed is {plain(high)} g.")
    return grams


def to_millilitres(quantity: Quantity, density_g_ml: Decimal | None = None, field: str = "") -> Decimal:
    """Return the millilitres of a quantity; a mass needs the density in g/mL, drops count 20 to the mL.

    Raises:
        Invalid: at ``field``, when a mass has no density, or the density is not a plausible one.
    """
    if quantity.unit.measure is Measure.VOLUME:
        return quantity.base
    return quantity.base / _density(density_g_ml, quantity, field)


def _density(density_g_ml: Decimal | None, quantity: Quantity, field: str) -> Decimal:
    if density_g_ml is None:
        kind, other = ("weight", "volume") if quantity.unit.measure is Measure.MASS else ("volume", "weight")
        hint = " (for fluid ounces enter fl oz)" if quantity.unit.name == "ounce" else ""
        raise Invalid(
            field,
            f"{figures(quantity.amount, 8)} {quantity.unit.symbol} is a {kind}{hint}; to make it a {other} "
            "enter the density in g/mL.",
        )
    return check_density(density_g_ml, field)


def check_density(density_g_ml: Decimal, field: str = "") -> Decimal:
    """Return the density when it is one: 0.001 to 25 g/mL.

    Raises:
        Invalid: at ``field``, when it is outside; a density in kg/m³ is a thousand times too large.
    """
    if not LIGHTEST_G_ML <= density_g_ml <= DENSEST_G_ML:
        raise Invalid(
            field,
            f"A density of {plain(density_g_ml)} g/mL is out of range ({LIGHTEST_G_ML} to {DENSEST_G_ML}); "
            "water is 0.998 g/mL, and 1000 kg/m³ is 1 g/mL.",
        )
    return density_g_ml


def convert(quantity: Quantity, to: Unit, density_g_ml: Decimal | None = None, field: str = "") -> Converted:
    """Convert a quantity to a unit; between weight and volume the density in g/mL is needed.

    Raises:
        Invalid: at ``field``, when the density is needed and missing, or implausible.
    """
    through_density = quantity.unit.measure is not to.measure
    if not through_density:
        value = _convert(quantity.amount, quantity.unit.name, to.name)
    elif to.measure is Measure.MASS:
        value = _convert(to_grams(quantity, density_g_ml, field), "gram", to.name)
    else:
        value = _convert(to_millilitres(quantity, density_g_ml, field), "millilitre", to.name)
    rough = quantity.rough or to.rough
    notes = [*quantity.notes, to.remark]
    if through_density and density_g_ml is not None:
        notes.append(
            f"Weight and volume are joined by the density given, {plain(density_g_ml)} g/mL; it holds at one "
            "temperature only. Weighing is surer."
        )
    elif density_g_ml is not None:
        notes.append("The density was not needed.")
    return Converted(value, to, not (through_density or rough), tuple(dict.fromkeys(note for note in notes if note)))
