"""Where an acid polymer makes a gel, and what else in the formula thins it."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from app.science.acid_base.polyelectrolyte import ionised_fraction
from app.science.acid_base.values import MixtureLine, Polymer

SALT_LIMIT_PERCENT = 0.1  # beside carbomer (common practice)
SOLVENT_LIMIT_PERCENT = 20.0


class GelState(StrEnum):
    """How a thickener stands at a pH: too acid, swelling, full body, or thinning again."""

    BELOW = "below"
    THICKENING = "thickening"
    FULL = "full"
    FALLING = "falling"


@dataclass(frozen=True, slots=True)
class GelWindow:
    """The pH values of a thickener.

    Attributes:
        swells_from: where it begins to swell; None for a thickener that needs no neutraliser.
        full_from, full_to: where its body is full.
        best_from, best_to: where it is best; None when nothing is known.
    """

    swells_from: float | None
    full_from: float
    full_to: float
    best_from: float | None = None
    best_to: float | None = None

    def at(self, ph: float) -> GelState:
        """Return how the thickener stands at a pH."""
        if ph > self.full_to:
            return GelState.FALLING
        if ph >= self.full_from:
            return GelState.FULL
        return GelState.THICKENING if self.swells_from is not None and ph >= self.swells_from else GelState.BELOW


def ionised_at(polymer: Polymer, ph: float) -> float:
    """Return the ionised share of the acid groups of a polymer at a pH, 0..1."""
    return float(ionised_fraction(np.array(ph), np.array(polymer.pk), np.array(polymer.slope)))


def gel_notes(window: GelWindow, ph: float) -> tuple[str, ...]:
    """Say in words what the pH means for the body of the gel."""
    words = {
        GelState.BELOW: "The pH is too low for body: the polymer is hardly swollen.",
        GelState.THICKENING: f"The gel is building: full body comes from about pH {window.full_from:g}.",
        GelState.FULL: f"Within the pH of full body, {window.full_from:g} to {window.full_to:g}.",
        GelState.FALLING: f"Above pH {window.full_to:g} the body falls again: surplus ions screen the charges.",
    }
    notes = [words[window.at(ph)]]
    if window.best_from is not None and window.best_to is not None:
        notes.append(f"Best at pH {window.best_from:g} to {window.best_to:g}.")
    return tuple(notes)


def companions(lines: Sequence[MixtureLine], cationic: Sequence[str]) -> tuple[str, ...]:
    """Warn about salts, cationics, multivalent ions and alcohol beside an anionic polymer.

    Args:
        lines: the rest of the formula.
        cationic: names in it that are cationic.
    """
    notes = []
    salts = [line for line in lines if is_salt(line)]
    total = sum(line.percent * line.assay_percent / 100.0 for line in salts)
    if total > SALT_LIMIT_PERCENT:
        names = ", ".join(dict.fromkeys(line.name for line in salts))
        notes.append(
            f"{total:.2g} % of salts ({names}): salt thins this polymer, from about {SALT_LIMIT_PERCENT:g} % on."
        )
    present = [line.substance for line in lines if line.substance is not None and line.percent > 0]
    if any(ion.charge > 1 for substance in present for ion, _ in substance.ions):
        notes.append("Multivalent metal ions cross-link or drop this polymer.")
    if cationic:
        notes.append(f"{', '.join(cationic)}: cationics drop an anionic polymer.")
    solvents = sum(line.percent for line in lines if line.is_solvent)
    if solvents > SOLVENT_LIMIT_PERCENT:
        notes.append("Much alcohol or glycol: neutralise with an amine and check the body.")
    return tuple(notes)


def is_salt(line: MixtureLine) -> bool:
    """Return whether a line brings both strong ions and something to pair with them (not a neutraliser)."""
    if line.substance is None or line.percent <= 0 or line.substance.polymer is not None:
        return False
    return bool(line.substance.ions) and (bool(line.substance.families) or len(line.substance.ions) > 1)
