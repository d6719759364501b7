"""What was seen and measured of a product in hand: fields as typed, read into evidence."""

import re
from collections.abc import Mapping, Sequence
from typing import Self

from app.reference.inference_free_of import said_free_of
from app.reference.inference_measures import Observable, Reading
from app.science.errors import Invalid
from app.science.inference.values import Known
from app.science.label_list.values import ReadName
from app.science.names import inci_key
from app.science.numbers import parse_number
from app.work.form import Choice, Field, Form
from app.work.form_fields import LongText, ShortText
from app.work.label_reading.constraints import UserConstraints

AT = "observed-"  # before the name of each field on the page
LONGEST_KEY, LONGEST_PACK = 300, 2000
PACK_PH_ERROR = 0.3  # a pack gives the pH it was aimed at, within the maker's own limits (from memory)
_WORDS = r"[A-Za-z][A-Za-z0-9 '/-]{2,60}"
_NUMBER = r"\d{1,2}(?:[.,]\d+)?"
_BEFORE = re.compile(rf"(?P<number>{_NUMBER})\s*%\s*(?:of\s+|pure\s+)?(?P<words>{_WORDS})")
_AFTER = re.compile(rf"(?P<words>{_WORDS}?)\s+(?P<number>{_NUMBER})\s*%")
_SPF = re.compile(r"\bSPF\s*(\d{1,3})", re.IGNORECASE)
_PH = re.compile(r"\bpH\s*(?:of|value|:|=)?\s*(\d{1,2}(?:[.,]\d)?)", re.IGNORECASE)


class ToleranceField(Field[tuple[float, float | None] | None]):
    """A measured value that may be left empty, alone or with its tolerance (``43.5 ± 1``)."""

    control = "decimal"

    def __init__(self, label: str, measure: Observable, how: str, *, low: float, high: float) -> None:
        super().__init__(label, hint=how, width="w8")
        self.measure, self.low, self.high = measure, low, high

    def read(self, text: str, at: str, form: Form) -> tuple[float, float | None] | None:
        """Return the value and its tolerance, each None where it was not typed."""
        if not text.strip():
            return None
        middle, sign, room = text.replace("+/-", "±").replace("+-", "±").partition("±")
        value = float(parse_number(middle.strip(), at))
        if not self.low <= value <= self.high:
            raise Invalid(at, f"Enter a value from {self.low:g} to {self.high:g}.")
        error = float(parse_number(room.strip(), at)) if sign else None
        if error is not None and error <= 0:
            raise Invalid(at, "Enter a tolerance above 0.")
        return value, error


class Tried(Field[Observable | None]):
    """What a look or a trial showed: one of a few words, each with what it tells; the first is that nobody tried."""

    control = "choice"

    def __init__(self, label: str, untried: str, *told: tuple[str, str, Observable]) -> None:
        super().__init__(label)
        self.told = {word: measure for word, _, measure in told}
        self.offered = (Choice("", untried), *(Choice(word, words) for word, words, _ in told))

    def read(self, text: str, at: str, form: Form) -> Observable | None:
        """Return what the word tells; None for one that is not offered, as one of an older page."""
        return self.told.get(text.strip())

    def choices(self) -> Sequence[Choice]:
        """Return the words."""
        return self.offered


