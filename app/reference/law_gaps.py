"""What the tables of law leave out as a whole: said in every answer, so that silence is not taken for a pass."""

from functools import cache

COMMON = (
    "Safety assessment or substantiation by a qualified person: not done here; no finding is not a pass.",
    "Purity, heavy metals, nitrosamines, peroxide values, microbes and stability: a supplier or laboratory tells.",
    "Perfume certificates that were not entered with the material; poison, transport, packaging and waste law.",
    "Other countries: Great Britain, Canada, Australia, Japan and the rest have rules of their own.",
)
EU = (
    "EU 1223/2009 Annex III, as of 18 May 2026: entries 103 to 136 (peroxide limits of pine, fir and terpene oils), "
    "137 to 152 (allyl esters), single fragrance chemicals of 153 to 182 and some minor entries are not in the tables.",
    "EU: product information file, notification (CPNP), responsible person, claims by (EU) 655/2013, national law "
    "(France on perfluorinated substances, for example) are not checked.",
    "EU: drafts that are not law yet, such as the 24th adaptation of the CLP Regulation (tea tree oil, heliotropin) "
    "and the classification of talc; look whether they have been adopted.",
)
US = (
    "US, MoCRA (21 USC 364 to 364j): facility registration and product listing, contact for adverse events on the "
    "label, records, safety substantiation and, when the rule comes, fragrance allergens are not checked.",
    "US state law is not checked: California (AB 2762, AB 2771, Safe Cosmetics Act, Proposition 65, fragrance right to "
    "know, volatile organic compounds), Washington (HB 1047), New York, Maryland, Minnesota, Maine, Colorado, "
    "Vermont, Oregon, Hawaii.",
    "US: over-the-counter monographs in full, batch certification of colours, denatured alcohol (27 CFR 20), 21 CFR "
    "700.11, 700.15, 700.25, 700.27 and part 82 were not read in full.",
    "US: the form of a warning of 21 CFR 740 (bold, 1/16 inch, 740.2) and a product whose safety is not substantiated "
    "(740.10) are for the maker to see to.",
)


@cache
def standing_gaps(jurisdiction: str) -> tuple[str, ...]:
    """Return what is never looked at for a jurisdiction, in sentences."""
    return {"EU": EU, "US": US}.get(jurisdiction, ()) + COMMON
