"""``gel``: how an acid polymer, or another thickener, stands at a pH."""

import re
from decimal import Decimal
from typing import Literal

from pydantic import Field

from app.commands.computations._base import AnswerModel, Measured, Number, Percent, RequestModel, Text
from app.commands.computations._mixture import MOST_LINES, MixtureLineModel, entries, tidy
from app.reference.acid_base import acid_base_table
from app.reference.label_names import is_listed, nearest_name
from app.reference.mixtures import build_mixture
from app.reference.thickeners import Thickener, thickener_of
from app.science.acid_base.gel import companions, gel_notes, ionised_at
from app.science.acid_base.values import MixtureLine
from app.science.errors import Invalid

SUMMARY = "Say how a thickener stands at a pH: ionised part, window, and what thins it."
CATIONIC = re.compile(r"QUATERNIUM|TRIMONIUM|ALKONIUM|DIMETHYLAMINE$|CHLORHEXIDINE|BIGUANIDE|HYDROXYPROPYLTRIMONIUM")


class PolymerModel(RequestModel):
    """The thickener: INCI name and % w/w of the formula."""

    inci: Text
    percent: Percent


class Request(RequestModel):
    """A thickener, the rest of the formula, and the pH."""

    polymer: PolymerModel
    mixture: list[MixtureLineModel] = Field(default=[], max_length=MOST_LINES)
    ph: Number


class Answer(AnswerModel):
    """The ionised share (0..1) and where the thickener stands."""

    ionised_fraction: Measured
    window: Literal["below", "thickening", "full", "falling"]
    notes: list[str]


def compute(request: Request) -> Answer:
    """Return how the thickener stands.

    Raises:
        Invalid: naming the field.
    """
    if not 0 <= request.ph <= 14:
        raise Invalid("ph", "the pH must lie between 0 and 14")
    found = acid_base_table().find(request.polymer.inci)
    name = found.substance.inci if found else request.polymer.inci
    thickener = thickener_of(name)
    if thickener is None:
        near = "" if is_listed(request.polymer.inci) else nearest_name(request.polymer.inci)
        hint = f"; did you mean {near}?" if near else ""
        raise Invalid("polymer.inci", f"nothing is known about {request.polymer.inci!r} as a thickener{hint}")
    polymer = found.substance.polymer if found else None
    total = sum((line.percent for line in request.mixture), Decimal(0))
    if total > 100:
        raise Invalid("mixture", f"the percentages add up to {total:f}, more than 100")
    built = build_mixture(entries(request.mixture))
    lines, named = built.mixture.lines, built.notes
    ph = float(request.ph)
    notes = [
        *named,
        *gel_notes(thickener.window, ph),
        *_beside(thickener, lines),
        *_dose(request.polymer.percent, thickener),
    ]
    need = "needs a neutraliser" if thickener.needs_neutraliser else "needs no neutraliser"
    return Answer(
        ionised_fraction=tidy(ionised_at(polymer, ph)) if polymer else 0,
        window=thickener.window.at(ph).value,
        notes=[*notes, f"{thickener.inci} {need}. Window: {thickener.source} ({thickener.source_status})."],
    )


def _beside(thickener: Thickener, lines: tuple[MixtureLine, ...]) -> tuple[str, ...]:
    if thickener.charge != "anionic" or thickener.salt_tolerance == "good":
        return ()
    cationic = [line.name for line in lines if line.percent > 0 and CATIONIC.search(line.name.upper())]
    return companions(lines, cationic)


def _dose(percent: Decimal, thickener: Thickener) -> tuple[str, ...]:
    low, high = thickener.dose_low_percent, thickener.dose_high_percent
    if percent == 0:
        return ("There is none of it in the formula.",)
    if low <= percent <= high:
        return ()
    word = "less" if percent < low else "more"
    return (f"{percent.normalize():f} % is {word} than the usual {low:f} to {high:f} % for a light gel.",)
