"""The pH the rules are asked with where no target is written: the predicted one, while its range says something."""

from decimal import Decimal
from functools import lru_cache

from app.science.acid_base.prediction import predict
from app.science.composition import DosedMaterial
from app.science.errors import Invalid
from app.science.formula import Formula
from app.science.numbers import to_places
from app.work.ph.mixture import mixture_of

# A range wider than this, pH units, tells the rules nothing.
WIDEST = 2.0
MOST_KEPT = 64


def predicted_ph(formula: Formula) -> Decimal | None:
    """Predict the pH of a formula; None with a target, without water, or where the range is too wide to judge by."""
    if formula.target_ph is not None:
        return None
    return _predicted(tuple(m for m in formula.dosed if m.percent > 0 and m.parts))


@lru_cache(maxsize=MOST_KEPT)
def _predicted(materials: tuple[DosedMaterial, ...]) -> Decimal | None:
    try:
        found = predict(mixture_of(materials)[0]).ph
    except Invalid:
        return None
    return to_places(Decimal(found.value), 2) if found.high - found.low <= WIDEST else None
