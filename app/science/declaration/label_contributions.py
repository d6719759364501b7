"""What each part of each material brings to the label: its role, its name, its amount."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from app.science.composition import DosedMaterial, Part, PartKind
from app.science.declaration.names import LabelName, NameBook, colour_name, ingredient_name, role_by_name
from app.science.declaration.values import Role
from app.science.jurisdiction import Jurisdiction
from app.science.names import inci_key

HUNDRED = Decimal(100)
ONE_WORD = {
    (Role.PERFUME, Jurisdiction.EU): "Parfum",
    (Role.PERFUME, Jurisdiction.US): "Fragrance",
    (Role.FLAVOUR, Jurisdiction.EU): "Aroma",
    (Role.FLAVOUR, Jurisdiction.US): "Flavor",
}
_ROLE_OF_KIND = {PartKind.PERFUME: Role.PERFUME, PartKind.FLAVOUR: Role.FLAVOUR, PartKind.COLOURANT: Role.COLOUR}
_NANO = re.compile(r"\s*\(nano\)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class LabelContribution:
    """A part at its amount, % w/w of the finished formula, with the name and role it has on the label."""

    role: Role
    name: LabelName
    percent: Decimal
    material: str
    part: Part

    @property
    def incidental(self) -> bool:
        """Return whether the part was marked as without effect in the product."""
        return self.part.kind is PartKind.INCIDENTAL


def label_contributions(
    materials: Iterable[DosedMaterial], jurisdiction: Jurisdiction, book: NameBook, *, bilingual: bool = False
) -> tuple[LabelContribution, ...]:
    """Return what the materials bring, in their order; parts of 0 % are left out, shades of a may-contain list stay."""
    found = []
    pairs = ((material, part) for material in materials for part in material.parts)
    for material, part in pairs:
        role, percent = role_of(part, book), material.percent * part.percent / HUNDRED
        name = _name(part, role, jurisdiction, book)
        if bilingual:
            name = _in_both(name, role, jurisdiction)
        if percent > 0 or role is Role.SHADE:
            found.append(LabelContribution(role, name, percent, material.name, part))
    return tuple(found)


def role_of(part: Part, book: NameBook) -> Role:
    """Return the role of a part: its kind, unless its name alone settles that it is perfume, flavour or colour."""
    role = _ROLE_OF_KIND.get(part.kind)
    if role is None and part.kind is PartKind.INGREDIENT:
        role = role_by_name(part.inci, book)
    if role is Role.COLOUR and part.may_contain:
        return Role.SHADE
    return role or Role.INGREDIENT


def _name(part: Part, role: Role, jurisdiction: Jurisdiction, book: NameBook) -> LabelName:
    if role in (Role.PERFUME, Role.FLAVOUR):
        return LabelName(ONE_WORD[role, jurisdiction], role.value)
    bare = _NANO.sub("", part.inci)
    if role in (Role.COLOUR, Role.SHADE):
        name = colour_name(bare, part.cas, jurisdiction, book)
    else:
        name = ingredient_name(bare, jurisdiction, book)
    if is_nano(part) and jurisdiction is Jurisdiction.EU:
        return LabelName(f"{name.text} (nano)", f"{name.key} (NANO)", name.row)
    return name


def is_nano(part: Part) -> bool:
    """Return whether a part is in nano form, by its mark or by its name."""
    return part.nano or bool(_NANO.search(part.inci))


def _in_both(name: LabelName, role: Role, jurisdiction: Jurisdiction) -> LabelName:
    """Write the name of the other jurisdiction after the name, in brackets, where there is one and it differs."""
    other = Jurisdiction.US if jurisdiction is Jurisdiction.EU else Jurisdiction.EU
    second = ONE_WORD.get((role, other), name.row.on(other) if name.row and name.row.kind != "plant" else "")
    if not second or inci_key(second) == inci_key(name.text):
        return name
    text = f"{name.text} ({second})"
    return LabelName(text, inci_key(text) if role in (Role.COLOUR, Role.SHADE) else name.key, name.row)
