"""The sentences that say why an entry stands where it stands."""

from decimal import Decimal

from app.science.declaration.values import Group
from app.science.jurisdiction import Jurisdiction
from app.science.numbers import plain

ONE_PERCENT = Decimal(1)

_PLACE = {
    (Jurisdiction.EU, Group.MAIN): "1 % or more: descending order of weight when added (EU 1223/2009 Art. 19(1)(g)).",
    (Jurisdiction.EU, Group.BELOW_LINE): "Below 1 %: any order after the rest (EU 1223/2009 Art. 19(1)(g)); kept in "
    "descending order.",
    (Jurisdiction.EU, Group.COLOURANT): "Colourant: any order after the other ingredients (EU 1223/2009 "
    "Art. 19(1)(g)).",
    (Jurisdiction.EU, Group.MAY_CONTAIN): "Colourant of some shades only: after '+/-' (EU 1223/2009 Art. 19(1)(g)).",
    (Jurisdiction.US, Group.MAIN): "More than 1 %: descending order of predominance (21 CFR 701.3(a), (f)(1)).",
    (Jurisdiction.US, Group.BELOW_LINE): "1 % or less: any order after the rest (21 CFR 701.3(f)(2)); kept in "
    "descending order.",
    (Jurisdiction.US, Group.COLOURANT): "Colour additive: any order at the end, whatever its amount "
    "(21 CFR 701.3(f)(3)).",
    (Jurisdiction.US, Group.MAY_CONTAIN): "Colour additive of some shades or batches only: after 'May contain' "
    "(21 CFR 701.3(g)).",
}
_EXACTLY_ONE = {
    Jurisdiction.EU: "Exactly 1 %: not below 1 %, so it keeps its place by weight (EU 1223/2009 Art. 19(1)(g)).",
    Jurisdiction.US: "Exactly 1 %: not more than 1 %, so it may stand in any order after the rest "
    "(21 CFR 701.3(f)(2)); kept in descending order.",
}
HAIR_DYE = "Colourant meant to colour hair: keeps its place by weight (EU 1223/2009 Art. 19(1)(g))."


def group_by_weight(percent: Decimal, jurisdiction: Jurisdiction) -> Group:
    """Tell on which side of the 1 % line an ingredient stands: EU below 1 %, US not more than 1 %."""
    low = percent < ONE_PERCENT or (percent == ONE_PERCENT and jurisdiction is Jurisdiction.US)
    return Group.BELOW_LINE if low else Group.MAIN


def place_rule(percent: Decimal, group: Group, jurisdiction: Jurisdiction) -> str:
    """Return why an entry stands in its group."""
    if percent == ONE_PERCENT and group in (Group.MAIN, Group.BELOW_LINE):
        return _EXACTLY_ONE[jurisdiction]
    return _PLACE[jurisdiction, group]


def perfume_rule(jurisdiction: Jurisdiction) -> str:
    """Return why one word stands for all parts of a perfume or flavour."""
    law = "21 CFR 701.3(a)" if jurisdiction is Jurisdiction.US else "EU 1223/2009 Art. 19(1)(g)"
    return f"One word for all its parts, placed by their sum ({law})."


def allergen_rule(percent: Decimal, threshold: Decimal, reference: str) -> str:
    """Return why an allergen is named beside the perfume; ``threshold`` is % w/w of the product."""
    return (
        f"Named as a fragrance allergen: {plain(percent)} % from all sources is more than {plain(threshold)} % "
        f"(EU 1223/2009 Annex {reference})."
    )
