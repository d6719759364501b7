"""An answer to what was found of a version holds for a batch of it, while what is found as made is no worse."""

from collections.abc import Callable, Iterable
from decimal import Decimal

from app.science.numbers import plain_or_empty
from app.science.rules.names import rule_key
from app.science.rules.values import Finding, LimitUnit
from app.work.rules.answers import AnsweredFinding

# What a reading is uncertain by: a pH by that of a meter, a temperature by a degree (common practice).
UNCERTAIN = {LimitUnit.PH: Decimal("0.1"), LimitUnit.CELSIUS: Decimal(1)}

# The amount of what a finding names in the version and as made, % w/w.
Amounts = Callable[[Finding], tuple[Decimal, Decimal]]
# How far weights within their bands may change that amount, as a part of it.
Slack = Callable[[Finding], Decimal]


def unanswered(
    made: Iterable[AnsweredFinding], version: Iterable[AnsweredFinding], amounts: Amounts, slack: Slack
) -> tuple[AnsweredFinding, ...]:
    """Return what of a batch as made nobody answered: neither of just this amount, nor of the version it is made of.

    An answer to the same finding of the version (rule, weight, substances, limit) holds where the amount as made is
    not worse than the one answered by more than its weights may differ within their bands, or a reading is uncertain
    by. What is worse is asked about again.
    """
    answered: dict[tuple[str, ...], list[Finding]] = {}
    for one in version:
        if one.answer is not None:
            answered.setdefault(_same(one.finding), []).append(one.finding)
    return tuple(
        one
        for one in made
        if one.answer is None
        and not any(_no_worse(one.finding, known, amounts, slack) for known in answered.get(_same(one.finding), ()))
    )


def _same(finding: Finding) -> tuple[str, ...]:
    limit = plain_or_empty(finding.limit)
    return (finding.rule, str(finding.severity), limit, str(finding.unit), *sorted(map(rule_key, finding.inci)))


def _no_worse(made: Finding, known: Finding, amounts: Amounts, slack: Slack) -> bool:
    if made.found is None or known.found is None:
        # A ban says no amount: then the amount of what it names is compared.
        before, after = amounts(made)
        return made.found == known.found and after <= before * (1 + slack(made))
    before, after, limit = known.found, made.found, made.limit
    allowed = UNCERTAIN.get(made.unit)
    if allowed is None:
        allowed = before * slack(made)
    if limit is None and made.unit in UNCERTAIN:
        return abs(after - before) <= allowed
    if limit is not None and (before - limit) * (after - limit) < 0:
        return False
    return (before - after if limit is not None and before < limit else after - before) <= allowed
