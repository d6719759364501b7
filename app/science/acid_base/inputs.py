"""The uncertain inputs of a prediction: what is not known exactly, and by how much."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from app.science.acid_base.values import Adjuster, Family, Mixture, MixtureLine, Polymer, Solute

COVERAGE = 1.645  # standard scores of a two-sided 90 % interval
SOLUTION_ASSAY = 0.02  # a solution as bought scatters more than a solid (common practice)
ADJUSTER_STRENGTH = 0.02  # a stock solution weighed on a kitchen-grade scale (common practice)
PKA_UNKNOWN_ENTHALPY = 0.012  # per degree away from 25 C, about half the drift of an amine (common practice)
IMPURITY_MOL_PER_G = 5e-6  # acid or base left in a salt or an amine as sold, one standard uncertainty: the usual limit
# test for acidity or alkalinity allows twice that (0.2 mL of 0.1 mol/L on 2 g, European Pharmacopoeia, Sodium Benzoate;
# from memory)
STRONG_SALT_MOL_PER_G = (
    6e-7  # the same of a salt of strong acid and base (0.5 mL of 0.01 mol/L on 4 g, Sodium Chloride)
)


class InputKind(Enum):
    """What an uncertain input acts on."""

    ASSAY = "assay"
    PKA = "pka"
    EQUIVALENT = "equivalent"
    POLYMER_PK = "polymer pk"
    POLYMER_SLOPE = "polymer slope"
    STRENGTH = "strength"
    TRACE = "trace"
    ACID_TRACE = "acid trace"


@dataclass(frozen=True, slots=True)
class Input:
    """One uncertain input.

    Attributes:
        name: in words for the reader.
        kind: what it acts on; an acid trace counts downwards only.
        index: which substance, family or polymer.
        hidden: it stands for a material without constants.
        sigma: standard uncertainty: relative for amounts, pH units for pKa, mol of base per kg of water for traces.
    """

    name: str
    kind: InputKind
    index: int
    sigma: float
    hidden: bool = False


@dataclass(frozen=True, slots=True)
class Columns:
    """What the columns of the arrays of a model stand for."""

    substances: tuple[Solute, ...]
    families: tuple[Family, ...]
    polymers: tuple[Polymer, ...]
    adjusters: tuple[Adjuster, ...] = ()

    def widths(self) -> dict[InputKind, int]:
        """Return how many things each kind of input may act on."""
        polymers = dict.fromkeys(
            (InputKind.EQUIVALENT, InputKind.POLYMER_PK, InputKind.POLYMER_SLOPE), len(self.polymers)
        )
        return {
            InputKind.ASSAY: len(self.substances),
            InputKind.PKA: len(self.families),
            **polymers,
            InputKind.STRENGTH: len(self.adjusters),
            InputKind.TRACE: 1,
            InputKind.ACID_TRACE: 1,
        }


def list_inputs(mixture: Mixture, columns: Columns, grams: Sequence[float], trace: float) -> tuple[Input, ...]:
    """Return every uncertain input of a formula.

    Args:
        mixture: the formula.
        columns: what takes part in the charge balance.
        grams: grams of each substance of the columns per kg of water.
        trace: acid or base in the water itself, mol/kg of water, one standard uncertainty.
    """
    strengths: dict[Solute, float] = {}
    for line in mixture.lines:
        if line.substance is not None:
            strengths[line.substance] = min(strengths.get(line.substance, 100.0), line.assay_percent)
    found = []
    for index, substance in enumerate(columns.substances):
        sigma = max(substance.assay_uncertainty, SOLUTION_ASSAY if strengths[substance] < 100.0 else 0.0)
        found.append(Input(f"the assay of {substance.inci}", InputKind.ASSAY, index, sigma))
    for index, family in enumerate(columns.families):
        away = abs(mixture.temperature_c - 25.0)
        drift = 0.0 if family.enthalpy_known else PKA_UNKNOWN_ENTHALPY * away * (0.3 if family.charge == 0 else 1.0)
        found.append(
            Input(f"the pKa of {family.name}", InputKind.PKA, index, float((family.uncertainty**2 + drift**2) ** 0.5))
        )
    for index, polymer in enumerate(columns.polymers):
        slope_sigma = polymer.slope_uncertainty / polymer.slope
        found += [
            Input(f"the acid content of {polymer.name}", InputKind.EQUIVALENT, index, polymer.equivalent_uncertainty),
            Input(f"the apparent pKa of {polymer.name}", InputKind.POLYMER_PK, index, polymer.pk_uncertainty),
            Input(f"the titration slope of {polymer.name}", InputKind.POLYMER_SLOPE, index, slope_sigma),
        ]
    for index, adjuster in enumerate(columns.adjusters):
        name = f"the strength of the {adjuster.substance.inci} solution"
        found.append(Input(name, InputKind.STRENGTH, index, ADJUSTER_STRENGTH))
    found += _impurities(columns.substances, grams)
    found.append(Input("traces of acid or base in the water, such as carbon dioxide", InputKind.TRACE, 0, trace))
    return tuple(found)


def reserves(lines: Sequence[MixtureLine], water_kg: float) -> tuple[float, list[Input]]:
    """Return what lines without constants bring: mol of base per gram of formula, and the inputs of its doubt.

    ``water_kg`` is kg of water per gram of formula.
    """
    bringing = [(line, line.reserve) for line in lines if line.reserve and line.percent > 0]
    middle = sum((r.low + r.high) / 2.0 * line.percent / 100.0 for line, r in bringing)
    doubt = [
        Input(
            f"acid or base hidden in {line.name}",
            InputKind.TRACE,
            0,
            (r.high - r.low) / 2.0 / COVERAGE * line.percent / 100.0 / water_kg,
            hidden=True,
        )
        for line, r in bringing
        if r.high > r.low
    ]
    return middle, doubt


def _impurities(substances: Sequence[Solute], grams: Sequence[float]) -> Iterator[Input]:
    """Return the acid or alkali left in salts (both ways) and the acid that amines take up from the air (downwards)."""
    for substance, per_kg in zip(substances, grams, strict=True):
        salt = bool(substance.ions) and (bool(substance.families) or len(substance.ions) > 1)
        base = any(family.charge > 0 for family, _ in substance.families)
        if salt or base:
            kind = InputKind.TRACE if salt else InputKind.ACID_TRACE
            share = IMPURITY_MOL_PER_G if substance.families else STRONG_SALT_MOL_PER_G
            yield Input(f"traces of acid or alkali in {substance.inci}", kind, 0, share * per_kg)


def effects(inputs: Sequence[Input], columns: Columns) -> dict[InputKind, NDArray[np.float64]]:
    """Return for each kind the matrix that turns standard scores (N, P) into changes (N, width)."""
    matrices = {kind: np.zeros((len(inputs), width)) for kind, width in columns.widths().items()}
    for row, entry in enumerate(inputs):
        matrices[entry.kind][row, entry.index] = entry.sigma
    return matrices
