"""What the tables of rules do not hold: said on the page, so that no finding is not taken for a clean bill."""

from collections.abc import Iterable

from app.reference.limits import limit_rows
from app.reference.rulebook import colourants


def gaps() -> tuple[str, ...]:
    """List what nothing here looks at, in sentences."""
    return tuple(_gaps())


def _gaps() -> Iterable[str]:
    rows = limit_rows("EU")
    counted = {
        annex: sum(f"Annex {annex} " in f"{r.legal_reference} " for r in rows) for annex in ("II", "III", "V", "VI")
    }
    yield (
        f"Regulation (EC) 1223/2009 is here in part: {counted['II']} rows from Annex II of prohibited substances (the "
        f"law has more than 1,600), {counted['III']} from Annex III, {len(colourants())} colourants, {counted['V']} "
        f"rows on preservatives and {counted['VI']} on UV filters."
    )
    yield "The United States: a few federal rules; no state laws, OTC drug monographs or colour batch certification."
    yield "Fragrance allergens in the United States: the list the law asks for is not written yet, so none is checked."
    yield "Every other country: Great Britain, Canada, Australia, Japan and the rest have rules of their own."
    yield "IFRA standards: the figure stands on the supplier's certificate, by category of product."
    yield "Purity, peroxide value, nitrosamines, heavy metals and microbes: only a supplier or a laboratory can tell."
    yield "Safety assessment, product information file, notification and registration before sale: not done here."
    yield "Rules for chemicals, aerosols, packaging, taxes on alcohol, transport and waste: not here."
