"""How the trade rules name substances: by name, by pattern, by class, by what the substance table says."""

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fnmatch import translate
from functools import lru_cache

from app.science.composition import DosedMaterial
from app.science.rules.names import amounts, plain_name, rule_key
from app.science.rules.values import Facts, SubstanceFacts, facts_of


class Classes:
    """Classes of substances by pattern of name, made ready once."""

    def __init__(self, patterns: Iterable[tuple[str, str]]) -> None:
        found: dict[str, list[str]] = defaultdict(list)
        for name, pattern in patterns:
            found[name].append(pattern)
        self._patterns = {name: _one_pattern(texts) for name, texts in found.items()}
        self.of = lru_cache(maxsize=8192)(self._of)

    @property
    def names(self) -> frozenset[str]:
        """Every class there is."""
        return frozenset(self._patterns)

    def _of(self, name: str) -> frozenset[str]:
        """Return the classes a substance belongs to by its name."""
        words = plain_name(name)
        return frozenset(c for c, pattern in self._patterns.items() if pattern.match(words))


def _one_pattern(texts: Iterable[str]) -> re.Pattern[str]:
    return re.compile("|".join(f"(?:{translate(text)})" for text in texts))


@dataclass(frozen=True, slots=True)
class Ingredient:
    """A substance of the formula as the trade rules see it; ``percent`` is % w/w of the finished formula."""

    name: str
    key: str
    words: str
    percent: Decimal
    materials: tuple[str, ...]
    tags: frozenset[str]
    facts: SubstanceFacts

    @property
    def is_water(self) -> bool:
        """Whether it is water by any of its names."""
        return self.words == "AQUA"

    @property
    def water(self) -> Decimal:
        """The water it brings, % w/w of the finished formula: all of it, or what a hydrosol, juice or honey holds."""
        return self.percent if self.is_water else self.percent * self.facts.water_percent / 100

    def is_a(self, *classes: str) -> bool:
        """Whether it belongs to one of some classes."""
        return any(f"class:{name}" in self.tags for name in classes)


class Ingredients(tuple[Ingredient, ...]):
    """The substances of a formula with every key and tag among them, so that most rules are ruled out at one look."""

    def __init__(self, found: Iterable[Ingredient]) -> None:
        super().__init__()
        self.keys = frozenset(i.key for i in self)
        self.tags = frozenset(tag for i in self for tag in i.tags)


def ingredients(materials: Iterable[DosedMaterial], classes: Classes, facts: Facts) -> Ingredients:
    """Sum a formula by substance, with the tags the rules ask about; allergens inside a perfume are left inside it."""
    parts: dict[str, list[tuple[str, Decimal, str, str]]] = defaultdict(list)
    for a in amounts(materials):
        if a.carrier is None:
            parts[rule_key(a.name)].append((a.name, a.percent, a.material, f"kind:{a.kind}"))
    return Ingredients(_ingredient(key, found, classes, facts) for key, found in parts.items())


def _ingredient(key: str, found: list[tuple[str, Decimal, str, str]], classes: Classes, facts: Facts) -> Ingredient:
    name = found[0][0]
    known = facts_of(plain_name(name), facts)
    tags = {f"class:{c}" for c in classes.of(name)} | {kind for *_, kind in found}
    tags |= {"electrolyte"} if known.electrolyte else set()
    materials = tuple(dict.fromkeys(material for _, _, material, _ in found))
    percent = sum((share for _, share, _, _ in found), Decimal(0))
    return Ingredient(name, key, plain_name(name), percent, materials, frozenset(tags), known)


class Selector:
    """One side of a rule: names, patterns with ``*``, and tags (``class:soap``, ``kind:perfume``, ``electrolyte``)."""

    def __init__(self, items: Iterable[str], but: Iterable[str] = ()) -> None:
        self.items, self.but = tuple(items), tuple(but)
        self.tags = frozenset(i for i in self.items if ":" in i or i == "electrolyte")
        named = [i for i in self.items if i not in self.tags]
        self._keys = frozenset(rule_key(i) for i in named if "*" not in i)
        patterns = [i.upper() for i in named if "*" in i]
        self._fits = lru_cache(maxsize=4096)(_one_pattern(patterns).match) if patterns else None
        self._but = Selector(self.but) if self.but else None

    def names(self, words: str) -> bool:
        """Return whether the side speaks of a plain name itself, and not only of a class that it belongs to."""
        return rule_key(words) in self._keys or (self._fits is not None and self._fits(words) is not None)

    def takes(self, ingredient: Ingredient) -> bool:
        """Return whether the side speaks of an ingredient."""
        named = ingredient.key in self._keys or not self.tags.isdisjoint(ingredient.tags)
        hit = named or (self._fits is not None and self._fits(ingredient.words) is not None)
        return hit and not (self._but is not None and self._but.takes(ingredient))

    def hits(self, present: Ingredients) -> list[Ingredient]:
        """Return the substances of a formula that the side speaks of."""
        if self._fits is None and self._keys.isdisjoint(present.keys) and self.tags.isdisjoint(present.tags):
            return []
        return [i for i in present if self.takes(i)]
