"""The ingredient list of a draft, for the workshop's jurisdiction and for the other."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.reference.allergens import declared_allergens
from app.reference.declaration_names import name_book
from app.science.composition import DosedMaterial
from app.science.declaration.listing import declare
from app.science.declaration.values import Entry
from app.science.declaration.values import Jurisdiction as Law
from app.science.errors import Invalid
from app.science.formula import Formula
from app.store.workshop import Jurisdiction


@dataclass(frozen=True, slots=True)
class Declared:
    """A list under one jurisdiction; ``fault`` says why there is none yet."""

    jurisdiction: str
    text: str = ""
    entries: tuple[Entry, ...] = ()
    warnings: tuple[str, ...] = ()
    fault: str = ""


def declared(
    mixture: Sequence[DosedMaterial], exposure: str, jurisdictions: Sequence[Jurisdiction]
) -> tuple[Declared, ...]:
    """Write the list under each jurisdiction, of the materials that have a composition and a percentage."""
    present = [material for material in mixture if material.parts and material.percent > 0]
    if not present:
        return ()
    return tuple(_declared(present, exposure, jurisdiction) for jurisdiction in jurisdictions)


def declared_formula(formula: Formula, jurisdiction: Jurisdiction) -> Declared:
    """Write the list of a formula that adds up."""
    found = declared(formula.dosed, formula.exposure, (jurisdiction,))
    return found[0] if found else Declared(jurisdiction.value, fault="No material has a composition yet.")


def _declared(present: Sequence[DosedMaterial], exposure: str, jurisdiction: Jurisdiction) -> Declared:
    try:
        allergens = declared_allergens(present, exposure, jurisdiction.value)
        found = declare(present, Law(jurisdiction.value), name_book(), allergens)
    except Invalid as fault:
        return Declared(jurisdiction.value, fault=fault.message)
    except ValueError:
        return Declared(jurisdiction.value, fault="Choose whether the product stays on or is rinsed off.")
    return Declared(jurisdiction.value, found.text, found.entries, found.warnings)
