"""A formula as the acid-base computation sees it, with and without the line that sets the pH."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.reference.acid_base import acid_base_table
from app.reference.mixtures import Entry, build_mixture
from app.reference.neutralisers import neutralisers
from app.science.acid_base.values import Adjuster, Mixture, Substance
from app.science.composition import DosedMaterial, Part, expand
from app.science.errors import Invalid

MOST_PARTS = 2


@dataclass(frozen=True, slots=True)
class PhLine:
    """The line of a formula that sets the pH: its place among the materials, and the solution it adds."""

    place: int
    material: str
    percent: Decimal
    adjuster: Adjuster


def mixture_of(materials: Sequence[DosedMaterial]) -> tuple[Mixture, tuple[str, ...]]:
    """Expand materials to substances and write the mixture; also what was assumed, in sentences.

    Raises:
        Invalid: when the percentages add up to more than 100.
    """
    built = build_mixture([Entry(total.inci, total.percent) for total in expand(materials) if total.percent > 0])
    return built.mixture, built.notes


def without(materials: Sequence[DosedMaterial], line: PhLine) -> tuple[DosedMaterial, ...]:
    """Leave the line that sets the pH out and scale the rest to a whole, as it stands in the beaker before."""
    left = Decimal(100) - line.percent
    if left <= 0:
        raise Invalid("", "There is nothing in the formula but the adjuster.")
    rest = (m for place, m in enumerate(materials) if place != line.place)
    return tuple(DosedMaterial(m.name, m.percent * 100 / left, m.parts) for m in rest)


def find_ph_line(materials: Sequence[DosedMaterial]) -> PhLine | None:
    """Find the line that sets the pH: the last one that is a solution of one acid or base."""
    found = [line for place, m in enumerate(materials) if (line := _ph_line(place, m)) is not None]
    return found[-1] if found else None


def _ph_line(place: int, material: DosedMaterial) -> PhLine | None:
    adjuster = adjuster_of(material.parts)
    return None if adjuster is None else PhLine(place, material.name, material.percent, adjuster)


def adjuster_of(parts: Sequence[Part]) -> Adjuster | None:
    """Read a material as a solution of one acid or base; None when it is something else."""
    table = acid_base_table()
    active = [
        (part, found.substance) for part in parts if (found := table.find(part.inci)) and _sets_ph(found.substance)
    ]
    others = [part for part in parts if part.percent > 1 and not table.line(part.inci, 1.0).is_water]
    if len(active) != 1 or len(others) > 1 or len(parts) > MOST_PARTS:
        return None
    part, substance = active[0]
    return Adjuster(substance, float(part.percent))


def _sets_ph(substance: Substance) -> bool:
    return substance.inci in {n.adjuster.substance.inci for n in neutralisers()}
