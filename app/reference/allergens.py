"""The fragrance allergens that must be named on a label, with their other names and the materials that need a sheet."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from app.reference.library import split_cell
from app.reference.tables import read_table
from app.science.composition import DosedMaterial
from app.science.rules import allergens as rules
from app.science.rules.allergens import AllergenEntry, AllergenIndex, DeclaredAllergen, FragrantPattern
from app.science.rules.names import rule_key
from app.science.rules.values import Exposure, Source

COLUMNS = [
    "label_name",
    "cas_numbers",
    "annex_iii_entry",
    "source_status",
    "threshold_leave_on_percent",
    "threshold_rinse_off_percent",
    "comparison",
    "sum_over_group",
    "names_covered",
    "other_annex_iii_limit",
    "peroxide_value",
    "duty_since",
    "notes",
    "source",
]
_NATURAL_WORDS = ("OIL", "EXTRACT", "OIL/EXTRACT", "ABSOLUTE", "TURPENTINE")
_NATURAL_LABELS = frozenset({"PINUS MUGO", "PINUS PUMILA", "TURPENTINE"})

Row = Mapping[str, str]


@cache
def allergen_index(jurisdiction: str) -> AllergenIndex:
    """Return the allergens to name in a jurisdiction.

    Only the EU list exists; the list that 21 USC 364e(b) asks for in the United States is not yet written,
    so that index is empty of entries and only knows which materials are fragrant.
    """
    fragrant = (
        FragrantPattern(row["pattern"], row["kind"])
        for row in read_table("fragrant_materials", ("pattern", "kind", "source_status"))
    )
    return AllergenIndex(allergen_entries() if jurisdiction == "EU" else (), fragrant)


@cache
def allergen_entries() -> tuple[AllergenEntry, ...]:
    """The 81 entries of Annex III with a naming duty, in the order of the table."""
    others: dict[str, list[str]] = defaultdict(list)
    for row in read_table("allergen_names", ("label_name", "other_name", "source_status")):
        others[row["label_name"]].append(row["other_name"])
    found = []
    for row in read_table("eu_fragrance_allergens", COLUMNS):
        covered = split_cell(row["names_covered"])
        # One cell of the published list separates two extracts with a comma; chemical names with commas hold digits.
        pieces = [piece for name in covered for piece in (name.split(", ") if "Extract, " in name else [name])]
        label = row["label_name"]
        found.append(
            AllergenEntry(
                label_name=label,
                entry=row["annex_iii_entry"],
                names=frozenset(rule_key(name) for name in (label, *pieces, *others[row["label_name"]])),
                cas=frozenset(split_cell(row["cas_numbers"])),
                thresholds=MappingProxyType(
                    {
                        Exposure.LEAVE_ON: Decimal(row["threshold_leave_on_percent"]),
                        Exposure.RINSE_OFF: Decimal(row["threshold_rinse_off_percent"]),
                    }
                ),
                duty_since=row["duty_since"],
                source=Source(row["source"], row["source_status"]),
                is_natural=label.upper() in _NATURAL_LABELS or label.upper().split()[-1] in _NATURAL_WORDS,
            )
        )
    return tuple(found)


def declared_allergens(
    materials: Iterable[DosedMaterial], exposure: str, jurisdiction: str
) -> tuple[DeclaredAllergen, ...]:
    """Return the allergens the label of a product must name, in the order of the list (see the rule itself).

    Raises:
        ValueError: when the exposure is neither ``leave-on`` nor ``rinse-off``.
    """
    return rules.declared_allergens(materials, Exposure(exposure), allergen_index(jurisdiction))
