"""Fragrance allergens a label must name: sums over every source, thresholds strictly exceeded, names by group."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fnmatch import fnmatchcase
from functools import lru_cache

from app.science.composition import DosedMaterial, PartKind
from app.science.numbers import figures, plain
from app.science.rules.names import Amount, amounts, materials_in, names_in, plain_name, rule_key
from app.science.rules.values import Exposure, Finding, FormulaFacts, Severity, Source, Verdict


@dataclass(frozen=True, slots=True, eq=False)
class AllergenEntry:
    """One entry of the list; thresholds are % w/w of the finished product, to be declared when strictly exceeded."""

    label_name: str
    entry: str
    names: frozenset[str]
    cas: frozenset[str]
    thresholds: Mapping[Exposure, Decimal]
    duty_since: str
    source: Source
    is_natural: bool


@dataclass(frozen=True, slots=True)
class FragrantPattern:
    """A pattern of names that are expected to come with an allergen sheet."""

    pattern: str
    kind: str


@dataclass(frozen=True, slots=True)
class DeclaredAllergen:
    """An allergen over its threshold; ``percent`` and ``threshold`` are % w/w of the finished product."""

    label_name: str
    percent: Decimal
    threshold: Decimal
    entry: AllergenEntry
    names: tuple[str, ...]
    materials: tuple[str, ...]


class AllergenIndex:
    """The list of allergens, made ready once for looking names up."""

    def __init__(self, entries: Iterable[AllergenEntry], fragrant: Iterable[FragrantPattern] = ()) -> None:
        self.entries = tuple(entries)
        self.fragrant = tuple(fragrant)
        self._by_name = {name: entry for entry in self.entries for name in entry.names}
        numbers: dict[str, list[AllergenEntry]] = defaultdict(list)
        for entry in self.entries:
            for number in entry.cas:
                numbers[number].append(entry)
        self._by_cas = {number: found[0] for number, found in numbers.items() if len(found) == 1}
        self.kind_of = lru_cache(maxsize=8192)(self._kind_of)

    def find(self, name: str, cas: str | None = None) -> AllergenEntry | None:
        """Find the entry of a name; a CAS number speaks for an unknown name, unless that is a water or a powder."""
        entry = self._by_name.get(rule_key(name))
        if entry is not None or cas is None or {"WATER", "POWDER"} & set(plain_name(name).split()):
            return entry
        return self._by_cas.get(cas)

    def _kind_of(self, name: str) -> str | None:
        """Return what kind of fragrant material a name is: perfume, essential oil, extract; None for the rest."""
        words = plain_name(name)
        return next((f.kind for f in self.fragrant if fnmatchcase(words, f.pattern)), None)


def declared_allergens(
    materials: Iterable[DosedMaterial], exposure: Exposure, index: AllergenIndex
) -> tuple[DeclaredAllergen, ...]:
    """Return the allergens to name on the label, in the order of the list.

    Regulation (EC) 1223/2009, Annex III as amended by (EU) 2023/1545: named when the sum over all sources is more
    than 0.001 % in leave-on products and more than 0.01 % in rinse-off products.
    """
    return tuple(found for found in present_allergens(materials, exposure, index) if found.percent > found.threshold)


def present_allergens(
    materials: Iterable[DosedMaterial], exposure: Exposure, index: AllergenIndex
) -> tuple[DeclaredAllergen, ...]:
    """Return every allergen that is known to be in it, over its threshold or not, in the order of the list."""
    sums: dict[AllergenEntry, list[Amount]] = defaultdict(list)
    for amount in amounts(materials):
        entry = index.find(amount.name, amount.cas)
        if entry is not None and (amount.carrier is None or index.find(amount.carrier) is not entry):
            sums[entry].append(amount)
    return tuple(_declared(entry, sums[entry], exposure) for entry in index.entries if entry in sums)


def _declared(entry: AllergenEntry, found: list[Amount], exposure: Exposure) -> DeclaredAllergen:
    names, materials = names_in(found), materials_in(found)
    return DeclaredAllergen(
        entry.label_name,
        sum((amount.percent for amount in found), Decimal(0)),
        entry.thresholds[exposure],
        entry,
        names,
        materials,
    )


def unsheeted(materials: Iterable[DosedMaterial], index: AllergenIndex) -> dict[str, tuple[str, ...]]:
    """List, by kind (perfume, essential oil, extract), what should have an allergen sheet and has none.

    A part that is itself a listed single substance needs no sheet.
    """
    found: dict[str, list[str]] = defaultdict(list)
    for material in materials:
        for part in material.parts:
            kind = _sheet_kind(part.inci, part.kind, index)
            if kind and not part.allergens and material.percent * part.percent > 0:
                found[kind].append(part.inci)
    return {kind: tuple(dict.fromkeys(names)) for kind, names in found.items()}


def _sheet_kind(name: str, kind: PartKind, index: AllergenIndex) -> str | None:
    entry = index.find(name)
    if entry is not None and not entry.is_natural:
        return None
    known = index.kind_of(name) or ("essential oil" if entry is not None else None)
    return known or ("perfume" if kind in (PartKind.PERFUME, PartKind.FLAVOUR) else None)


def check_allergens(formula: FormulaFacts, index: AllergenIndex) -> Verdict:
    """Return which allergens the label must name, and for which materials nobody could look."""
    declared = declared_allergens(formula.materials, formula.exposure, index)
    missing = unsheeted(formula.materials, index)
    lines = tuple(f"{', '.join(names)}: no allergen sheet for this {kind}." for kind, names in missing.items())
    return Verdict(tuple(_finding(d, formula.exposure) for d in declared), lines)


def _finding(d: DeclaredAllergen, exposure: Exposure) -> Finding:
    names = tuple(dict.fromkeys((d.label_name, *(n for n in d.names if rule_key(n) != rule_key(d.label_name)))))
    words = (
        f"Name {d.label_name} in the ingredient list: {figures(d.percent, 5)} % in the product, more than "
        f"{plain(d.threshold)} % ({exposure}). Brought by {', '.join(d.materials)}."
    )
    if d.entry.duty_since.startswith("added"):
        words += f" Duty {d.entry.duty_since}."
    rule = f"EU 1223/2009 Annex {d.entry.entry.replace('/', ' entry ')}"
    return Finding(rule, Severity.NOTE, names, words, d.entry.source, d.threshold, d.percent, d.materials)
