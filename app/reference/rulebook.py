"""Every table of rules of a jurisdiction, made ready for a check."""

import re
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from functools import cache, lru_cache

from rapidfuzz import process
from rapidfuzz.distance import OSA

from app.reference import known_names
from app.reference.allergens import allergen_index
from app.reference.blends import find_blend
from app.reference.compatibility import classes, conditions, facts_for, trade_rules
from app.reference.constituents import constituent_index
from app.reference.hair_dyes import hair_dye_index
from app.reference.inci_names import inci_names
from app.reference.label_names import nearest_name as listed_name
from app.reference.law_gaps import standing_gaps
from app.reference.library import find_substance, split_cell
from app.reference.limits import formaldehyde_releasers, limit_index, limit_rules
from app.reference.near_names import NearNames
from app.reference.preservatives import assess_materials, preservatives
from app.reference.product_rules import implied_kinds, phototoxic_limits, product_rules
from app.reference.prohibited import prohibited_index
from app.reference.synonyms import kitchen_names
from app.reference.tables import decimal_or_none, read_table
from app.science.composition import DosedMaterial, Part
from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.preservation import Preservation
from app.science.rules.check import Rulebook
from app.science.rules.colourants import Colourant, ColourIndex, UseArea
from app.science.rules.names import is_water, plain_name, rule_key
from app.science.rules.selectors import Selector
from app.science.rules.values import Exposure, FormulaFacts, Source
from app.science.rules.warnings import WarningRule

COLOUR_COLUMNS = [
    "ci",
    "names",
    "eu_area",
    "eu_max_percent",
    "eu_max_for",
    "us_name",
    "us_use",
    "us_barred",
    "us_only",
    "us_max_percent",
    "us_max_for",
    "source",
    "source_status",
]
JURISDICTIONS = ("EU", "US")
HUNDRED = Decimal(100)
# What a name with a strength behind it is: common practice of the trade for what is sold as a solution in water.
_STRENGTH = re.compile(
    r"(?P<name>.+?)[\s,(]+(?P<strength>\d{1,2}(?:[.,]\d+)?)\s*%\)?(?:\s+(?:in water|solution))?", re.IGNORECASE
)
_SCENTED = re.compile(r"\s+(?:essential oil|e\.?o\.?)$", re.IGNORECASE)
SOLD_IN_WATER = frozenset(
    rule_key(name)
    for name in (
        *("Hydrogen Peroxide", "Ammonia", "Ammonium Hydroxide", "Sodium Hydroxide", "Potassium Hydroxide"),
        *("Lactic Acid", "Glycolic Acid", "Citric Acid", "Acetic Acid", "Phosphoric Acid", "Hydrochloric Acid"),
        *("Thioglycolic Acid", "Trichloroacetic Acid", "Formaldehyde", "Sodium Lactate", "Triethanolamine", "Alcohol"),
        *("Benzalkonium Chloride", "Chlorhexidine Digluconate", "Sodium Laureth Sulfate", "Cocamidopropyl Betaine"),
    )
)
# Share of equal letters from which another name can be meant; common practice.
NEAR_ENOUGH = 0.85
# A slip breaks three pairs of neighbouring letters at the most, and names hold half as many pairs as both have letters.
NEAR_PAIRS, NEAR_LENGTHS = 0.5 * (1 - 3 * (1 - NEAR_ENOUGH)), 1 / NEAR_ENOUGH
WARNING_COLUMNS = [
    "id",
    "jurisdiction",
    "selector",
    "above",
    "exposure",
    "product",
    "legal",
    "text",
    "reason",
    "source",
    "source_status",
]


@cache
def rulebook(jurisdiction: str) -> Rulebook:
    """Return the rules of a jurisdiction, ``EU`` or ``US``.

    Raises:
        KeyError: when the jurisdiction has no rules.
    """
    if jurisdiction not in JURISDICTIONS:
        raise KeyError(jurisdiction)
    return Rulebook(
        jurisdiction=jurisdiction,
        limits=limit_index(jurisdiction),
        rules=limit_rules(jurisdiction),
        releasers=formaldehyde_releasers(),
        allergens=allergen_index(jurisdiction),
        colourants=colour_index(),
        conditions=conditions(),
        classes=classes(),
        trade=trade_rules(),
        warnings=warning_rules(),
        facts_for=facts_for,
        prohibited=prohibited_index(),
        hair_dyes=hair_dye_index(),
        product_rules=product_rules(),
        phototoxic=phototoxic_limits(),
        preservation=preservation_of,
        is_known=is_known,
        nearest=nearest_name,
        constituents=constituent_index(),
        implied=implied_kinds(),
        gaps=standing_gaps(jurisdiction),
    )


def preservation_of(formula: FormulaFacts) -> Preservation | None:
    """Return the verdict on the preservation of a formula; None where its parts make no mixture to work with."""
    try:
        return assess_materials(formula.materials, formula.exposure == Exposure.LEAVE_ON, formula.ph)
    except Invalid:
        return None


@lru_cache(maxsize=20_000)
def is_known(name: str) -> bool:
    """Return whether any table knows a name: the inventory, the library, or a table of rules."""
    tables = (
        known_names.is_known(name) or known_names.is_known(plain_name(name)),
        limit_index("EU").touched(name, None),
        limit_index("US").touched(name, None),
        colour_index().find(name),
        allergen_index("EU").find(name),
        prohibited_index().find(name),
        hair_dye_index().find(name),
        allergen_index("EU").kind_of(name) in ("perfume", "essential oil"),
        inci_key(plain_name(name)) in preservatives() or rule_key(name) in _known_keys(),
        _named_by_product_rules().names(plain_name(name)),
    )
    return any(tables)


