"""Choosing materials that together give the wanted percentages of substances.

A linear programme: doses of the materials are at least zero and sum to 100; leaving a band, bringing a substance that
is not wanted, and using what is not on the maker's own shelf each have a price. Its solutions use few materials.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.science.errors import Invalid
from app.science.inference.values import Floats

DUSTING = 0.01
OFF_CENTRE, OUTSIDE, UNWANTED, BORROWED = 1.0, 30.0, 2.0, 0.4
OWN, MIXED = 0.05, 0.25
STRONGER = 1e-4  # a per cent of anything but water: of two that cost the same the stronger is taken
SMALLEST_DOSE = 1e-5
SMALLEST_SCALE = 1e-3
CLOSE = 1e-6
AS_WELL_AS_INSIDE = 0.01  # of the end of a band: nobody weighs a hundredth of an amount beside it
CRUMB = 0.05  # of what is aimed at: less than weighing can tell


@dataclass(frozen=True, slots=True)
class Target:
    """A substance aimed at ``estimate`` % w/w, between ``low`` and ``high``; ``class_name`` tells what it is for.

    ``keep`` marks what has to be there however little it is, such as what sets the pH.
    """

    key: str
    name: str
    estimate: float
    low: float
    high: float
    class_name: str = ""
    keep: bool = False


@dataclass(frozen=True, slots=True)
class ShelfMaterial:
    """A material that could be used: % w/w of each substance by key, and whether it is on the maker's own shelf."""

    id: str
    name: str
    parts: Mapping[str, float]
    own: bool = False
    class_name: str = ""
    assumption: str = ""

    @property
    def main(self) -> str:
        """The key of the substance that the material has most of."""
        return max(self.parts, key=lambda key: (self.parts[key], key))


@dataclass(frozen=True, slots=True)
class CoverLine:
    """A material with its dose in % w/w of the formula."""

    material: ShelfMaterial
    percent: float


@dataclass(frozen=True, slots=True)
class Reached:
    """What the chosen materials give of a wanted substance, % w/w, and whether that is inside its band."""

    wanted: Target
    percent: float
    inside: bool


@dataclass(frozen=True, slots=True)
class Cover:
    """The chosen materials, what they reach, what they bring along unasked (% w/w by key), and what stays open.

    ``missing`` names no material has; ``dusting`` names too small to weigh, left out unless something brings them.
    """

    lines: tuple[CoverLine, ...]
    reached: tuple[Reached, ...]
    brought: Mapping[str, float]
    missing: tuple[Target, ...]
    dusting: tuple[Target, ...]


def _is_inside(percent: float, wanted: Target) -> bool:
    least, most = wanted.low * (1 - AS_WELL_AS_INSIDE), wanted.high * (1 + AS_WELL_AS_INSIDE)
    return least - CLOSE <= percent <= most + CLOSE


def cover(wanted: Sequence[Target], shelf: Sequence[ShelfMaterial], left_out: frozenset[str] = frozenset()) -> Cover:
    """Choose materials and doses for the wanted substances.

    Args:
        wanted: the substances with estimate and band; estimates of the whole list sum to 100.
        shelf: what may be used.
        left_out: keys the maker does without.

    Raises:
        Invalid: when no material on the shelf has any of the wanted substances.
    """
    kept = [w for w in wanted if w.key not in left_out]
    dusting = tuple(w for w in kept if w.estimate < DUSTING and not w.keep)
    aimed = [w for w in kept if w not in dusting]
    goals, by_key = {w.key for w in aimed}, {w.key: w for w in kept}
    # At least half of a material has to be wanted, and something in it aimed at.
    usable = [
        m
        for m in shelf
        if goals & set(m.parts) and sum(p for k, p in m.parts.items() if k in by_key) >= sum(m.parts.values()) / 2
    ]
    if not usable:
        raise Invalid("shelf", "no material holds any of these substances")
    buyable = {key for material in usable for key in material.parts}
    missing = tuple(w for w in kept if w.key not in buyable and w not in dusting)
    aimed = _filled_up([w for w in aimed if w not in missing], sum(w.estimate for w in missing))
    doses = _without_crumbs(_doses(aimed, usable), aimed, usable)
    chosen = [(usable[i], float(doses[i])) for i in np.flatnonzero(doses > SMALLEST_DOSE)]
    lines = [CoverLine(m, dose) for m, dose in chosen]
    totals: dict[str, float] = {}
    for line in lines:
        for key, share in line.material.parts.items():
            totals[key] = totals.get(key, 0.0) + line.percent * share / 100
    given = [(w, totals.get(w.key, 0.0)) for w in kept]
    return Cover(
        tuple(sorted(lines, key=lambda line: -line.percent)),
        tuple(Reached(w, percent, _is_inside(percent, w)) for w, percent in given),
        {key: percent for key, percent in totals.items() if key not in by_key},
        missing,
        dusting,
    )


