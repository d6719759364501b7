"""The computation ``infer``: from a printed ingredient list back to likely percentages."""

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field

from app.commands.computations._base import AnswerModel, Day, Number, Percent, RequestModel, Text
from app.commands.computations._product_kind import ProductKind
from app.reference.inference_measures import Reading
from app.reference.known_names import unknown_names
from app.reference.label_inference import LabelInference, infer_label
from app.reference.label_names import LabelNames
from app.science.errors import Invalid
from app.science.inference.infer import MOST_NAMES
from app.science.inference.values import Known
from app.science.inference.wording import clash_sentences
from app.science.label_list.pieces import MAY_CONTAIN
from app.science.label_list.reading import read_name
from app.science.label_list.values import Certainty, ReadName
from app.science.names import inci_key
from app.work.form import Faults
from app.work.label_reading.constraints import UserConstraints
from app.work.label_reading.observations import AT, LONGEST_PACK, pack_claims, readings_of

SUMMARY = "Percentages that a printed ingredient list allows, and the likely ones, with the place of the 1 % line."
BOOK = LabelNames()
UNKNOWN = Certainty.UNKNOWN
Printed = Annotated[str, Field(min_length=1, max_length=2000)]


class Request(RequestModel):
    """The printed list and what is known of it.

    ``date`` is the day the law is asked for; without it only legal maxima that have always held count, because a
    product in hand may be older than the newest amendment. ``measured`` are readings of the product in hand: loss on
    drying, ash and salt at most in % w/w, density in g/mL, pH; a value, or one with its tolerance (``"43.5 ± 1"``).
    ``pack_words`` are words of the pack: '5 % niacinamide', 'SPF 30', 'alcohol-free'.
    """

    ingredients: Annotated[list[Printed], Field(min_length=1, max_length=MOST_NAMES)]
    claims: dict[Text, Percent] | None = None
    product_type: Annotated[str, Field(max_length=400)] | None = None
    jurisdiction: Literal["EU", "US"] = "EU"
    product_kind: ProductKind | None = None
    date: Day | None = None
    measured: dict[Literal["drying", "density", "ph", "ash", "salt"], Decimal | Text] | None = None
    pack_words: Annotated[str, Field(max_length=LONGEST_PACK)] | None = None


class Row(AnswerModel):
    """One name: bounds by the rules alone, the central estimate and the 80 % credible band, all % w/w."""

    name: str
    known: bool
    low: Number
    high: Number
    estimate: Number
    band_low: Number
    band_high: Number


class OnePercentLine(AnswerModel):
    """How many names stand above 1 %: the likeliest number, and the probability of 0, 1, 2... names."""

    position: int
    probability: list[float]


class Answer(AnswerModel):
    """One row a name in printed order."""

    ingredients: list[Row]
    one_percent_line: OnePercentLine
    conflicts: list[str]
    notes: list[str]


def compute(request: Request) -> Answer:
    """Read each name, apply the claims, infer."""
    printed = list(_read_names(request.ingredients))
    first: dict[str, ReadName] = {}
    notes = []
    for name in printed:
        if name.key in first:
            notes.append(
                f"{name.printed} repeats {first[name.key].printed}; it is counted once, at its first place, and both "
                "rows show the same figures."
            )
        first.setdefault(name.key, name)
    if not first:
        raise Invalid("ingredients", "there is no name in this list")
    names = list(first.values())
    words = request.pack_words or ""
    known = (
        pack_claims(words, names)
        | {i: Known(float(n.percent), float(n.percent)) for i, n in enumerate(names) if n.percent is not None}
        | _claimed(request.claims or {}, names)
    )
    found = infer_label(
        names,
        known,
        request.product_type or "",
        request.jurisdiction,
        product_kind=request.product_kind or "",
        on=request.date,
        readings=_readings(request, names),
    )
    notes += [unknown.sentence for unknown in unknown_names(n.printed for n in names if n.certainty is UNKNOWN)]
    return _answer(printed, names, found, notes)


def _readings(request: Request, names: list[ReadName]) -> tuple[Reading, ...]:
    observed: dict[str, str] = {field: str(value) for field, value in (request.measured or {}).items()}
    if request.pack_words:
        observed["pack"] = request.pack_words
    try:
        return readings_of(UserConstraints(observed=observed), names, {})
    except Faults as wrong:
        first = wrong.faults[0]
        field = first.field.removeprefix(AT)
        raise Invalid("pack_words" if field == "pack" else f"measured.{field}", first.message) from wrong


def _read_names(texts: Iterable[str]) -> Iterable[ReadName]:
    doubtful = False
    for number, text in enumerate(texts):
        marker = MAY_CONTAIN.match(text)
        doubtful = doubtful or marker is not None
        plain = text[marker.end() :].strip(" ])") if marker else text
        if plain:
            name = read_name(plain, BOOK)
            if not any(sign.isalnum() for sign in name.printed):
                raise Invalid(f"ingredients[{number}]", "this is not a name")
            yield replace(name, may_contain=doubtful, printed=text)


def _claimed(claims: dict[str, Decimal], names: list[ReadName]) -> dict[int, Known]:
    found: dict[int, Known] = {}
    for claim, percent in claims.items():
        key, printed = read_name(claim, BOOK).key, inci_key(claim)
        same = (n for n, name in enumerate(names) if key == name.key or printed == inci_key(name.printed))
        place = next(same, None)
        if place is None:
            raise Invalid(f"claims.{claim}", "this name is not in the list of ingredients")
        if place in found and found[place].low != float(percent):
            raise Invalid(f"claims.{claim}", f"{names[place].printed} is claimed twice with different percentages")
        found[place] = Known(float(percent), float(percent))
    return found


def _answer(printed: list[ReadName], names: list[ReadName], found: LabelInference, notes: list[str]) -> Answer:
    """Write one row a printed name; a repeated name keeps its row, with the figures of its first place."""
    inference = found.inference
    first = {name.key: (name, row) for name, row in zip(names, inference.rows, strict=True)}
    places = [place for place, name in enumerate(printed) if name is first[name.key][0]]
    # How many printed rows stand above the line when so many different names do.
    above = [0, *(place + 1 for place in places[:-1]), len(printed)]
    probability = [0.0] * (len(printed) + 1)
    for count, share in zip(above, inference.line_probability, strict=True):
        probability[count] += float(_number(share))
    rows = [
        Row(
            name=name.printed,
            known=name.certainty is not Certainty.UNKNOWN,
            low=_number(row.low),
            high=_number(row.high),
            estimate=_number(row.estimate),
            band_low=_number(row.band_low),
            band_high=_number(row.band_high),
        )
        for name in printed
        for row in [first[name.key][1]]
    ]
    line = OnePercentLine(position=above[inference.line_position], probability=probability)
    conflicts = [sentence for clash in inference.clashes for sentence in clash_sentences(clash, found.names)]
    return Answer(ingredients=rows, one_percent_line=line, conflicts=conflicts, notes=[*found.notes, *notes])


def _number(value: float) -> Decimal:
    return Decimal(f"{value:.10g}")
