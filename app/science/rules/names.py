"""Names as the rules compare them: spelling, brackets, water in its languages, and what a formula brings by name."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from app.science.composition import DosedMaterial, PartKind, expand
from app.science.names import inci_key

WATER_WORDS = frozenset({"AQUA", "WATER", "EAU"})
_WATER_FILLERS = frozenset({"PURIFIED", "DISTILLED", "DEIONIZED", "DEIONISED", "DEMINERALIZED", "SPRING"})
_SPELLINGS = (("ALUMINIUM", "ALUMINUM"), ("SULPH", "SULF"), ("COLOUR", "COLOR"))
_ALLERGEN_SEEN_AS_PART = 100


@lru_cache(maxsize=8192)
def plain_name(name: str) -> str:
    """Bring a name to one spelling: upper case, American ``-um``/``sulf``, no remark in brackets except (nano), (and).

    >>> plain_name("Melaleuca alternifolia (tea tree) leaf oil")
    'MELALEUCA ALTERNIFOLIA LEAF OIL'
    """
    key = inci_key(name)
    for other, ours in _SPELLINGS:
        key = key.replace(other, ours)
    if is_water(key):
        return "AQUA"
    bare = " ".join(re.sub(r"\((?!NANO\)|AND\))[^()]*\)", " ", key).split())
    return bare or key


@lru_cache(maxsize=8192)
def rule_key(name: str) -> str:
    """Return the key under which rules look a name up: `plain_name` without blanks, hyphens and other marks.

    >>> rule_key("2-bromo-2-nitropropane-1,3-diol") == rule_key("2-Bromo-2-Nitropropane 1,3-Diol")
    True
    """
    return "".join(c for c in plain_name(name) if c.isalnum())


def is_water(name: str) -> bool:
    """Return whether a name is water in any of its label forms, such as ``Aqua``, ``Water (Aqua)``, ``Aqua/Water/Eau``.

    >>> is_water("Water (Aqua)"), is_water("Rosa Damascena Flower Water")
    (True, False)
    """
    words = re.findall(r"[A-Z]+", inci_key(name))
    return bool(WATER_WORDS & set(words)) and set(words) <= WATER_WORDS | _WATER_FILLERS


@dataclass(frozen=True, slots=True)
class Amount:
    """What one material brings of a name, % w/w of the finished formula; ``carrier`` is the part an allergen is in."""

    name: str
    percent: Decimal
    material: str
    kind: PartKind
    cas: str | None = None
    carrier: str | None = None


def amounts(materials: Iterable[DosedMaterial]) -> tuple[Amount, ...]:
    """List everything the formula brings: every part of every material, and the allergens inside the parts.

    An allergen share is part of the part that carries it, so it is named with its ``carrier`` and never adds to totals
    of the formula; a rule that already counts the carrier must not count it again. Parts of nothing are left out.
    """
    found: list[Amount] = []
    for total in expand(materials):
        for contribution in total.contributions:
            if contribution.percent > 0:
                part, percent, material = contribution.part, contribution.percent, contribution.material
                name = f"{part.inci} (nano)" if part.nano and "(NANO)" not in inci_key(part.inci) else part.inci
                carried = [
                    Amount(a.inci, percent * a.percent / _ALLERGEN_SEEN_AS_PART, material, part.kind, carrier=part.inci)
                    for a in part.allergens
                    if a.percent > 0
                ]
                found += [Amount(name, percent, material, part.kind, part.cas), *carried]
    return tuple(found)


def names_in(found: Iterable[Amount]) -> tuple[str, ...]:
    """Return the names of some amounts once each, in order."""
    kept: dict[str, str] = {}
    for amount in found:
        kept.setdefault(inci_key(amount.name), amount.name)
    return tuple(kept.values())


def materials_in(found: Iterable[Amount]) -> tuple[str, ...]:
    """Return the materials that bring some amounts, once each, in order."""
    return tuple(dict.fromkeys(a.material for a in found))
