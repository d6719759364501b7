"""What the full preservation view adds to the verdicts: water, chelators, cover and the concentration as the acid."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.reference.preservatives import CHELATORS, PreservativeRow, acid_factor, preservatives
from app.science.acid_base.model import water_percent
from app.science.composition import DosedMaterial
from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.preservation import ORGANISMS, SystemVerdict
from app.work.ph.mixture import mixture_of

# The words of the verdicts, explained; they claim nothing beyond pH and amount.
VERDICT_WORDS = {
    SystemVerdict.WITHIN: "pH and amount lie inside the usual ranges",
    SystemVerdict.EDGE: "inside, but within 0.3 pH of the limit: measure, and keep it there",
    SystemVerdict.ACTIVE: "above the usual pH, but as much acts as the least usual amount at the edge: lower the pH",
    SystemVerdict.OUTSIDE: "the pH lies outside the usual range",
    SystemVerdict.INACTIVATED: "an anionic surfactant, soap or polymer inactivates it",
    SystemVerdict.LITTLE: "the pH fits, the amount does not reach the usual level",
    SystemVerdict.SUPPORT: "it boosts other preservatives; by itself it is not one",
    SystemVerdict.WRONG_USE: "the shipped EU table allows it in rinse-off products only",
    SystemVerdict.NO_WATER: "there is no water for it to work in",
    SystemVerdict.UNKNOWN: "no pH can be predicted, so nothing is said about it",
}


@dataclass(frozen=True, slots=True)
class PreservationDetails:
    """Water in % w/w, the chelators by name, and for each preservative (by INCI key) its row and % as the acid."""

    water_percent: float
    chelators: tuple[str, ...]
    entries: dict[str, PreservativeRow]
    as_acid: dict[str, float]

    def entry(self, inci: str) -> PreservativeRow | None:
        """Return the row of a preservative."""
        return self.entries.get(inci_key(inci))

    def acid_percent(self, inci: str) -> float | None:
        """Return the concentration as the acid, % w/w; None where no acid is spoken of."""
        entry = self.entry(inci)
        return self.as_acid.get(inci_key(inci)) if entry and entry.preservative.ionic == "acid" else None

    def weak_against(self, inci: str) -> tuple[str, ...]:
        """Return what a preservative hardly covers."""
        entry = self.entry(inci)
        cover = entry.preservative.cover if entry else {}
        return tuple(name for key, name in ORGANISMS.items() if cover.get(key) == "weak")


def preservation_details(materials: Sequence[DosedMaterial]) -> PreservationDetails | None:
    """Read a formula for its water, chelators and preservatives; None when it holds more than 100 %."""
    try:
        mixture, _ = mixture_of(materials)
    except Invalid:
        return None
    named = [(inci_key(line.substance.inci if line.substance else line.name), line) for line in mixture.lines]
    rows: dict[str, float] = {}
    for key, line in named:
        if key in preservatives():
            rows[key] = rows.get(key, 0.0) + line.percent * line.assay_percent / 100 * acid_factor(line.substance)
    chelators = tuple(line.name for key, line in named if key in CHELATORS)
    water = max(water_percent(mixture.lines, mixture.water_percent), 0.0)
    return PreservationDetails(water, chelators, {key: preservatives()[key] for key in rows}, rows)
