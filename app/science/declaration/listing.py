"""Ordering a declaration by 21 CFR 701.3 and Regulation (EC) No 1223/2009 Art. 19.

Materials are expanded to their parts, equal names are summed in exact decimals, and nothing is rounded before the
comparison with 1 %. The part below the line is kept in descending order (equal amounts by name), which both laws
allow and which makes the same formula give the same label. Perfume is one word placed by the sum of its parts;
allergens named beside it are not taken off that sum (common practice).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType

from app.science.composition import DosedMaterial
from app.science.declaration.label_contributions import LabelContribution, is_nano, label_contributions
from app.science.declaration.names import NameBook
from app.science.declaration.rules import HAIR_DYE, allergen_rule, group_by_weight, perfume_rule, place_rule
from app.science.declaration.values import Declaration, Entry, Group, Role
from app.science.declaration.warnings import check_compositions, warnings
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.names import inci_key
from app.science.numbers import exact_arithmetic
from app.science.rules.allergens import DeclaredAllergen
from app.science.rules.names import rule_key

ZERO = Decimal(0)
NO_NOTICES: Mapping[str, str] = MappingProxyType({})
SHADES_OPEN = {Jurisdiction.EU: "+/- ", Jurisdiction.US: "May contain: "}


@dataclass(frozen=True, slots=True)
class _Item:
    """A name with its sum; ``remarks`` are sentences that follow the reason for its place."""

    role: Role
    name: str
    percent: Decimal
    remarks: tuple[str, ...] = ()


_Items = dict[tuple[Role, str], _Item]


def declare(
    materials: Sequence[DosedMaterial],
    jurisdiction: Jurisdiction,
    book: NameBook,
    declared: Sequence[DeclaredAllergen] = (),
    *,
    hair_dye: bool = False,
    bilingual: bool = False,
    notices: Mapping[str, str] = NO_NOTICES,
) -> Declaration:
    """Write the ingredient declaration of a formula.

    ``declared`` are the fragrance allergens over their threshold (EU). ``hair_dye`` keeps colourants in weight order
    in the EU, as hair colours are. ``bilingual`` adds the name of the other jurisdiction in brackets. ``notices`` are
    sentences for the place of a name, by its key.

    Raises:
        Invalid: at ``materials…``, when a composition adds up to more than a whole or nothing is above 0 %.
    """
    with exact_arithmetic():
        check_compositions(materials)
        bits = label_contributions(materials, jurisdiction, book, bilingual=bilingual)
        groups: dict[tuple[Role, str], list[LabelContribution]] = defaultdict(list)
        for bit in bits:
            groups[bit.role, bit.name.key].append(bit)
        kept = {place: group for place, group in groups.items() if not _left_out(place, group, groups, jurisdiction)}
        items = _with_allergens({place: _sum(group, jurisdiction, notices) for place, group in kept.items()}, declared)
        order = list(Group)
        found = [
            _entry(item, jurisdiction, hair_dye=hair_dye and jurisdiction is Jurisdiction.EU) for item in items.values()
        ]
        entries = tuple(sorted(found, key=lambda e: (order.index(e.group), -e.percent, e.name.casefold(), e.name)))
        if not entries:
            raise Invalid("materials", "Nothing in the formula is above 0 %, so there is nothing to declare.")
        names = [entry.name for entry in entries]
        first_shade = next((place for place, entry in enumerate(entries) if entry.group is Group.MAY_CONTAIN), None)
        if first_shade is not None:
            names[first_shade] = SHADES_OPEN[jurisdiction] + names[first_shade]
        return Declaration(", ".join(names), entries, warnings(materials, bits, entries, jurisdiction, book))


def _left_out(
    place: tuple[Role, str],
    group: Sequence[LabelContribution],
    groups: Mapping[tuple[Role, str], Sequence[LabelContribution]],
    jurisdiction: Jurisdiction,
) -> bool:
    """Leave out a shade that is in every jar anyway and, in the US, what is only incidental (21 CFR 701.3(l))."""
    role, key = place
    if role is Role.SHADE:
        return (Role.COLOUR, key) in groups
    return jurisdiction is Jurisdiction.US and all(bit.incidental for bit in group)


def _sum(group: Sequence[LabelContribution], jurisdiction: Jurisdiction, notices: Mapping[str, str]) -> _Item:
    """Add up what bears one name, with the sentences that go with its place."""
    first = group[0]
    sources = dict.fromkeys(bit.material for bit in group)
    remarks = [f"Sum of what {', '.join(sources)} bring."] if len(sources) > 1 else []
    if first.role in (Role.PERFUME, Role.FLAVOUR):
        remarks.append(perfume_rule(jurisdiction))
    if is_nano(first.part) and jurisdiction is Jurisdiction.EU:
        remarks.append("Nano form: the word (nano) follows the name.")
    if all(bit.incidental for bit in group):
        remarks.append("Marked incidental, but the EU has no carry-over exemption.")
    keys = dict.fromkeys(rule_key(bit.part.inci) for bit in group)
    remarks += [notices[key] for key in keys if key in notices]
    return _Item(first.role, first.name.text, sum((bit.percent for bit in group), ZERO), tuple(remarks))


def _with_allergens(items: _Items, declared: Iterable[DeclaredAllergen]) -> _Items:
    """Add the allergens; one that is an ingredient already keeps a single entry with the sum of all sources."""
    for allergen in declared:
        names = {rule_key(allergen.label_name)}
        if not allergen.entry.is_natural:
            names |= {rule_key(name) for name in allergen.names}
        merged = [place for place in items if place[0] is Role.INGREDIENT and rule_key(place[1]) in names]
        remark = allergen_rule(allergen.percent, allergen.threshold, allergen.entry.entry)
        before = [items.pop(place) for place in merged]
        remarks = tuple(remark for item in before for remark in item.remarks)
        percent = max([allergen.percent, *(item.percent for item in before)])
        place = (Role.INGREDIENT, inci_key(allergen.label_name))
        items[place] = _Item(Role.INGREDIENT, allergen.label_name, percent, (*remarks, remark))
    return items


def _entry(item: _Item, jurisdiction: Jurisdiction, *, hair_dye: bool) -> Entry:
    if item.role is Role.SHADE:
        group = Group.MAY_CONTAIN
    elif item.role is Role.COLOUR and not hair_dye:
        group = Group.COLOURANT
    else:
        group = group_by_weight(item.percent, jurisdiction)
    kept = HAIR_DYE if item.role is Role.COLOUR and hair_dye else place_rule(item.percent, group, jurisdiction)
    return Entry(item.name, item.percent, group, " ".join([kept, *item.remarks]))
