"""The shipped materials as a shelf for covering an inferred list."""

from collections.abc import Sequence
from functools import cache

from app.reference.inference_prior import class_of
from app.reference.label_start import LabelStart
from app.reference.material import LibraryMaterial
from app.reference.materials import library_materials
from app.science.inference.cover import ShelfMaterial, Target
from app.science.inference.values import Estimate
from app.science.label_list.values import ReadName
from app.science.names import inci_key

CLOSE = 1.03
LEAST_ADJUSTER = 0.002  # % w/w: what covers less than this is set by its dose afterwards


@cache
def library_shelf() -> tuple[ShelfMaterial, ...]:
    """Give every shipped material as something a list can be covered with."""
    return tuple(_on_shelf(m) for m in library_materials())


def _on_shelf(found: LibraryMaterial) -> ShelfMaterial:
    parts: dict[str, float] = {}
    for part in found.parts:
        key = inci_key(part.inci)
        parts[key] = parts.get(key, 0.0) + float(part.percent)
    main = max(parts, key=lambda key: (parts[key] if key != "AQUA" or len(parts) == 1 else 0.0, key))
    return ShelfMaterial(found.key, found.name, parts, False, class_of(main), found.assumption)


def targets_from(
    names: Sequence[ReadName], rows: Sequence[Estimate], start: LabelStart | None = None
) -> tuple[Target, ...]:
    """Return the substances to cover with materials: at the start's percentages, else at the likely ones.

    What a check asked for keeps close to the start; shades after 'may contain' are not aimed at.
    """
    asked = {place for r in start.requirements for place in r.terms} if start else set()
    setting = start.ph.adjuster if start else None
    return tuple(
        _target(name, row, start.percents[place] if start else row.estimate, close=place in asked)
        if place != setting
        else _target(name, row, max(start.percents[place] if start else 0.0, LEAST_ADJUSTER), close=True, keep=True)
        for place, (name, row) in enumerate(zip(names, rows, strict=True))
        if not name.may_contain
    )


def _target(name: ReadName, row: Estimate, percent: float, *, close: bool, keep: bool = False) -> Target:
    low, high = (percent, percent * CLOSE) if close else (min(row.band_low, percent), max(row.band_high, percent))
    return Target(name.key, name.inci, percent, low, high, class_of(name.key), keep)
