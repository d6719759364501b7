"""The isothiazolinone mixture of Annex V entry 39: its ratio, and that the second one may not be added to it."""

from collections.abc import Iterable
from decimal import Decimal

from app.science.numbers import plain
from app.science.rules.names import Amount, materials_in, names_in, rule_key
from app.science.rules.values import Finding, FormulaFacts, LimitRule, Severity, Verdict

CHLORO = rule_key("Methylchloroisothiazolinone")
PLAIN = rule_key("Methylisothiazolinone")
MIXTURE = rule_key("Methylchloroisothiazolinone (and) Methylisothiazolinone")
# The entry says 3:1; trade solutions are made to about that, so a seventh either way is let pass (common practice).
LOWEST_RATIO, HIGHEST_RATIO = Decimal("2.5"), Decimal("3.5")


def check_isothiazolinones(formula: FormulaFacts, rules: Iterable[LimitRule]) -> Verdict:
    """Judge the mixture by Regulation (EC) 1223/2009, Annex V entries 39 and 57 (mutually exclusive)."""
    row = next((rule for rule in rules if rule_key(rule.inci_name) == MIXTURE), None)
    found = tuple(a for a in formula.amounts if rule_key(a.name) in (CHLORO, PLAIN, MIXTURE))
    if row is None or all(rule_key(a.name) == PLAIN for a in found):
        return Verdict()
    chloro, other = _sum(found, CHLORO), _sum(found, PLAIN)
    mixed = {a.material for a in found if rule_key(a.name) != PLAIN}
    alone = tuple(a for a in found if a.material not in mixed)
    if alone and chloro < LOWEST_RATIO * other:
        words = (
            "The 3:1 mixture and Methylisothiazolinone alone exclude each other in one product. "
            f"{', '.join(materials_in(alone))} adds Methylisothiazolinone alone."
        )
        return Verdict((Finding(row.legal_reference, Severity.STOP, names_in(found), words, row.citation),))
    if chloro == 0 or LOWEST_RATIO * other <= chloro <= HIGHEST_RATIO * other:
        return Verdict()
    said = plain((chloro / other).quantize(Decimal("0.01"))) if other else "without any of the second"
    words = f"The entry is for a mixture of 3:1; here it is {said}{':1' if other else ''}."
    return Verdict((Finding(row.legal_reference, Severity.CAUTION, names_in(found), words, row.citation),))


def _sum(found: Iterable[Amount], key: str) -> Decimal:
    return sum((a.percent for a in found if rule_key(a.name) == key), Decimal(0))
