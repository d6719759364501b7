"""The ingredient list of a draft, for the workshop's jurisdiction and for the other."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

from app.reference.allergens import declared_allergens
from app.reference.declaration_names import name_book
from app.reference.declaration_notices import declaration_notices, under_inci_names
from app.science.composition import DosedMaterial
from app.science.declaration.listing import declare
from app.science.declaration.values import Entry
from app.science.errors import Invalid
from app.science.formula import Formula
from app.science.plain_data import from_plain, to_plain
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
    """Return the list of a formula under one law."""
    found = declared(formula.dosed, formula.exposure, (jurisdiction,))
    return found[0] if found else Declared(jurisdiction.value, fault="No material has a composition yet.")


@dataclass(frozen=True, slots=True)
class DeclaredLists:
    """The lists of a formula under every law, as a version keeps them: printed again, they are the same."""

    lists: tuple[Declared, ...]

    def under(self, jurisdiction: Jurisdiction) -> Declared | None:
        """Return the list under one law."""
        return next((one for one in self.lists if one.jurisdiction == jurisdiction.value), None)

    def to_json(self) -> str:
        """Return the lists as one JSON text."""
        return json.dumps(to_plain(self), ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> "DeclaredLists":
        """Return the lists of a JSON text."""
        return from_plain(cls, json.loads(text))


def declared_everywhere(formula: Formula) -> DeclaredLists:
    """Return the lists of a formula under every law."""
    return DeclaredLists(tuple(declared_formula(formula, law) for law in Jurisdiction))


def _declared(present: Sequence[DosedMaterial], exposure: str, jurisdiction: Jurisdiction) -> Declared:
    try:
        named = under_inci_names(present, jurisdiction.value)
        allergens = declared_allergens(named, exposure, jurisdiction.value)
        said = declaration_notices(present, exposure, jurisdiction.value)
        found = declare(named, jurisdiction, name_book(), allergens, notices=said.at_names)
    except Invalid as fault:
        return Declared(jurisdiction.value, fault=fault.message)
    except ValueError:
        return Declared(jurisdiction.value, fault="Choose leave-on or rinse-off.")
    return Declared(jurisdiction.value, found.text, found.entries, (*said.lines, *found.warnings))