@cache
def _named_by_product_rules() -> Selector:
    return Selector(item for rule in product_rules() if rule.selector is not None for item in rule.selector.items)


@cache
def _known_keys() -> frozenset[str]:
    return frozenset({rule_key(name) for name in inci_names()} | phototoxic_limits().keys())


@lru_cache(maxsize=20_000)
def nearest_name(name: str) -> str:
    """Return the known name that is nearest to an unknown one, empty where none is near.

    Names that the law bars, which the inventory does not hold, come first: a slip in one of them weighs most.
    """
    near = _barred_names().sharing(plain_name(name), NEAR_PAIRS, NEAR_LENGTHS)
    found = process.extractOne(
        plain_name(name), near, scorer=OSA.normalized_similarity, processor=None, score_cutoff=NEAR_ENOUGH
    )
    return listed_name(found[0]) or str(found[0]) if found else listed_name(name)


@cache
def _barred_names() -> NearNames:
    return NearNames(name for entry in prohibited_index().entries for name in entry.names if "*" not in name)


def in_inci(materials: Iterable[DosedMaterial]) -> tuple[DosedMaterial, ...]:
    """Put the INCI names in place of a trade or kitchen name: one substance, or a blend by its usual composition.

    Other names stay.
    """
    return tuple(replace(m, parts=tuple(q for part in m.parts for q in named_in_inci(part))) for m in materials)


def named_in_inci(part: Part) -> tuple[Part, ...]:
    """Return a part under its INCI name, or the parts of the blend or solution that its name stands for."""
    if inci_key(part.inci) in inci_names() or is_water(part.inci):
        return (part,)
    name = _inci_of(part.inci)
    if name is not None:
        return (replace(part, inci=name),)
    blend = find_blend(part.inci)
    if blend is not None:
        return tuple(Part(q.inci, part.percent * q.percent / 100, kind=part.kind) for q in blend.parts)
    return _in_water(part)


def _inci_of(name: str) -> str | None:
    """Return the INCI name that a kitchen or trade name leads to, None where it leads to none."""
    for word in (name, _SCENTED.sub(" oil", name)):
        known = find_substance(word)
        found = known.inci if known is not None else kitchen_names().get(inci_key(word))
        if found is not None:
            return found
    return None


def _in_water(part: Part) -> tuple[Part, ...]:
    """Split what is named with its strength, such as ``Hydrogen Peroxide 35 %``, into it and the water it is in."""
    read = _STRENGTH.fullmatch(part.inci.strip())
    if read is None:
        return (part,)
    name = _inci_of(read["name"].strip()) or read["name"].strip()
    strength = Decimal(read["strength"].replace(",", "."))
    if rule_key(name) not in SOLD_IN_WATER or not 0 < strength < HUNDRED:
        return (part,)
    share = part.percent * strength / HUNDRED
    return (replace(part, inci=name, percent=share), Part("Aqua", part.percent - share))


def usual_blends(materials: Iterable[DosedMaterial]) -> tuple[str, ...]:
    """Return a line for each blend that `in_inci` takes by its usual composition."""
    names = dict.fromkeys(part.inci for m in materials for part in m.parts)
    taken = ((name, find_blend(name)) for name in names if not is_water(name) and inci_key(name) not in inci_names())
    return tuple(
        f"{name}: no composition was given; taken as {blend.name}. Enter what the supplier states."
        for name, blend in taken
        if blend is not None and find_substance(name) is None
    )


@cache
def warning_rules() -> tuple[WarningRule, ...]:
    """The statements for labels that kinds of product and trade knowledge ask for."""
    return tuple(
        WarningRule(
            rule_id=row["id"],
            jurisdictions=frozenset(split_cell(row["jurisdiction"])),
            selector=Selector(split_cell(row["selector"])) if row["selector"] else None,
            above=decimal_or_none(row["above"]) or Decimal(0),
            exposure=row["exposure"],
            scope=frozenset(split_cell(row["product"])),
            is_legal=row["legal"] == "legal",
            text=row["text"],
            reason=row["reason"],
            source=Source(row["source"], row["source_status"]),
        )
        for row in read_table("warnings", WARNING_COLUMNS)
    )


@cache
def colourants() -> tuple[Colourant, ...]:
    """The colourants of the shipped table, in its order."""
    found = []
    for row in read_table("colourants", COLOUR_COLUMNS):
        names: Iterable[str] = (row["ci"], *split_cell(row["names"]))
        found.append(
            Colourant(
                ci=row["ci"],
                names=frozenset(rule_key(name) for name in names),
                eu_area=UseArea(int(row["eu_area"])) if row["eu_area"] else None,
                us_name=row["us_name"],
                us_use=row["us_use"],
                source=Source(row["source"], row["source_status"]),
                eu_max_percent=decimal_or_none(row["eu_max_percent"]),
                eu_max_for=frozenset(split_cell(row["eu_max_for"])),
                us_barred=frozenset(split_cell(row["us_barred"])),
                us_only=frozenset(split_cell(row["us_only"])),
                us_max_percent=decimal_or_none(row["us_max_percent"]),
                us_max_for=frozenset(split_cell(row["us_max_for"])),
            )
        )
    return tuple(found)


@cache
def colour_index() -> ColourIndex:
    """The colourants by CI number and name."""
    return ColourIndex(colourants())
