"""The pH that a printed list asks for, and what in it sets the pH."""

import re
from collections.abc import Iterator

import numpy as np

from app.reference.label_ph import ACIDS, BASES, ph_of
from app.reference.label_shape import ListShape
from app.reference.library import find_substance
from app.reference.preservatives import preservatives
from app.reference.thickeners import thickener_of
from app.science.acid_base.gel import GelState, GelWindow

SULFATE = re.compile(r"^(SODIUM|AMMONIUM|MAGNESIUM|TEA|MIPA).* SULFATE$|^SODIUM COCO-SULFATE$")
SULFATE_FROM = 4.0  # alkyl sulfates fall apart in acid below it (common practice)
COMFORTABLE_PH, EDGE, TRIED_PH = 5.5, 0.3, np.arange(3.0, 8.01, 0.1)
LARGEST_ADJUSTER = 1.0  # % w/w: an acid above it is an active, not what sets the pH (common practice)


def target_ph(shape: ListShape) -> tuple[float | None, str, int | None]:
    """Choose the pH that most preservatives, gels and actives of the list work at, nearest to that of the skin.

    Only a pH on the side to which a printed base or acid can move it counts. Returns the pH, what it serves, and the
    place of the base or acid that sets it.
    """
    bases = shape.places(BASES)
    acids = [
        i
        for i in shape.places(ACIDS)
        if shape.rows[i].estimate < LARGEST_ADJUSTER and shape.listed[i].key not in preservatives()
    ]
    if not shape.wet or shape.soapy or not (bases or acids):
        return None, "", None
    without = [0.0 if i in {*bases, *acids} else row.estimate for i, row in enumerate(shape.rows)]
    natural = ph_of(shape.listed, without, rough=True)
    keeping = [
        (name.name, row.preservative)
        for i, name in enumerate(shape.listed)
        if shape.counted[i] and (row := preservatives().get(name.key)) and not row.preservative.support
    ]
    gels = [(n.name, t) for n in shape.listed if (t := thickener_of(n.key)) and t.needs_neutraliser]
    actives = [*_active_windows(shape)]

    sulfated = any(SULFATE.search(n.key) and "surfactant" in n.class_name for n in shape.listed)
    likely = ph_of(shape.listed, [row.estimate for row in shape.rows]) or COMFORTABLE_PH
    aim = min(max(likely, COMFORTABLE_PH - 1), COMFORTABLE_PH + 1)

    def worth(ph: float) -> float:
        kept = sum(3.0 * (p.ph_low <= ph <= p.ph_high) + 0.5 * (ph <= p.ph_high - EDGE) for _, p in keeping)
        thick = sum(3.0 * (t.window.at(ph - EDGE) is GelState.FULL) + 0.5 * _best(t.window, ph) for _, t in gels)
        kind = -4.0 * (ph < SULFATE_FROM) * sulfated
        kind += sum(2.0 * (low <= ph <= high) + 0.5 * (low + EDGE <= ph <= high - EDGE) for _, low, high in actives)
        return kept + thick + kind - 0.4 * abs(ph - aim)

    below = TRIED_PH[natural >= TRIED_PH] if natural is not None and not bases else TRIED_PH
    tried = below[below >= natural] if natural is not None and not acids else below
    if not len(tried):  # neither base nor acid can do anything: what is left open is said
        tried = TRIED_PH
    best = round(float(max(tried, key=worth)), 1)
    served = [n for n, p in keeping if p.ph_low <= best <= p.ph_high]
    served += [n for n, t in gels if t.window.at(best) is GelState.FULL]
    served += [n for n, low, high in actives if low <= best <= high]
    rising = bool(bases) and (natural is None or best >= natural or not acids)
    setting = max(bases if rising else acids, key=lambda i: shape.rows[i].estimate)
    return best, ", ".join(dict.fromkeys(served)), setting


def _active_windows(shape: ListShape) -> Iterator[tuple[str, float, float]]:
    """Yield the actives that are there at a level that works, each with the pH from and to which it keeps."""
    for place, name in enumerate(shape.listed):
        substance = find_substance(name.key)
        if substance is None or substance.group != "actives" or substance.ph_min is None or substance.ph_max is None:
            continue
        if shape.counted[place] and shape.rows[place].estimate >= float(substance.use_low or 0):
            yield name.name, float(substance.ph_min), float(substance.ph_max)


def _best(window: GelWindow, ph: float) -> bool:
    if window.best_from is None or window.best_to is None:
        return False
    return window.best_from <= ph <= window.best_to
