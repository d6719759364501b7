"""What of a library material rests on memory, and what the maker put right of it."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.reference.material import LibraryMaterial
from app.reference.provenance import MemoryValue, from_memory
from app.work.materials.material_form import MaterialForm
from app.work.rules.corrections import Correction, is_number, read_corrections

ABOUT_MATERIALS = frozenset({"ingredients", "densities", "blends", "blend_use", "hlb", "required_hlb", "sap"})
# Columns of the tables whose value a material takes over, with the field of the form it stands in.
FIELDS: Mapping[str, str] = {
    "density_g_ml": "density",
    "use_low_pct": "use_low",
    "use_high_pct": "use_high",
    "ph_min": "ph_min",
    "ph_max": "ph_max",
}


def memory_about(session: Session, shipped: LibraryMaterial) -> list[tuple[MemoryValue, Correction | None]]:
    """List the values from memory about a material, each with the maker's own where there is one."""
    own = {one.place: one for one in read_corrections(session)}
    names = (shipped.name.casefold(), *(name.casefold() for name in _single(shipped.inci_names)))
    about = (v for v in from_memory() if v.table in ABOUT_MATERIALS and _is_about(v.key.casefold(), names))
    return [(v, own.get((v.table, v.key, v.column))) for v in about]


def _is_about(key: str, names: tuple[str, ...]) -> bool:
    """Tell whether a row is about the material by its own name, or by the one substance it consists of."""
    return key.startswith(names) and any(key == name or key.startswith(f"{name}, ") for name in names)


def _single(names: Iterable[str]) -> tuple[str, ...]:
    found = tuple(names)
    return found if len(found) == 1 else ()


def with_own_values(session: Session, shipped: LibraryMaterial, typed: MaterialForm) -> MaterialForm:
    """Put the maker's values in place of the shipped ones from memory that a material would start with."""
    found = (pair for pair in memory_about(session, shipped) if pair[1] is not None and is_number(pair[0]))
    own: dict[str, Any] = {
        FIELDS[v.column]: c.value for v, c in found if c and v.column in FIELDS and _stands(v, typed)
    }
    return typed.but(**own)


def _stands(value: MemoryValue, typed: MaterialForm) -> bool:
    """Only the very value that the material took over is replaced, not one measured of another grade or warmth."""
    text = str(typed.text[FIELDS[value.column]])
    return bool(text) and Decimal(text) == Decimal(value.value)
