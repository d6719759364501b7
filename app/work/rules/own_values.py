"""What of a library material rests on memory, and what the maker put right of it."""

from collections.abc import Mapping
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
    """Return the values from memory about a material, each with the maker's own where there is one."""
    own = {one.place: one for one in read_corrections(session)}
    # A row is about the material by its own name, or by the one substance it consists of.
    names = {name.casefold() for name in (shipped.name, *(shipped.inci_names if len(shipped.inci_names) == 1 else ()))}
    starts = tuple(f"{name}, " for name in names)
    found = []
    for value in from_memory():
        key = value.key.casefold()
        if value.table in ABOUT_MATERIALS and (key in names or key.startswith(starts)):
            found.append((value, own.get((value.table, value.key, value.column))))
    return found


def with_own_values(session: Session, shipped: LibraryMaterial, typed: MaterialForm) -> MaterialForm:
    """Put the maker's values in place of the shipped ones from memory that a material would start with."""
    own: dict[str, Any] = {}
    for value, correction in memory_about(session, shipped):
        field = FIELDS.get(value.column)
        if correction is None or field is None or not is_number(value):
            continue
        # Only the very value that the material took over is replaced, not one measured of another grade or warmth.
        text = str(typed.text[field])
        if text and Decimal(text) == Decimal(value.value):
            own[field] = correction.value
    return typed.but(**own)
