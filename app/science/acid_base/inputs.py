"""The uncertain inputs of a prediction: what is not known exactly, and by how much."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from app.science.acid_base.values import Adjuster, Family, Line, Mixture, Polymer, Substance

SOLUTION_ASSAY = 0.02  # a solution as bought scatters more than a solid (common practice)
ADJUSTER_STRENGTH = 0.02  # a stock solution weighed on a kitchen-grade scale (common practice)
PKA_UNKNOWN_ENTHALPY = 0.012  # per degree away from 25 C, about half the drift of an amine (common practice)
UNKNOWN_MOL_PER_G = 5e-5  # acid or base hidden in an extract, protein or the like (estimate)


class Kind(Enum):
    """What an uncertain input acts on."""

    ASSAY = "assay"
    PKA = "pka"
    EQUIVALENT = "equivalent"
    POLYMER_PK = "polymer pk"
    POLYMER_SLOPE = "polymer slope"
    STRENGTH = "strength"
    TRACE = "trace"


@dataclass(frozen=True, slots=True)
class Input:
    """One uncertain input.

    Attributes:
        name: in words for the reader.
        kind: what it acts on.
        index: which substance, family or polymer.
        sigma: standard uncertainty: relative for amounts, pH units for pKa, mol/kg water for traces.
    """

    name: str
    kind: Kind
    index: int
    sigma: float


@dataclass(frozen=True, slots=True)
class Columns:
    """What the columns of the arrays of a model stand for."""

    substances: tuple[Substance, ...]
    families: tuple[Family, ...]
    polymers: tuple[Polymer, ...]
    adjusters: tuple[Adjuster, ...] = ()

    def widths(self) -> dict[Kind, int]:
        """Give how many things each kind of input may act on."""
        polymers = dict.fromkeys((Kind.EQUIVALENT, Kind.POLYMER_PK, Kind.POLYMER_SLOPE), len(self.polymers))
        return {
            Kind.ASSAY: len(self.substances),
            Kind.PKA: len(self.families),
            **polymers,
            Kind.STRENGTH: len(self.adjusters),
            Kind.TRACE: 1,
        }


def list_inputs(mixture: Mixture, columns: Columns, trace: float) -> tuple[Input, ...]:
    """List every uncertain input of a formula; ``trace`` in mol/kg of water."""
    found = list(_assays(mixture.lines, columns.substances))
    for index, family in enumerate(columns.families):
        found.append(Input(f"the pKa of {family.name}", Kind.PKA, index, _pka_sigma(family, mixture)))
    for index, polymer in enumerate(columns.polymers):
        found += _polymer_inputs(polymer, index)
    for index, adjuster in enumerate(columns.adjusters):
        name = f"the strength of the {adjuster.substance.inci} solution"
        found.append(Input(name, Kind.STRENGTH, index, ADJUSTER_STRENGTH))
    found += [
        Input(f"acid or base hidden in {line.name}", Kind.TRACE, 0, UNKNOWN_MOL_PER_G * line.percent * 10.0)
        for line in mixture.lines
        if line.could_matter and line.percent > 0
    ]
    found.append(Input("traces of acid or base in the water, such as carbon dioxide", Kind.TRACE, 0, trace))
    return tuple(found)


def _pka_sigma(family: Family, mixture: Mixture) -> float:
    away = abs(mixture.temperature_c - 25.0)
    drift = 0.0 if family.enthalpy_known else PKA_UNKNOWN_ENTHALPY * away * (0.3 if family.charge == 0 else 1.0)
    return float((family.uncertainty**2 + drift**2) ** 0.5)


def _assays(lines: Sequence[Line], substances: Sequence[Substance]) -> Iterator[Input]:
    strengths: dict[Substance, float] = {}
    for line in lines:
        if line.substance is not None:
            strengths[line.substance] = min(strengths.get(line.substance, 100.0), line.assay_percent)
    for index, substance in enumerate(substances):
        solution = SOLUTION_ASSAY if strengths[substance] < 100.0 else 0.0
        sigma = max(substance.assay_uncertainty, solution)
        yield Input(f"the assay of {substance.inci}", Kind.ASSAY, index, sigma)


def effects(inputs: Sequence[Input], columns: Columns) -> dict[Kind, NDArray[np.float64]]:
    """Give for each kind the matrix that turns standard scores (N, P) into changes (N, width)."""
    matrices = {kind: np.zeros((len(inputs), width)) for kind, width in columns.widths().items()}
    for row, entry in enumerate(inputs):
        matrices[entry.kind][row, entry.index] = entry.sigma
    return matrices


def _polymer_inputs(polymer: Polymer, index: int) -> list[Input]:
    slope_sigma = polymer.slope_uncertainty / polymer.slope
    return [
        Input(f"the acid content of {polymer.name}", Kind.EQUIVALENT, index, polymer.equivalent_uncertainty),
        Input(f"the apparent pKa of {polymer.name}", Kind.POLYMER_PK, index, polymer.pk_uncertainty),
        Input(f"the titration slope of {polymer.name}", Kind.POLYMER_SLOPE, index, slope_sigma),
    ]
