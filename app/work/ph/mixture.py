"""A formula as the acid-base computation sees it, with and without the line that sets the pH."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.reference.acid_base import acid_base_table
from app.reference.mixtures import MixtureEntry, build_mixture
from app.reference.neutralisers import is_base, neutralisers
from app.science.acid_base.model import water_percent
from app.science.acid_base.prediction import predict
from app.science.acid_base.values import Adjuster, Mixture
from app.science.composition import DosedMaterial, Part, expand
from app.science.errors import Invalid

MOST_PARTS = 2
LEAST_WATER_PERCENT = 1.0  # w/w; below it a meter or strip has nothing to dip into (common practice)


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
    built = build_mixture(
        [MixtureEntry(total.inci, total.percent, Decimal(100)) for total in expand(materials) if total.percent > 0]
    )
    return built.mixture, built.notes


def without(materials: Sequence[DosedMaterial], line: PhLine) -> tuple[DosedMaterial, ...]:
    """Leave the line that sets the pH out and scale the rest to a whole, as it stands in the beaker before."""
    left = Decimal(100) - line.percent
    if left <= 0:
        raise Invalid("", "There is nothing in the formula but the adjuster.")
    rest = (m for place, m in enumerate(materials) if place != line.place)
    return tuple(DosedMaterial(m.name, m.percent * 100 / left, m.parts) for m in rest)


def ph_lines(materials: Sequence[DosedMaterial]) -> tuple[PhLine, ...]:
    """Return every line that is a solution of one acid or base, in the order of the formula."""
    found = ((place, m, adjuster_of(m.parts)) for place, m in enumerate(materials))
    return tuple(PhLine(place, m.name, m.percent, adjuster) for place, m, adjuster in found if adjuster is not None)


def choose_ph_line(
    materials: Sequence[DosedMaterial], target: Decimal | None, chosen: int | None = None
) -> PhLine | None:
    """Return the line that sets the pH.

    ``chosen`` is the place of a line that the maker picked. Otherwise, of an acid and a base the one in excess is
    taken: too high a pH has too much base. Where the one in excess cannot bring the formula to its target even when it
    is left out, the other is too little, and is taken instead.
    """
    lines = ph_lines(materials)
    picked = next((line for line in lines if line.place == chosen), None)
    if picked or not lines:
        return picked
    bases = [line for line in lines if is_base(line.adjuster.substance)]
    acids = [line for line in lines if not is_base(line.adjuster.substance)]
    if not bases or not acids or target is None:
        return lines[-1]
    try:
        too_high = _ph_of(materials) > float(target)
        excess, other = (bases[-1], acids[-1]) if too_high else (acids[-1], bases[-1])
        without_it = _ph_of(without(materials, excess))
    except Invalid:
        return lines[-1]
    return excess if (without_it <= float(target)) == too_high else other


def _ph_of(materials: Sequence[DosedMaterial]) -> float:
    return predict(mixture_of(materials)[0]).ph.value


def has_water(materials: Sequence[DosedMaterial]) -> bool:
    """Return whether there is water enough in a mixture to speak of a pH at all."""
    mixture, _ = mixture_of(materials)
    return water_percent(mixture.lines, mixture.water_percent) >= LEAST_WATER_PERCENT


def adjuster_of(parts: Sequence[Part]) -> Adjuster | None:
    """Read a material as a solution of one acid or base; None when it is something else."""
    table = acid_base_table()
    known = {neutraliser.adjuster.substance.inci for neutraliser in neutralisers()}
    active = [
        (part, found.substance) for part in parts if (found := table.find(part.inci)) and found.substance.inci in known
    ]
    others = [part for part in parts if part.percent > 1 and not table.line(part.inci, 1.0).is_water]
    if len(active) != 1 or len(others) > 1 or len(parts) > MOST_PARTS:
        return None
    part, substance = active[0]
    return Adjuster(substance, float(part.percent))