class ObservedForm(Form):
    """What was seen and measured of a product in hand; its fields stand on the page with ``observed-`` in front."""

    line = ShortText("At or below 1 % from here on", longest=LONGEST_KEY)
    tail = Tried(
        "The end of the list",
        "may or may not descend",
        ("scattered", "is not in order of amount", Observable.SCATTERED),
        ("alphabetical", "is alphabetical", Observable.ALPHABETICAL),
    )
    smell = Tried(
        "Alcohol",
        "not tried",
        ("yes", "smells or stings of alcohol", Observable.SMELLS),
        ("no", "no smell of alcohol", Observable.NO_SMELL),
    )
    salt_test = Tried(
        "A pinch of salt stirred into the gel",
        "not tried",
        ("thins", "thins it at once (as carbomer)", Observable.THINS),
        ("holds", "does not thin it (as xanthan)", Observable.HOLDS),
    )
    pack = LongText(
        "Front label text",
        longest=LONGEST_PACK,
        lines=2,
        hint='Read: 5 % niacinamide, SPF 30, pH 5.5, and "free of" (alcohol-free means ethanol only). Other claims '
        "change nothing.",
    )
    drying = ToleranceField(
        "Loss on drying, %",
        Observable.DRYING,
        "Weigh 2 g on a flat dish, spread thin, leave in a warm place or an oven until the weight stays. What goes is "
        "water, alcohol, volatile silicones and most of the perfume. Nothing with alcohol in a hot oven: it ignites.",
        low=0,
        high=100,
    )
    density = ToleranceField(
        "Density, g/mL",
        Observable.DENSITY,
        "Fill a small jar to the brim without air, weigh; the same with water. Divide.",
        low=0.5,
        high=3,
    )
    ph = ToleranceField(
        "pH", Observable.PH, "A meter, or a strip to the nearest half (enter 5.5 ± 0.5).", low=0, high=14
    )
    ash = ToleranceField(
        "Ash, %",
        Observable.ASH,
        "Only with a muffle furnace at about 600 °C, in a hood: what is left of powders, clays and salts.",
        low=0,
        high=100,
    )
    salt = ToleranceField(
        "Salt at most, %",
        Observable.SALT,
        "A rough upper bound by a conductivity or aquarium meter in ten parts of water; other ions count as salt.",
        low=0,
        high=100,
    )
    price = ToleranceField(
        "Price per kg",
        Observable.PRICE,
        "What a kilogram sells for, in the workshop's currency; materials cost less.",
        low=0,
        high=1e6,
    )

    @classmethod
    def stored_as(cls, observed: Mapping[str, str]) -> Self:
        """Return the form that was stored as texts by the names of its fields."""
        return cls.sent(observed).at_place(AT, 1)

    @classmethod
    def posted(cls, form: Mapping[str, str]) -> Self:
        """Return the form as the page of a list posted it."""
        return cls.sent(form, AT).at_place(AT, 1)


MEASURES: Mapping[str, ToleranceField] = {
    n: one for n, one in ObservedForm.fields.items() if isinstance(one, ToleranceField)
}


def readings_of(
    constraints: UserConstraints, names: Sequence[ReadName], prices: Mapping[str, float]
) -> tuple[Reading, ...]:
    """Read what was seen and measured.

    Args:
        constraints: what the maker says of the list.
        names: the names in printed order.
        prices: price of a kilogram by the key of a substance, as far as the shelf knows it.

    Raises:
        Faults: at ``observed-<field>``, with every value that cannot be read.
    """
    seen, found = ObservedForm.stored_as(constraints.observed).checked(), list[Reading]()
    for field in MEASURES.values():
        read = seen.value_of(field)
        if read:
            found.append(Reading(field.measure, *read, prices=prices if field.measure is Observable.PRICE else {}))
    found += [Reading(tried) for tried in (seen.tail, seen.smell, seen.salt_test) if tried]
    found += [Reading(Observable.LINE, place=place) for place, name in enumerate(names) if name.key == seen.line]
    found += [Reading(Observable.FREE_OF, word=word) for word in said_free_of(seen.pack)]
    spf, ph = _SPF.search(seen.pack), _PH.search(seen.pack)
    if spf:
        found.append(Reading(Observable.SPF, float(spf.group(1))))
    if ph and not seen.ph:
        found.append(Reading(Observable.PH, float(ph.group(1).replace(",", ".")), PACK_PH_ERROR))
    return tuple(found)


def pack_claims(text: str, names: Sequence[ReadName]) -> dict[int, Known]:
    """Return percentages that words on the pack state of names of the list, by place: '5 % niacinamide'.

    A claim is rounded, so it is taken within a tenth of what is stated; of several names that fit its words, the
    longest is meant.
    """
    found: dict[int, Known] = {}
    for match in (*_BEFORE.finditer(text), *_AFTER.finditer(text)):
        said = inci_key(match["words"])
        fitting = [(len(name.key), place) for place, name in enumerate(names) if name.key in said or said in name.key]
        place = max(fitting)[1] if fitting else None
        if place is not None and place not in found:
            value = float(match["number"].replace(",", "."))
            found[place] = Known(0.9 * value, 1.1 * value)
    return found
