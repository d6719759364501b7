"""Legal maxima that hold for every use of a substance: the only ones that may bound an inference."""

from collections.abc import Iterable, Mapping
from datetime import date
from functools import cache
from types import MappingProxyType

from app.reference.limits import jurisdictions, limit_rows
from app.reference.product_kinds import product_kinds, propose_kind
from app.science.rules.values import Exposure, LimitRule, Purpose

NO_CAP = 100.0
# Annex III or VI of EU 1223/2009 allows more of these for another purpose, so the row of one purpose bounds nothing.
ONE_PURPOSE = frozenset(
    {
        "BENZYL ALCOHOL",
        "BENZALKONIUM CHLORIDE",
        "CETRIMONIUM CHLORIDE",
        "CLIMBAZOLE",
        "SALICYLIC ACID",
        "SODIUM BISULFITE",
        "SODIUM METABISULFITE",
        "SODIUM SULFITE",
        "TITANIUM DIOXIDE",
        "ZINC OXIDE",
    }
)
# Lowered from 10 % by (EU) 2022/2195 (from memory), so older products hold more.
LOWERED = frozenset({"HOMOSALATE"})
RINSED = ("shampoo", "rinse", "shower", "body wash", "hand wash", "face wash", "soap", "shaving", "shave")
STAYING = (
    "leave-on", "leave on", "leave-in", "lotion", "balm", "serum", "deodorant", "ointment", "sunscreen", "after-sun",
    "mist", "after shave", "aftershave", "after-shave", "dry shampoo",
)  # fmt: skip
DOUBTFUL = ("cleans", "mask", "remov", "micellar", "conditioner", "wash", "rinse", "scrub", "2-in-1", "toothpaste")


def exposure_of(product_type: str, product_kind: str = "") -> Exposure | None:
    """Tell from a kind of product, else from free words, whether it stays on the skin; None when nothing settles it."""
    kind = product_kinds().get(product_kind)
    if kind:
        return kind.exposure
    words = product_type.casefold()
    if any(word in words for word in RINSED) and not any(word in words for word in STAYING):
        return Exposure.RINSE_OFF
    settled = any(word in words for word in STAYING) and not any(word in words for word in (*DOUBTFUL, *RINSED))
    return Exposure.LEAVE_ON if settled else None


def usual_exposure(product_type: str) -> Exposure:
    """Return how a product of some words is used: as they settle it, else as the kind they propose; else it stays on.

    >>> usual_exposure("hair mask").value, usual_exposure("sheet mask").value, usual_exposure("").value
    ('rinse-off', 'leave-on', 'leave-on')
    """
    proposed = product_kinds().get(propose_kind(product_type))
    return exposure_of(product_type) or (proposed.exposure if proposed else Exposure.LEAVE_ON)


@cache
def legal_caps(jurisdiction: str, exposure: Exposure | None = None, on: date | None = None) -> Mapping[str, float]:
    """Return the maximum (% w/w of the substance as named) by `inci_key`, where one holds for every use.

    Without an exposure the loosest scope counts, without a day only rows that have always held: a product in hand may
    be older than the newest amendment. Rows for one purpose, rows that need facts outside the formula and
    prohibitions are left out. An unknown jurisdiction has no maxima.
    """
    if jurisdiction.upper() not in jurisdictions():
        return MappingProxyType({})
    found: dict[str, list[LimitRule]] = {}
    for row in limit_rows(jurisdiction):
        stated = row.rule_type == "max" and row.factor is not None and bool(row.max_percent)
        open_ended = row.rule_type == "condition" and row.max_percent is None and row.general
        holds = row.applies_from is None and row.until is None if on is None else row.in_force(on)
        for key in row.factors if (stated or open_ended) and not row.uncertain and holds else ():
            found.setdefault(key, []).append(row)
    without = ONE_PURPOSE | (LOWERED if on is None else frozenset())
    caps = {key: _cap(key, rows, exposure) for key, rows in found.items() if key not in without}
    return MappingProxyType({key: cap for key, cap in caps.items() if 0 < cap < NO_CAP})


def _cap(key: str, rows: Iterable[LimitRule], exposure: Exposure | None) -> float:
    rows = list(rows)
    if any(row.purpose is not Purpose.ANY for row in rows):
        return NO_CAP
    return max(_cap_within(key, rows, one) for one in ([exposure] if exposure else list(Exposure)))


def _cap_within(key: str, rows: list[LimitRule], exposure: Exposure) -> float:
    """Take the loosest row of an exposure; without a row for all its products there is no cap unless only some may."""
    fitting = [row for row in rows if exposure in row.exposures]
    closed = all(row.only_in_scope for row in rows)
    if not any(row.general for row in fitting) and not closed:
        return NO_CAP
    caps = (NO_CAP if row.max_percent is None else float(row.max_percent / row.factors[key]) for row in fitting)
    return max(caps, default=0.0)
