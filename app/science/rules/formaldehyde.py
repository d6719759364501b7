"""Formaldehyde that preservatives give off: the label trigger on the total, and the one releaser that a total bars."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from app.science.numbers import figures, plain
from app.science.rules.names import Amount, materials_in, names_in, rule_key
from app.science.rules.values import Finding, FormulaFacts, LimitRule, Severity, Verdict

# Regulation (EC) 1223/2009, Annex V entry 51 as amended by (EU) 2021/1902: not to be used when the releasable
# formaldehyde of the mixture, whatever its source, is 0.1 % w/w or more.
BARRED_KEY = rule_key("Sodium Hydroxymethylglycinate")
BARRED_FROM = Decimal("0.1")
SAFE_SUM_WORDS = "highest amount that can be set free, by the structural formulas"


@dataclass(frozen=True, slots=True)
class Releaser:
    """A substance that gives off formaldehyde; ``share`` is the most it can give, mass per mass (0..1)."""

    inci: str
    share: Decimal


def check_formaldehyde(formula: FormulaFacts, rules: Iterable[LimitRule], releasers: Iterable[Releaser]) -> Verdict:
    """Judge the formaldehyde that all releasers together can give off.

    ``rules`` are the legal limits; the label trigger among them is the row of Annex V, preamble point 2
    ((EU) 2022/1181): total over 0.001 % asks for the words "releases formaldehyde". A measured total goes before the
    highest one by formula.
    """
    rows = tuple(rules)
    shares = {rule_key(r.inci): r.share for r in releasers}
    found = tuple(a for a in formula.amounts if rule_key(a.name) in shares)
    total = sum((a.percent * shares[rule_key(a.name)] for a in found), Decimal(0))
    measured = formula.formaldehyde_percent
    if found and measured is not None:
        total = measured
    triggers = (r for r in rows if r.rule_type == "label" and r.max_percent is not None)
    findings = [
        _label(r, found, total, measured=measured is not None)
        for r in triggers
        if r.max_percent is not None and total > r.max_percent
    ]
    return Verdict((*findings, *_barred(rows, found, total, shares)))


def _label(rule: LimitRule, found: tuple[Amount, ...], total: Decimal, *, measured: bool) -> Finding:
    how = f"{figures(total, 5)} % formaldehyde as measured"
    lift = f"a measurement of at most {plain(rule.max_percent or Decimal(0))} % would lift this"
    worked_out = f"up to {figures(total, 5)} % formaldehyde in total ({SAFE_SUM_WORDS})"
    return Finding(
        rule=rule.legal_reference,
        severity=Severity.NOTE,
        inci=names_in(found),
        what=f'The label must say: "{rule.label_wording}"',
        source=rule.citation,
        limit=rule.max_percent,
        found=total,
        materials=materials_in(found),
        why=how if measured else worked_out,
        action="" if measured else lift,
        quote=rule.label_wording,
    )


def _barred(
    rules: Iterable[LimitRule], found: tuple[Amount, ...], total: Decimal, shares: Mapping[str, Decimal]
) -> Iterable[Finding]:
    if total < BARRED_FROM or not any(rule_key(a.name) == BARRED_KEY for a in found):
        return
    words = (
        f"Up to {figures(total, 5)} % formaldehyde can be set free; from {plain(BARRED_FROM)} % on it may not be used."
    )
    for rule in rules:
        if rule_key(rule.inci_name) == BARRED_KEY and BARRED_KEY in shares:
            names, materials = names_in(found), materials_in(found)
            yield Finding(
                rule.legal_reference, Severity.STOP, names, words, rule.citation, BARRED_FROM, total, materials
            )
