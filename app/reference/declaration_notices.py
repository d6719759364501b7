"""What to say beside an ingredient list: missing sheets, allergens that nobody recognises, names that nobody knows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.reference.allergens import allergen_index
from app.reference.constituents import constituent_index
from app.reference.rulebook import is_known, nearest_name
from app.science.composition import DosedMaterial
from app.science.declaration.fragrance import allergen_name_notices, missing_sheets
from app.science.rules.values import Exposure


@dataclass(frozen=True, slots=True)
class DeclarationNotices:
    """``at_names`` are sentences for the place of a name in the list, by its key; ``lines`` stand below the list."""

    at_names: Mapping[str, str]
    lines: tuple[str, ...]


def declaration_notices(materials: Sequence[DosedMaterial], exposure: str, jurisdiction: str) -> DeclarationNotices:
    """Return what a reader of the list has to know that the list itself does not say."""
    sheets: Mapping[str, str] = {}
    lines: list[str] = []
    if jurisdiction == "EU":
        sheets = missing_sheets(materials, Exposure(exposure), allergen_index("EU"), constituent_index())
        lines += [*sheets.values(), *allergen_name_notices(materials, allergen_index("EU"))]
    for name in dict.fromkeys(part.inci for material in materials for part in material.parts):
        if not is_known(name):
            near = nearest_name(name)
            lines.append(f"{name}: no table here knows this name.{f' Is it {near}?' if near else ''}")
    return DeclarationNotices(sheets, tuple(lines))
