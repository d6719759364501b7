"""Materials made from measured grades that neither a substance nor a blend stands for, such as stock solutions."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from itertools import chain

from app.reference.cautions import CautionSubject, cautions_for
from app.reference.densities import DensityValue, densities
from app.reference.library import find_substance
from app.reference.material import (
    LeftOut,
    LibraryMaterial,
    dissolved,
    known,
    named_parts,
    nearest_room,
    slug,
    titled,
)
from app.reference.physical_forms import phase_of
from app.reference.provenance import PRACTICE
from app.science.composition import Part
from app.science.names import inci_key

_PHASES: Mapping[str, str] = {"TRIDECANE": "oil", "ETHANOLAMINE": "adjuster"}

Grade = tuple[DensityValue, ...]


def density_materials(have: Iterable[LibraryMaterial]) -> tuple[LibraryMaterial, ...]:
    """Make a material of each measured grade that none of the given materials has as its density."""
    return tuple(_from_grade(grade) for grade in _untaken(have) if not _is_mixture(grade))


def densities_left_out(have: Iterable[LibraryMaterial]) -> tuple[LeftOut, ...]:
    """Name the measured mixtures whose composition is not known."""
    reason = "a density of a mixture whose percentages are not known"
    return tuple(LeftOut("densities", grade[0].inci, reason) for grade in _untaken(have) if _is_mixture(grade))


def _untaken(have: Iterable[LibraryMaterial]) -> list[Grade]:
    """Group the densities that are of one liquid at several temperatures, and leave out the grades that are taken."""
    taken = {m.density for m in have if m.density}
    found: dict[tuple[str, str, Decimal | None], list[DensityValue]] = {}
    for value in chain.from_iterable(densities().values()):
        found.setdefault((inci_key(value.inci), value.grade, value.strength_percent), []).append(value)
    return [tuple(values) for values in found.values() if not taken.intersection(values)]


def _is_mixture(grade: Grade) -> bool:
    return " (and) " in grade[0].inci


def _from_grade(grade: Grade) -> LibraryMaterial:
    value = nearest_room(grade) or grade[0]
    parts = (
        named_parts((Part(value.inci, Decimal(100)),))
        if value.strength_percent is None
        else dissolved(value.inci, value.strength_percent)
    )
    base = find_substance(value.inci)
    limits = {k: base.sources[k] for k in ("ph_min", "ph_max", "max_temp_c") if k in base.sources} if base else {}
    own = {"parts": value.provenance, "density": value.provenance, "form": PRACTICE, "phase_hint": PRACTICE}
    return LibraryMaterial(
        key=slug(value.grade if base else value.inci),
        name=titled(value.grade),
        aliases=(base.common_name,) if base else (),
        parts=parts,
        assumption="",
        group=base.group if base else "",
        form="liquid",
        phase_hint=phase_of(base) if base else _PHASES.get(inci_key(value.inci), "cool-down"),
        functions=base.functions if base else (),
        use_low=None,
        use_high=None,
        ph_min=base.ph_min if base else None,
        ph_max=base.ph_max if base else None,
        max_temp_c=base.max_temp_c if base else None,
        density=value,
        cautions=cautions_for(CautionSubject(parts, known(parts), "liquid")),
        notes=value.notes,
        sources=limits | own,
    )
