"""The solutions that set a pH, as they are bought, with what the law and the label say about them."""

from dataclasses import dataclass
from functools import cache
from typing import Literal, cast

from app.reference.acid_base import acid_base_table
from app.reference.tables import read_table
from app.science.acid_base.cautions import Hazard, hazard
from app.science.acid_base.values import Adjuster, Solute

COLUMNS = [
    "inci_name",
    "role",
    "bought_as",
    "strength_percent",
    "legal_note",
    "legal_source",
    "label_addition",
    "remark",
    "source_status",
]
BACK_FROM_BASE, BACK_FROM_ACID = "Citric Acid", "Sodium Hydroxide"
BACK_STRENGTH_PERCENT = 10.0
BASIC = frozenset({Hazard.STRONG_ALKALI, Hazard.AMINE, Hazard.AMINO_ACID, Hazard.CARBONATE})


@dataclass(frozen=True, slots=True)
class Neutraliser:
    """One solution: ``adjuster`` with its usual strength, and the words that go with it; see the table."""

    adjuster: Adjuster
    role: Literal["acid", "base"]
    bought_as: str
    legal_note: str
    legal_source: str
    label_addition: str
    remark: str
    source_status: str


@cache
def neutralisers() -> tuple[Neutraliser, ...]:
    """Read the table, in its order.

    Raises:
        ValueError: when a row names a substance without acid-base data, or another role than acid or base.
    """
    rows = []
    for row in read_table("neutralisers", COLUMNS):
        found = acid_base_table().find(row["inci_name"])
        if found is None or row["role"] not in {"acid", "base"}:
            raise ValueError(f"neutralisers.csv: {row['inci_name']} is unknown or has no role")
        one = Neutraliser(
            adjuster=Adjuster(found.substance, float(row["strength_percent"])),
            role=cast(Literal["acid", "base"], row["role"]),
            bought_as=row["bought_as"],
            legal_note=row["legal_note"],
            legal_source=row["legal_source"],
            label_addition=row["label_addition"],
            remark=row["remark"],
            source_status=row["source_status"],
        )
        rows.append(one)
    return tuple(rows)


def is_base(substance: Solute) -> bool:
    """Return whether a substance raises the pH of most formulas (hydroxide, amine, carbonate, basic salt)."""
    net = sum(ion.charge * n for ion, n in substance.ions)
    return hazard(substance) in BASIC or (hazard(substance) is Hazard.SALT and net > 0)


def counter_adjuster(substance: Solute) -> Adjuster:
    """Return the 10 % solution that undoes too much of a substance: citric acid, or sodium hydroxide after an acid."""
    name = BACK_FROM_BASE if is_base(substance) else BACK_FROM_ACID
    found = acid_base_table().find(name)
    if found is None:
        raise ValueError(f"{name} is missing from the tables")
    return Adjuster(found.substance, BACK_STRENGTH_PERCENT)
