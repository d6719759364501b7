"""What was seen and measured of a product in hand: fields as typed, read into evidence."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.reference.inference_free_of import said_free_of
from app.reference.inference_measures import Measure, Reading
from app.science.errors import Invalid
from app.science.inference.values import Known
from app.science.label_list.values import ReadName
from app.science.names import inci_key
from app.science.numbers import parse_number
from app.work.label_reading.constraints import UserConstraints

TAIL, LINE, SMELL, SALT_TEST, PACK = "tail", "line", "smell", "salt_test", "pack"
LONGEST_WORDS = 2000
TAILS = {"scattered": Measure.SCATTERED, "alphabetical": Measure.ALPHABETICAL}
SMELLS = {"yes": Measure.SMELLS, "no": Measure.NO_SMELL}
SALT_TESTS = {"thins": Measure.THINS, "holds": Measure.HOLDS}
_WORDS = r"[A-Za-z][A-Za-z0-9 '/-]{2,60}"
_NUMBER = r"\d{1,2}(?:[.,]\d+)?"
_BEFORE = re.compile(rf"(?P<number>{_NUMBER})\s*%\s*(?:of\s+|pure\s+)?(?P<words>{_WORDS})")
_AFTER = re.compile(rf"(?P<words>{_WORDS}?)\s+(?P<number>{_NUMBER})\s*%")
_SPF = re.compile(r"\bSPF\s*(\d{1,3})", re.IGNORECASE)
_PH = re.compile(r"\bpH\s*(?:of|value|:|=)?\s*(\d{1,2}(?:[.,]\d)?)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class NumberField:
    """A field for a number: its name, label, unit, how to measure it, smallest and largest value."""

    name: str
    measure: Measure
    label: str
    unit: str
    how: str
    low: float
    high: float


FIELDS = (
    NumberField(
        "drying",
        Measure.DRYING,
        "Loss on drying",
        "%",
        "Weigh 2 g on a flat dish, spread thin, leave in a warm place or an oven until the weight stays. What goes is "
        "water, alcohol, volatile silicones and most of the perfume. Nothing with alcohol in a hot oven: it ignites.",
        0,
        100,
    ),
    NumberField(
        "density",
        Measure.DENSITY,
        "Density",
        "g/mL",
        "Fill a small jar to the brim without air, weigh; the same with water. Divide.",
        0.5,
        3,
    ),
    NumberField("ph", Measure.PH, "pH", "", "A meter, or a strip to the nearest half (write 5.5 ± 0.5).", 0, 14),
    NumberField(
        "ash",
        Measure.ASH,
        "Ash",
        "%",
        "Only with a muffle furnace at about 600 °C, in a hood: what is left of powders, clays and salts.",
        0,
        100,
    ),
    NumberField(
        "salt",
        Measure.SALT,
        "Salt at most",
        "%",
        "A rough upper bound by a conductivity or aquarium meter in ten parts of water; other ions count as salt.",
        0,
        100,
    ),
    NumberField("price", Measure.PRICE, "Price per kg", "", "What a kilogram sells for; materials cost less.", 0, 1e6),
)


def readings_of(
    constraints: UserConstraints, names: Sequence[ReadName], prices: Mapping[str, float]
) -> tuple[Reading, ...]:
    """Read what was seen and measured.

    Args:
        constraints: what the maker says of the list.
        names: the names in printed order.
        prices: price of a kilogram by the key of a substance, as far as the shelf knows it.

    Raises:
        Invalid: at ``observed-<field>``, when a value cannot be read.
    """
    return tuple(_readings(constraints.observed, names, prices))


def _readings(observed: Mapping[str, str], names: Sequence[ReadName], prices: Mapping[str, float]) -> Iterator[Reading]:
    for one in FIELDS:
        text = observed.get(one.name, "")
        if text:
            value, error = _number(text, one)
            yield Reading(one.measure, value, error, prices=prices if one.measure is Measure.PRICE else {})
    for field, choices in ((TAIL, TAILS), (SMELL, SMELLS), (SALT_TEST, SALT_TESTS)):
        if observed.get(field) in choices:
            yield Reading(choices[observed[field]])
    places = {name.key: place for place, name in enumerate(names)}
    if observed.get(LINE) in places:
        yield Reading(Measure.LINE, place=places[observed[LINE]])
    yield from _pack_readings(observed.get(PACK, ""), observed)


def _number(text: str, one: NumberField) -> tuple[float, float | None]:
    """Read a value, or one with its tolerance (``43.5 ± 1``)."""
    field = f"observed-{one.name}"
    middle, sign, room = text.replace("+/-", "±").replace("+-", "±").partition("±")
    value = float(parse_number(middle.strip(), field))
    if not one.low <= value <= one.high:
        raise Invalid(field, f"Write a value from {one.low:g} to {one.high:g}.")
    error = float(parse_number(room.strip(), field)) if sign else None
    if error is not None and error <= 0:
        raise Invalid(field, "Write a tolerance above 0.")
    return value, error


def _pack_readings(text: str, observed: Mapping[str, str]) -> Iterator[Reading]:
    spf, ph = _SPF.search(text), _PH.search(text)
    yield from (Reading(Measure.FREE_OF, word=word) for word in said_free_of(text))
    if spf:
        yield Reading(Measure.SPF, float(spf.group(1)))
    if ph and not observed.get("ph"):
        yield Reading(Measure.PH, float(ph.group(1).replace(",", ".")), 0.3)


def pack_claims(text: str, names: Sequence[ReadName]) -> dict[int, Known]:
    """Return percentages that words on the pack state of names of the list, by place: '5 % niacinamide'.

    A claim is rounded, so it is taken within a tenth of what is stated.
    """
    found: dict[int, Known] = {}
    for match in (*_BEFORE.finditer(text), *_AFTER.finditer(text)):
        place = _named(match["words"], names)
        if place is not None and place not in found:
            value = float(match["number"].replace(",", "."))
            found[place] = Known(0.9 * value, 1.1 * value)
    return found


def _named(words: str, names: Iterable[ReadName]) -> int | None:
    said = inci_key(words)
    fitting = [(len(name.key), place) for place, name in enumerate(names) if name.key in said or said in name.key]
    return max(fitting)[1] if fitting else None


def check_observed(observed: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield the field and the message of every observation that cannot be read."""
    for one in FIELDS:
        text = observed.get(one.name, "")
        if text:
            try:
                _number(text, one)
            except Invalid as fault:
                yield f"observed-{one.name}", fault.message
    if len(observed.get(PACK, "")) > LONGEST_WORDS:
        yield f"observed-{PACK}", f"Shorten this to {LONGEST_WORDS:,} characters."