def _filled_up(aimed: Sequence[Target], rest: float) -> list[Target]:
    """Let the largest take the place of what no material holds: it fills up to 100 %."""
    largest = max(aimed, key=lambda w: w.estimate)
    more = replace(largest, estimate=largest.estimate + rest, high=max(largest.high, largest.estimate + rest))
    return [more if w is largest else w for w in aimed]


def _without_crumbs(doses: Floats, aimed: Sequence[Target], usable: Sequence[ShelfMaterial]) -> Floats:
    """Leave out doses that only top up what others give already; the largest dose takes their place."""
    shares = np.array([[m.parts.get(w.key, 0.0) / 100 for m in usable] for w in aimed])
    given = shares * doses[None, :]
    aims = np.maximum(np.array([w.estimate for w in aimed]), SMALLEST_SCALE)[:, None]
    crumb = (given <= CRUMB * aims).all(axis=0) & (doses > 0)
    kept = np.where(crumb, 0.0, doses)
    if kept.any():
        kept[int(np.argmax(kept))] += doses.sum() - kept.sum()
    return kept


def _doses(aimed: Sequence[Target], usable: Sequence[ShelfMaterial]) -> Floats:
    """Solve the programme; the unknowns are the doses, then what lies over and under, then outside each band.

    A per cent of a material is priced by what it brings unasked and by the effort to have it, for its usual dose.
    """
    from scipy.optimize import linprog

    shares = np.array([[m.parts.get(w.key, 0.0) / 100 for m in usable] for w in aimed])
    middle = np.array([w.estimate for w in aimed])
    over, under = (
        np.maximum(np.array(v), 0.0)
        for v in ([w.high - w.estimate for w in aimed], [w.estimate - w.low for w in aimed])
    )
    one, count = np.eye(len(aimed)), len(usable)
    balance = np.hstack((shares, -one, one, -one, one))
    whole = np.concatenate((np.ones(count), np.zeros(4 * len(aimed))))[None, :]
    scale = np.maximum(middle, SMALLEST_SCALE)
    inside = [OFF_CENTRE / np.maximum(room, scale / 10) for room in (over, under)]
    outside = [OUTSIDE / np.minimum(scale, 5.0)] * 2
    goals = {w.key: max(w.estimate, SMALLEST_SCALE) for w in aimed}
    by_material = []
    for m in usable:
        unwanted = UNWANTED * sum(p for key, p in m.parts.items() if key not in goals) / 100
        usual = min((goals[k] * 100 / p for k, p in m.parts.items() if k in goals and p > 0), default=1.0)
        # Water costs nothing, or a weak solution would be bought for the water in it.
        plain_water = m.parts.keys() == {"AQUA"}
        effort = 0.0 if plain_water else BORROWED * (1 + MIXED * (len(m.parts) - 1)) * (OWN if m.own else 1.0)
        by_material.append(unwanted + effort / max(usual, SMALLEST_SCALE) + STRONGER * (not plain_water))
    prices = np.concatenate((by_material, *inside, *outside))
    limits = [(0.0, 100.0)] * count + [(0.0, float(r)) for r in (*over, *under)] + [(0.0, 100.0)] * (2 * len(aimed))
    solved = linprog(prices, None, None, np.vstack((balance, whole)), np.append(middle, 100.0), limits, method="highs")
    doses: Floats = np.maximum(solved.x[:count], 0.0)
    return doses


def substitutes(wanted: Target, shelf: Iterable[ShelfMaterial], most: int = 6) -> tuple[ShelfMaterial, ...]:
    """Return materials whose main substance does the same work: own shelf first, then the plainest."""
    fitting = [m for m in shelf if m.class_name and m.class_name == wanted.class_name and m.main != wanted.key]
    return tuple(sorted(fitting, key=lambda m: (not m.own, len(m.parts), m.name))[:most])
