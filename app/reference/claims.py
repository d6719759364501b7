"""The words that move a product over a border, by jurisdiction."""

from functools import cache

from app.reference.library import split_cell
from app.reference.tables import read_table
from app.science.rules.claims import ClaimRule
from app.science.rules.values import Severity

COLUMNS = ["id", "jurisdiction", "words", "unless", "kind", "severity", "message", "rule", "source_status"]


@cache
def claim_rules() -> tuple[ClaimRule, ...]:
    """Every rule on words, in the order of the table."""
    return tuple(
        ClaimRule(
            rule_id=row["id"],
            jurisdictions=frozenset(split_cell(row["jurisdiction"])),
            words=split_cell(row["words"]),
            unless=split_cell(row["unless"]),
            kind=row["kind"],
            severity=Severity(row["severity"]),
            message=row["message"],
            rule=row["rule"],
            source_status=row["source_status"],
        )
        for row in read_table("claims", COLUMNS)
    )
