"""What the tables of rules do not hold: said on the page, so that no finding is not taken for a clean bill."""

from app.reference.law_gaps import standing_gaps
from app.reference.limits import limit_rows
from app.reference.prohibited import prohibited_entries
from app.reference.rulebook import JURISDICTIONS, colourants


def gaps() -> tuple[str, ...]:
    """Return what nothing here looks at, in sentences, after how much of the European annexes is here."""
    rows = limit_rows("EU")
    counted = {n: sum(f"Annex {n} " in f"{r.legal_reference} " for r in rows) for n in ("III", "V", "VI")}
    held = (
        f"Regulation (EC) 1223/2009 is here with all {len(prohibited_entries())} entries of Annex II, {counted['III']} "
        f"rows from Annex III, {len(colourants())} colourants, {counted['V']} rows on preservatives and "
        f"{counted['VI']} on UV filters."
    )
    lines = (line for jurisdiction in JURISDICTIONS for line in standing_gaps(jurisdiction))
    return (held, *dict.fromkeys(lines))
