"""Legal composition limits: which rules a formula touches, and what each of them says.

Rules of one ``sum_key`` are judged together as a *subject*: their substances are added, each times its factor, and
compared with the limit of every scope that the exposure leaves open. At the limit is allowed.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from fnmatch import translate
from functools import lru_cache
from itertools import chain
from re import Pattern
from re import compile as compile_pattern

from app.science.composition import PartKind
from app.science.rules.limit_present import Present
from app.science.rules.limit_verdicts import judge
from app.science.rules.names import Amount, plain_name, rule_key
from app.science.rules.values import FormulaFacts, LimitRule, Purpose, Verdict


@dataclass(frozen=True, slots=True)
class Subject:
    """Rules that are judged together, and what one per cent of each of their substances counts as."""

    key: str
    rules: tuple[LimitRule, ...]
    exact: Mapping[str, Decimal] = field(hash=False)
    patterns: tuple[tuple[Pattern[str], Decimal], ...]
    cas: frozenset[str]
    anchors: frozenset[str]

    def factor(self, name: str, cas: str | None) -> Decimal | None:
        """Give the factor of a substance by name, else by CAS number; None when the subject does not cover it."""
        found = self.exact.get(rule_key(name)) or _match(self.patterns, plain_name(name))
        return found or (Decimal(1) if cas in self.cas else None)


def _match(patterns: Iterable[tuple[Pattern[str], Decimal]], name: str) -> Decimal | None:
    return next((factor for pattern, factor in patterns if pattern.match(name)), None)


class LimitIndex:
    """The rules of some tables, made ready once so that a formula is looked up name by name."""

    def __init__(self, rules: Iterable[LimitRule]) -> None:
        groups: dict[str, list[LimitRule]] = defaultdict(list)
        for rule in chain.from_iterable(map(_each, rules)):
            groups[rule.sum_key or f"{rule.legal_reference} {rule.inci_name}"].append(rule)
        self.subjects = tuple(_subject(key, tuple(group)) for key, group in groups.items())
        self.touched = lru_cache(maxsize=8192)(self._touched)

    def _touched(self, name: str, cas: str | None) -> tuple[tuple[int, Decimal], ...]:
        """List the subjects a name touches with its factor in each; the CAS number speaks only for an unknown name."""
        by_name = self._hits(name, None)
        return by_name if by_name or cas is None else self._hits("", cas)

    def _hits(self, name: str, cas: str | None) -> tuple[tuple[int, Decimal], ...]:
        found = ((n, subject.factor(name, cas)) for n, subject in enumerate(self.subjects))
        return tuple((n, factor) for n, factor in found if factor is not None)


def _each(rule: LimitRule) -> tuple[LimitRule, ...]:
    """Part a row that limits each of its substances for itself into a row a substance."""
    if rule.expressed_as != "each":
        return (rule,)
    return tuple(replace(rule, factors={name: f}, match_cas=(), sum_key=name) for name, f in rule.factors.items())


def _subject(key: str, rules: tuple[LimitRule, ...]) -> Subject:
    factors = {name: factor for rule in rules for name, factor in rule.factors.items()}
    return Subject(
        key,
        rules,
        {rule_key(name): factor for name, factor in factors.items() if "*" not in name},
        tuple((compile_pattern(translate(n)), factor) for n, factor in factors.items() if "*" in n),
        frozenset(number for rule in rules for number in rule.match_cas),
        frozenset(rule_key(name) for rule in rules for name in rule.anchors),
    )


def check_limits(formula: FormulaFacts, index: LimitIndex) -> Verdict:
    """Judge a formula by every rule it touches.

    Raises:
        Nothing: a formula that touches no rule has an empty verdict.
    """
    present = present_subjects(formula, index)
    excuses = tuple(p for p in present if p.purpose == Purpose.OTHER)
    keepers = tuple(p for p in present if p.purpose == Purpose.PRESERVATIVE)
    verdicts = (judge(p, formula, keepers if p in excuses else excuses) for p in present)
    return sum(verdicts, Verdict())


def present_subjects(formula: FormulaFacts, index: LimitIndex) -> tuple[Present, ...]:
    """List the subjects a formula touches, each with the amounts it counts."""
    return _present(formula.amounts, index)


def _present(found: Iterable[Amount], index: LimitIndex) -> tuple[Present, ...]:
    """Collect, subject by subject, what the formula brings of it."""
    hits: dict[int, list[tuple[Amount, Decimal]]] = defaultdict(list)
    for amount in found:
        carried = {n for n, _ in index.touched(amount.carrier, None)} if amount.carrier else set()
        for n, factor in index.touched(amount.name, amount.cas):
            if n not in carried and _counts(amount, index.subjects[n]):
                hits[n].append((amount, factor))
    pairs = ((index.subjects[n], tuple(pairs)) for n, pairs in sorted(hits.items()))
    return tuple(Present(s.rules, pairs) for s, pairs in pairs if _anchored(s, pairs))


def _counts(amount: Amount, subject: Subject) -> bool:
    """A UV filter limit does not count what is there as a colour: that is its own list (Annex IV)."""
    return amount.kind != PartKind.COLOURANT or not any("Annex VI " in rule.legal_reference for rule in subject.rules)


def _anchored(subject: Subject, pairs: Iterable[tuple[Amount, Decimal]]) -> bool:
    return not subject.anchors or any(rule_key(amount.name) in subject.anchors for amount, _ in pairs)
