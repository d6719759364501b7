"""Legal composition limits: which rules a formula touches, and what each of them says.

Rules of one ``sum_key`` are judged together as a *subject*: their substances are added, each times its factor, and
compared with the limit of every scope that the exposure leaves open. At the limit is allowed.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
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
from app.science.rules.values import FormulaFacts, LimitRule, Purpose, Verdict, joined


@dataclass(frozen=True, slots=True)
class Subject:
    """Rules that are judged together; ``anchors`` are keys of names of which one must be there for them to speak."""

    rules: tuple[LimitRule, ...]
    anchors: frozenset[str]


class LimitIndex:
    """The rules of some tables, made ready once so that a formula is looked up name by name."""

    def __init__(self, rules: Iterable[LimitRule]) -> None:
        groups: dict[str, list[LimitRule]] = defaultdict(list)
        for rule in chain.from_iterable(map(_each, rules)):
            groups[rule.sum_key or f"{rule.legal_reference} {rule.inci_name}"].append(rule)
        self._by_key: dict[str, dict[int, Decimal]] = defaultdict(dict)
        self._by_pattern: list[tuple[Pattern[str], int, Decimal]] = []
        self._by_cas: dict[str, dict[int, Decimal]] = defaultdict(dict)
        for number, group in enumerate(groups.values()):
            factors = {name: factor for rule in group for name, factor in rule.factors.items()}
            for name, factor in factors.items():
                if "*" in name:
                    self._by_pattern.append((compile_pattern(translate(name)), number, factor))
                else:
                    self._by_key[rule_key(name)][number] = factor
            for cas in (cas for rule in group for cas in rule.match_cas):
                self._by_cas[cas][number] = Decimal(1)
        self._any_pattern = compile_pattern("|".join(f"(?:{p.pattern})" for p, _, _ in self._by_pattern) or "(?!)")
        self.subjects = tuple(
            Subject(tuple(group), frozenset(rule_key(name) for rule in group for name in rule.anchors))
            for group in groups.values()
        )
        self.touched = lru_cache(maxsize=20_000)(self._touched)

    def _touched(self, name: str, cas: str | None) -> tuple[tuple[int, Decimal], ...]:
        """Return the subjects a name touches, with what one per cent of it counts as in each.

        A name counts by itself before a pattern that it fits; the CAS number speaks only for an unknown name.
        """
        found = dict(self._by_key.get(rule_key(name), {}))
        words = plain_name(name)
        if self._any_pattern.match(words):
            for pattern, number, factor in self._by_pattern:
                if number not in found and pattern.match(words):
                    found[number] = factor
        return tuple(sorted((found or self._by_cas.get(cas or "", {})).items()))


def _each(rule: LimitRule) -> tuple[LimitRule, ...]:
    """Part a row that limits each of its substances for itself into a row a substance."""
    if rule.expressed_as != "each":
        return (rule,)
    return tuple(replace(rule, factors={name: f}, match_cas=(), sum_key=name) for name, f in rule.factors.items())


def check_limits(formula: FormulaFacts, index: LimitIndex) -> Verdict:
    """Judge a formula by every rule it touches.

    Raises:
        Nothing: a formula that touches no rule has an empty verdict.
    """
    present = present_subjects(formula, index)
    excuses = tuple(p for p in present if p.purpose == Purpose.OTHER)
    keepers = tuple(p for p in present if p.purpose == Purpose.PRESERVATIVE)
    verdicts = (judge(p, formula, keepers if p in excuses else excuses) for p in present)
    return joined(verdicts)


def present_subjects(formula: FormulaFacts, index: LimitIndex) -> tuple[Present, ...]:
    """Return the subjects a formula touches, each with the amounts it counts."""
    hits: dict[int, list[tuple[Amount, Decimal]]] = defaultdict(list)
    for amount in formula.amounts:
        carried = {n for n, _ in index.touched(amount.carrier, None)} if amount.carrier else set()
        for n, factor in index.touched(amount.name, amount.cas):
            # A UV filter limit does not count what is there as a colour: that is its own list (Annex IV).
            is_filter = any("Annex VI " in rule.legal_reference for rule in index.subjects[n].rules)
            if n not in carried and not (is_filter and amount.kind == PartKind.COLOURANT):
                hits[n].append((amount, factor))
    pairs = ((index.subjects[n], tuple(pairs)) for n, pairs in sorted(hits.items()))
    return tuple(
        Present(s.rules, pairs)
        for s, pairs in pairs
        if not s.anchors or any(rule_key(amount.name) in s.anchors for amount, _ in pairs)
    )
