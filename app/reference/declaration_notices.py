"""What to say beside an ingredient list: missing sheets, allergens that nobody recognises, names that nobody knows."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from app.reference.allergens import allergen_index
from app.reference.constituents import constituent_index
from app.reference.rulebook import is_known, named_in_inci, nearest_name
from app.science.composition import DosedMaterial, Part, PartKind
from app.science.declaration.fragrance import allergen_name_notices, missing_sheets
from app.science.rules.check import MOST_NEAREST
from app.science.rules.values import Exposure

# What a list has one word for, whatever its name, and what it has by its name; colours have names of their own.
SCENTED_KINDS = frozenset({PartKind.PERFUME, PartKind.FLAVOUR})
NAMED_KINDS = frozenset({PartKind.INGREDIENT, PartKind.INCIDENTAL})


def under_inci_names(materials: Iterable[DosedMaterial], jurisdiction: str) -> tuple[DosedMaterial, ...]:
    """Put the INCI name in place of a kitchen or trade name, and its parts in place of a blend.

    In the United States the name that consumers know may stand (21 CFR 701.3(c)), so only blends are taken apart.
    """
    return tuple(replace(m, parts=tuple(q for p in m.parts for q in _listed(p, jurisdiction))) for m in materials)


def _listed(part: Part, jurisdiction: str) -> tuple[Part, ...]:
    if part.kind not in NAMED_KINDS:
        return (part,)
    found = named_in_inci(part)
    return found if jurisdiction == "EU" or len(found) > 1 else (part,)


@dataclass(frozen=True, slots=True)
class DeclarationNotices:
    """``at_names`` are sentences for the place of a name in the list, by its key; ``lines`` stand below the list."""

    at_names: Mapping[str, str]
    lines: tuple[str, ...]


def declaration_notices(materials: Sequence[DosedMaterial], exposure: str, jurisdiction: str) -> DeclarationNotices:
    """Return what a reader of the list has to know that the list itself does not say."""
    sheets: Mapping[str, str] = {}
    lines: list[str] = []
    named = under_inci_names(materials, jurisdiction)
    if jurisdiction == "EU":
        sheets = missing_sheets(named, Exposure(exposure), allergen_index("EU"), constituent_index())
        lines += [*sheets.values(), *allergen_name_notices(named, allergen_index("EU"))]
    for part in {p.inci: p for m in materials for p in m.parts}.values():
        listed = _listed(part, jurisdiction)
        if listed != (part,):
            names = ", ".join(p.inci for p in listed)
            lines.append(f"{part.inci} is listed as {names}; compare with the supplier's sheet.")
    written = dict.fromkeys(p.inci for m in named for p in m.parts if p.kind not in SCENTED_KINDS)
    for place, name in enumerate(name for name in written if not is_known(name)):
        near = nearest_name(name) if place < MOST_NEAREST else ""
        lines.append(f"{name}: no table here knows this name.{f' Is it {near}?' if near else ''}")
    return DeclarationNotices(sheets, tuple(lines))
