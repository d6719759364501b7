"""What a material dissolves in, by the solubility that the library states for the substance it is bought for."""

from collections.abc import Iterable

from app.reference.library import find_substance
from app.science.composition import Part

UNKNOWN = "unknown"
# The first word of the library's solubility that names a liquid decides; a small solubility or a gel is no solution.
_BEGINNINGS = (
    ("water (swells", UNKNOWN),
    ("water (slightly", UNKNOWN),
    ("water (hydrolyses", UNKNOWN),
    ("insoluble", "none"),
    ("water", "water"),
    ("oil", "oil"),
    ("alcohol", "alcohol"),
    ("glycols, alcohol", "alcohol"),
)


def proposed_solvent(parts: Iterable[Part]) -> str:
    """Return ``water``, ``oil``, ``alcohol``, ``none`` or ``unknown`` for the largest part that is not water.

    What is sold in water already thins with water. Solubilities are common practice or from memory, as the library
    marks them; a stated limit (``water 2 % at 25 C``) is no solvent for a stock solution, so nothing is proposed.
    """
    listed = list(parts)
    dry = [part for part in listed if part.inci.upper() != "AQUA"]
    if not dry:
        return "water" if listed else UNKNOWN
    main = max(dry, key=lambda part: part.percent)
    if sum(part.percent for part in listed if part not in dry) >= 30:
        return "water"
    substance = find_substance(main.inci)
    words = substance.solubility.casefold() if substance else ""
    if words.startswith("water ") and "%" in words.split(",")[0]:
        return UNKNOWN
    return next((solvent for beginning, solvent in _BEGINNINGS if words.startswith(beginning)), UNKNOWN)
