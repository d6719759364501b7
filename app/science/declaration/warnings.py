"""What to look at before a declaration is printed."""

from collections import Counter
from collections.abc import Iterable, Sequence
from decimal import Decimal

from app.science.composition import DosedMaterial, Part, PartKind
from app.science.declaration.label_contributions import LabelContribution
from app.science.declaration.names import NameBook, find_colour, has_colour_index
from app.science.declaration.values import Entry, Role
from app.science.errors import Invalid
from app.science.formula import total_message
from app.science.jurisdiction import Jurisdiction
from app.science.numbers import plain

HUNDRED = Decimal(100)
ZERO = Decimal(0)
# Typical values of a data sheet may add up to a little more than a whole; more than this is a slip.
MOST_COMPOSITION = Decimal("100.5")
# What two decimals cannot show is no reason to speak.
UNSEEN = Decimal("0.01")


def check_compositions(materials: Sequence[DosedMaterial]) -> None:
    """Look over the compositions.

    Raises:
        Invalid: at ``materials[i].composition…``, when there is none, or parts or allergens make more than a whole.
    """
    for position, material in enumerate(materials):
        field = f"materials[{position}].composition"
        if not material.parts:
            raise Invalid(field, "List what the material is made of, at least one INCI name.")
        total = _sum(material.parts)
        if total > MOST_COMPOSITION:
            raise Invalid(field, f"The parts add up to {plain(total)} %; take {plain(total - HUNDRED)} away.")
        for place, part in enumerate(material.parts):
            if not part.inci.strip():
                raise Invalid(f"{field}[{place}].inci", "Enter the INCI name.")
            inside = sum((share.percent for share in part.allergens), ZERO)
            if inside > MOST_COMPOSITION:
                words = f"The allergens add up to {plain(inside)} % of this part; check them."
                raise Invalid(f"{field}[{place}].allergens", words)


def _sum(parts: Iterable[Part]) -> Decimal:
    return sum((part.percent for part in parts if not part.may_contain), ZERO)


def warnings(
    materials: Sequence[DosedMaterial],
    bits: Sequence[LabelContribution],
    entries: Sequence[Entry],
    jurisdiction: Jurisdiction,
    book: NameBook,
) -> tuple[str, ...]:
    """Return what a maker should look at, in a fixed order, each once."""
    found = [*_about_sums(materials), *_about_roles(bits, book)]
    for name, times in Counter(entry.name for entry in entries).items():
        if times > 1:
            found.append(
                f"{name} stands in the list twice, once by its weight and once as a colour; one may be enough."
            )
    found += _about_eu_rules(bits) if jurisdiction is Jurisdiction.EU else _about_us_rules(bits)
    return tuple(dict.fromkeys(found))


def _about_sums(materials: Sequence[DosedMaterial]) -> Iterable[str]:
    total = sum((material.percent for material in materials), ZERO)
    always = [material for material in materials if any(not part.may_contain for part in material.parts)]
    without_shades = sum((material.percent for material in always), ZERO)
    if min(abs(total - HUNDRED), abs(without_shades - HUNDRED)) > UNSEEN:
        yield f"{total_message(total)} The places in the list may be wrong."
    for material in always:
        inside = _sum(material.parts)
        if abs(inside - HUNDRED) > UNSEEN and not any(part.may_contain for part in material.parts):
            yield f"The parts of {material.name} add up to {plain(inside)} %; only what is listed is declared."


def _about_roles(bits: Sequence[LabelContribution], book: NameBook) -> Iterable[str]:
    colours = {bit.name.key for bit in bits if bit.role is Role.COLOUR}
    for bit in bits:
        name = bit.part.inci
        if bit.part.may_contain and bit.role is not Role.SHADE:
            yield f"{name} is no colourant, so it cannot stand under 'may contain'; it is listed by its weight."
        if bit.part.kind is PartKind.INGREDIENT and bit.role in (Role.COLOUR, Role.SHADE) and has_colour_index(name):
            yield f"{name} is a colour by its name and is listed as a colourant."
        if bit.role is Role.SHADE and bit.name.key in colours:
            yield f"{bit.name.text} is in every jar, so it is listed once, with the colourants."
        row, _ = find_colour(name, None, book)
        only_a_colour = row is not None and row.note in ("certified", "mixed")
        if bit.role is Role.INGREDIENT and bit.part.kind is PartKind.INGREDIENT and only_a_colour:
            yield f"{name} is listed by its weight; if it is there to colour, mark it as a colourant."


def _about_eu_rules(bits: Sequence[LabelContribution]) -> Iterable[str]:
    for bit in bits:
        if bit.incidental:
            yield (
                f"{bit.name.text} is listed although it is incidental: the EU has no carry-over exemption. Leave it "
                "out only if it is an impurity or no longer present in the product (EU 1223/2009 Art. 19(1))."
            )
    for bit in _colours(bits):
        row = bit.name.row
        if row is not None and row.note == "mixed":
            yield f"{bit.part.inci}: keep only the Colour Index numbers that are in it."
        elif not (row and row.eu_name) and not has_colour_index(bit.part.inci):
            yield f"{bit.part.inci}: the EU wants the Colour Index number of a colourant; none is known here for it."
    if any(bit.role is Role.SHADE for bit in bits):
        yield "'+/-' is for decorative products sold in several shades (EU 1223/2009 Art. 19(1)(g))."


def _about_us_rules(bits: Sequence[LabelContribution]) -> Iterable[str]:
    declared = {bit.name.key for bit in bits if not bit.incidental}
    for bit in bits:
        if bit.incidental and bit.name.key not in declared:
            yield (
                f"{bit.name.text} is left out as incidental (21 CFR 701.3(l)); list it if it has an effect in the "
                "product or its amount is not insignificant."
            )
    for bit in _colours(bits):
        row = bit.name.row
        if not (row and row.us_name):
            yield f"{bit.part.inci}: no US listed name is known here; a colour that is not listed may not be used."
        elif row.note == "certified" and has_colour_index(bit.part.inci):
            yield f"{bit.part.inci} is named {bit.name.text}; the name on the certificate decides, lakes add Lake."
    if any(bit.part.allergens for bit in bits):
        yield "The US has no list of fragrance allergens to name yet; the rule that will make one is pending."


def _colours(bits: Sequence[LabelContribution]) -> list[LabelContribution]:
    return [bit for bit in bits if bit.role in (Role.COLOUR, Role.SHADE)]
