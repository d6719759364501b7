"""What the estimate of a list would be like: pH, gel, preservation, as of any formula."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal

from app.reference.inference_caps import exposure_of
from app.reference.mixtures import Entry, build_mixture
from app.reference.preservatives import assess_mixture
from app.reference.thickeners import Thickener, thickener_of
from app.science.acid_base.gel import gel_notes
from app.science.acid_base.model import water_percent
from app.science.acid_base.prediction import predict
from app.science.acid_base.validity import NO_NUMBER_WATER_SHARE, water_share
from app.science.acid_base.values import Mixture, Prediction
from app.science.errors import Invalid
from app.science.preservation import Preservation
from app.science.rules.values import Exposure
from app.work.label_reading.sheet import Row, Sheet

STEP = Decimal("0.000001")
ACIDS, BASES = frozenset({"acid", "acid_active"}), frozenset({"base", "amine_base"})
TOO_LITTLE_WATER = "Alcohols and glycols outweigh the water here; the model was made for water and gives no number."


@dataclass(frozen=True, slots=True)
class AskedPh:
    """The predicted pH with its range; ``swing`` is the range when acids and bases lie at the ends of their bands.

    ``fault`` says why there is no number.
    """

    value: float | None = None
    low: float | None = None
    high: float | None = None
    swing: tuple[float, float] | None = None
    notes: tuple[str, ...] = ()
    fault: str = ""


@dataclass(frozen=True, slots=True)
class AskedGel:
    """A thickener at the predicted pH, in sentences."""

    name: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """Everything that was asked of an estimate; ``preservation`` is None when it could not be asked."""

    ph: AskedPh
    gels: tuple[AskedGel, ...]
    preservation: Preservation | None
    preservation_fault: str = ""


def ask(sheet: Sheet) -> Asked:
    """Ask pH, gel window and preservation of the central estimate."""
    entries = _entries(sheet.rows, {})
    ph = _ask_ph(sheet, entries)
    preservation, fault = _ask_preservation(sheet, entries)
    return Asked(ph, tuple(_gels(sheet, ph)), preservation, fault)


def _entries(rows: Sequence[Row], instead: Mapping[int, float]) -> list[Entry]:
    """Write the estimate as lines; shades that need not be there are left out."""
    counted = [row for row in rows if not row.name.may_contain]
    return [Entry(r.name.inci, _decimal(instead.get(r.place, r.answer.estimate)), Decimal(100)) for r in counted]


def _decimal(value: float) -> Decimal:
    return Decimal(value).quantize(STEP, rounding=ROUND_DOWN)


def ph_of(entries: Sequence[Entry]) -> Prediction:
    """Predict the pH of substances at % w/w.

    Raises:
        Invalid: when there is no water, or too little beside alcohols and glycols.
    """
    mixture = build_mixture(entries).mixture
    if _too_dry(mixture):
        raise Invalid("mixture", TOO_LITTLE_WATER)
    return predict(mixture)


def _too_dry(mixture: Mixture) -> bool:
    water = water_percent(mixture.lines, mixture.water_percent)
    return water > 0 and water_share(mixture, water) < NO_NUMBER_WATER_SHARE


def _ask_ph(sheet: Sheet, entries: Sequence[Entry]) -> AskedPh:
    try:
        found = ph_of(entries)
    except Invalid as fault:
        return AskedPh(fault=_sentence(fault.message))
    return AskedPh(found.ph.value, found.ph.low, found.ph.high, _swing(sheet), tuple(found.notes))


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")


def _swing(sheet: Sheet) -> tuple[float, float] | None:
    """Predict with every acid at one end of its band and every base at the other, both ways round."""
    moving = [row for row in sheet.rows if row.listed.class_name in ACIDS | BASES]
    if not moving:
        return None
    values = []
    for acids_high in (True, False):
        high = ACIDS if acids_high else BASES
        ends = {r.place: r.answer.band_high if r.listed.class_name in high else r.answer.band_low for r in moving}
        try:
            values.append(ph_of(_entries(sheet.rows, _made_room(sheet.rows, ends))).ph.value)
        except Invalid:
            return None
    return min(values), max(values)


def _made_room(rows: Sequence[Row], ends: Mapping[int, float]) -> dict[int, float]:
    """Let the largest name give way, so that the sum stays what it was."""
    extra = sum(ends[row.place] - row.answer.estimate for row in rows if row.place in ends)
    largest = max(rows, key=lambda row: row.answer.estimate)
    return {largest.place: max(largest.answer.estimate - extra, 0.0), **ends}


def _gels(sheet: Sheet, ph: AskedPh) -> list[AskedGel]:
    found = ((row, thickener_of(row.name.inci)) for row in sheet.rows)
    return [AskedGel(row.name.printed, tuple(_gel(row, one, ph))) for row, one in found if one is not None]


def _gel(row: Row, one: Thickener, ph: AskedPh) -> list[str]:
    notes = (
        list(gel_notes(one.window, ph.value))
        if ph.value is not None
        else ["The pH is not known, so neither is its body."]
    )
    low, high, likely = float(one.dose_low_percent), float(one.dose_high_percent), row.answer.estimate
    if not low <= likely <= high:
        word = "less" if likely < low else "more"
        notes.append(f"{likely:.3g} % is {word} than the usual {low:g} to {high:g} % for a light gel.")
    return [*notes, f"Window: {one.source} ({one.source_status})."]


def _ask_preservation(sheet: Sheet, entries: Sequence[Entry]) -> tuple[Preservation | None, str]:
    leave_on = exposure_of(sheet.product_type) is not Exposure.RINSE_OFF
    try:
        return assess_mixture(build_mixture(entries).mixture, leave_on), ""
    except Invalid as fault:
        return None, _sentence(fault.message)
