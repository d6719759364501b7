"""Substances prohibited in cosmetics: EU 1223/2009 Annex II, with the exceptions that an entry makes."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from fnmatch import translate
from functools import lru_cache

from app.science.composition import PartKind
from app.science.rules.names import plain_name, rule_key
from app.science.rules.selectors import Ingredient
from app.science.rules.values import Finding, FormulaFacts, Severity, Source, Verdict

# What a plant gives for its smell and nothing else.
SCENTS = (" OIL", " ABSOLUTE", " CONCRETE", " RESINOID")


class Barred(StrEnum):
    """When an entry prohibits: always, in one use only, or on a condition that only reading or a supplier settles."""

    NEVER = "never"
    HAIR_DYE = "hair dye"
    FRAGRANCE = "fragrance"
    SUPPLIER = "supplier"
    READ = "read"


@dataclass(frozen=True, slots=True)
class ProhibitedEntry:
    """An entry of the annex; ``doubtful`` are names that an index gives for it but that need reading."""

    entry: str
    substance: str
    names: tuple[str, ...]
    doubtful: tuple[str, ...]
    cas: tuple[str, ...]
    condition: Barred
    source: Source

    @property
    def rule(self) -> str:
        """The reference of the entry."""
        return f"EU 1223/2009 Annex {self.entry.replace('/', ' entry ')}"


class ProhibitedIndex:
    """The entries by name, made ready once."""

    def __init__(self, entries: Iterable[ProhibitedEntry]) -> None:
        self.entries = tuple(entries)
        self._exact = {rule_key(n): (e, True) for e in reversed(self.entries) for n in e.names if "*" not in n}
        for e in self.entries:
            for name in e.doubtful:
                self._exact.setdefault(rule_key(name), (e, False))
        self._patterns = [(re.compile(_bare_or_more(n)), e) for e in self.entries for n in e.names if "*" in n]
        self._any = re.compile("|".join(f"(?:{_bare_or_more(n)})" for e in self.entries for n in e.names if "*" in n))
        self.find = lru_cache(maxsize=8192)(self._find)

    def _find(self, name: str) -> tuple[ProhibitedEntry, bool] | None:
        """Return the entry of a name, and whether it names the substance itself; None when no entry does."""
        exact = self._exact.get(rule_key(name))
        words = plain_name(name)
        if exact is not None or not self._any.match(words):
            return exact
        return next(((entry, True) for pattern, entry in self._patterns if pattern.match(words)), None)


def _bare_or_more(pattern: str) -> str:
    """Return the expression of a name with ``*``: ``Digitalis *`` takes in ``Digitalis`` itself."""
    whole = translate(plain_name(pattern))
    return f"{translate(plain_name(pattern[:-2]))}|{whole}" if pattern.endswith(" *") else whole


def check_prohibited(
    present: Iterable[Ingredient], formula: FormulaFacts, index: ProhibitedIndex, is_ruled: frozenset[str]
) -> Verdict:
    """Judge every substance by Annex II; ``is_ruled`` are keys that a row of limits speaks of already."""
    verdict = Verdict()
    for i in present:
        found = index.find(i.name)
        if found is not None and i.key not in is_ruled:
            verdict += _judge(i, *found, formula)
    return verdict


def _judge(i: Ingredient, entry: ProhibitedEntry, sure: bool, formula: FormulaFacts) -> Verdict:
    short = entry.substance if len(entry.substance) <= 160 else f"{entry.substance[:157]}..."
    if entry.condition == Barred.HAIR_DYE:
        barred = "hair dye" in formula.products
        return _say(i, entry, Severity.STOP, f"prohibited in hair dyes ({short})") if barred else Verdict()
    if entry.condition == Barred.FRAGRANCE:
        scent = f"kind:{PartKind.PERFUME}" in i.tags or i.words.endswith(SCENTS)
        severity = Severity.STOP if scent else Severity.CAUTION
        return _say(i, entry, severity, f"prohibited as a fragrance ingredient ({short})")
    if entry.condition == Barred.SUPPLIER:
        return Verdict(not_checked=(f"{i.name}: {short} ({entry.rule}); ask the supplier for the statement.",))
    if entry.condition == Barred.READ or not sure:
        return _say(i, entry, Severity.CAUTION, f"prohibited with an exception that has to be read: {short}")
    return _say(i, entry, Severity.STOP, f"prohibited ({short})")


def _say(i: Ingredient, entry: ProhibitedEntry, severity: Severity, what: str) -> Verdict:
    action = "take it out" if severity == Severity.STOP else "read the entry, and ask a qualified assessor"
    words = f"{i.name}: {what}."
    return Verdict(
        (Finding(entry.rule, severity, (i.name,), words, entry.source, materials=i.materials, action=action),)
    )
