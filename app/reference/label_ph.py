"""The pH of a list of substances at given percentages, and the dose of what sets it."""

from collections.abc import Sequence
from decimal import Decimal

from app.reference.mixtures import MixtureEntry, build_adjuster, build_mixture
from app.science.acid_base.dosing import plan_dose
from app.science.acid_base.model import LEAST_WATER_PERCENT, compile_model, water_percent
from app.science.acid_base.prediction import predict_model
from app.science.errors import Invalid
from app.science.inference.values import ListedName

BASES, ACIDS = frozenset({"base", "amine_base"}), frozenset({"acid", "acid_active"})


def entries_of(
    listed: Sequence[ListedName], percents: Sequence[float], without: int | None = None
) -> list[MixtureEntry]:
    """Return a composition (% w/w) as lines of substances; one may be left out, to be worked out."""
    return [
        MixtureEntry(name.key, Decimal(str(round(float(percent), 7))), Decimal(100))
        for i, (name, percent) in enumerate(zip(listed, percents, strict=True))
        if i != without and percent > 1e-7
    ]


def adjuster_dose(
    listed: Sequence[ListedName], percents: Sequence[float], adjuster: int, target: float
) -> float | None:
    """Return the % w/w of the adjuster that sets a pH, 0 where none is needed; None when it cannot."""
    try:
        mixture = build_mixture(entries_of(listed, percents, adjuster)).mixture
        stock, _ = build_adjuster(listed[adjuster].key, Decimal(100))
        dose = plan_dose(compile_model(mixture, (stock,)), target)
    except Invalid:
        return None
    return None if dose.value is None else 100.0 * dose.value / (1 + dose.value)


def ph_of(listed: Sequence[ListedName], percents: Sequence[float], *, rough: bool = False) -> float | None:
    """Return the predicted pH; ``rough`` gives the number also where nothing holds it and none may be promised."""
    try:
        mixture = build_mixture(entries_of(listed, percents)).mixture
        if water_percent(mixture.lines, mixture.water_percent) < LEAST_WATER_PERCENT:
            return None
        found = predict_model(compile_model(mixture))
    except Invalid:
        return None
    return None if found.withheld and not rough else float(found.ph.value)
