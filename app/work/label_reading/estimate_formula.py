"""What the estimate of a list would be like, asked as of any formula: pH, gel, preservation."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal

from app.reference.inference_caps import usual_exposure
from app.science.acid_base.prediction import predict
from app.science.composition import Part
from app.science.errors import Invalid
from app.science.formula import Formula, Line, Material, Phase
from app.work.label_reading.estimate import LabelEstimate
from app.work.ph.mixture import mixture_of
from app.work.ph.report import PhReport, ph_report

STEP = Decimal("0.000001")
ACIDS, BASES = frozenset({"acid", "acid_active"}), frozenset({"base", "amine_base"})
BATCH_G = 100.0


@dataclass(frozen=True, slots=True)
class Asked:
    """What a formula of the most likely percentages has to say of its pH, gel and preservation.

    ``report`` is None when nothing in it has to do with water; ``swing`` is the range of pH when acids and bases lie
    at the ends of their bands.
    """

    report: PhReport | None
    swing: tuple[float, float] | None


def estimate_formula(sheet: LabelEstimate, instead: Mapping[int, float] | None = None) -> Formula:
    """Return the formula of the most likely percentages, a material for each substance.

    Shades that need not be there are left out. ``instead`` gives other percentages (% w/w) by place; the largest name
    gives way for them.
    """
    percents = {row.place: row.answer.estimate for row in sheet.rows if not row.name.may_contain}
    if instead:
        largest = max(percents, key=lambda place: percents[place])
        extra = sum(value - percents[place] for place, value in instead.items())
        percents = {**percents, largest: max(percents[largest] - extra, 0.0), **instead}
    lines = []
    for place, percent in percents.items():
        inci, amount = sheet.names[place].inci, Decimal(percent).quantize(STEP, rounding=ROUND_DOWN)
        lines.append(Line(f"l{place}", Material(0, inci, (Part(inci, Decimal(100)),)), amount))
    exposure = usual_exposure(sheet.product_type)
    return Formula("", (Phase("A", lines=tuple(lines)),), product_type=sheet.product_type, exposure=exposure.value)


def ask(sheet: LabelEstimate) -> Asked:
    """Ask the formula of the most likely percentages."""
    found = look_at(estimate_formula(sheet))
    known = found is not None and found.prediction is not None
    return Asked(found, _swing(sheet) if known else None)


def look_at(formula: Formula) -> PhReport | None:
    """Return what a formula says of its pH, gels and preservation; None when it has to do with no water."""
    return ph_report(formula.dosed, exposure=formula.exposure, target=None, batch_g=BATCH_G)


def _swing(sheet: LabelEstimate) -> tuple[float, float] | None:
    """Predict with every acid at one end of its band and every base at the other, both ways round."""
    moving = [row for row in sheet.rows if row.listed.class_name in ACIDS | BASES and not row.name.may_contain]
    if not moving:
        return None
    values = []
    for high in (ACIDS, BASES):
        ends = {r.place: r.answer.band_high if r.listed.class_name in high else r.answer.band_low for r in moving}
        try:
            values.append(predict(mixture_of(estimate_formula(sheet, ends).dosed)[0]).ph.value)
        except Invalid:
            return None
    return min(values), max(values)
