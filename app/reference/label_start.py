"""What a composition must meet to be made and kept, from the shipped tables, and the start that meets it.

Preservation, gels and pH follow the same tables as the checks of a formula; the shares of emulsifier and solubiliser
are common practice.
"""

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from app.reference.blends import Blend, blend_uses, blends
from app.reference.inference_caps import usual_exposure
from app.reference.label_blends import telling_parts
from app.reference.label_ph import ACIDS, BASES, adjuster_dose, entries_of, ph_of
from app.reference.label_targets import targets_from
from app.reference.library import find_substance
from app.reference.mixtures import build_mixture
from app.reference.preservatives import assess_mixture, preservatives
from app.reference.thickeners import thickener_of
from app.science.acid_base.gel import GelState, GelWindow
from app.science.acid_base.model import LEAST_WATER_PERCENT
from app.science.errors import Invalid
from app.science.inference.cover import Target
from app.science.inference.makeable import MakeableStart, Requirement, makeable_start, weighable
from app.science.inference.values import PLANT_WATER, WATER, Estimate, Inference, ListedName
from app.science.names import inci_key
from app.science.preservation import Preservation
from app.science.rules.values import Exposure

OILS = frozenset({"oil", "ester", "hydrocarbon", "silicone", "wax"})
SCENTS = frozenset({"perfume", "essential_oil"})
FATTY = "fatty_alcohol"
BASE_CLASSES = frozenset({"emulsifier", "surfactant", "surfactant_co", "cationic", "hydrocarbon", FATTY})
LIKELY, ODDS = 0.5, 2.0  # names that are sold as one blend are more often bought so than alone (common practice)
ALONE = 0.33  # density of the ln of the ratio of two names bought each by itself, spread 1.2 (from the fitted classes)
WORKING = frozenset({"chelator", "antioxidant"})
EMULSIFIER_SHARE, LEAST_OIL = 0.15, 5.0  # an emulsifier of about a sixth of its oils (common practice)
SOLUBILISER_SHARE = 3.0  # solubiliser over perfume or essential oil (common practice)
MEANT_TO_PRESERVE = 0.2  # estimates below this part of the least usual amount are taken as carried in
IN_EMULSION = 0.3  # a gum stabilises an emulsion at about a third of the dose of a gel (common practice)
COMFORTABLE_PH, EDGE, TRIED_PH = 5.5, 0.3, np.arange(3.0, 8.01, 0.1)
LARGEST_ADJUSTER = 1.0  # % w/w: an acid above it is an active, not what sets the pH (common practice)
ROUNDS = 3
AS_BEFORE = 0.5  # rounding the rest may move the adjuster by no more than half, or it would leave its place


@dataclass(frozen=True, slots=True)
class BoughtBlend:
    """A blend whose parts all stand in the list in its ratio, by the places of its parts.

    ``on_top`` are parts of which more may be added beside the blend, as fatty alcohol is to an emulsifying wax.
    """

    name: str
    places: tuple[int, ...]
    shares: Mapping[int, float]
    source: str
    on_top: frozenset[int] = frozenset()

    @property
    def lead(self) -> int:
        """The place of the largest part that comes with the blend alone: the others follow it."""
        return max((p for p in self.shares if p not in self.on_top), key=lambda place: self.shares[place])


@dataclass(frozen=True, slots=True)
class ProposedPh:
    """The pH to aim at, with the name that sets it; ``reached`` is the pH of the start.

    ``target`` is None where the list has nothing to set the pH with, or no water to speak of; ``reason`` says what
    the target serves.
    """

    target: float | None
    reached: float | None
    adjuster: int | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class LabelStart:
    """A composition to start from with what speaks for it: moves, open points, blends, pH, preservation.

    ``targets`` are the same percentages as materials are chosen for them.
    """

    start: MakeableStart
    blends: tuple[BoughtBlend, ...]
    ph: ProposedPh
    preservation: Preservation | None
    requirements: tuple[Requirement, ...] = ()
    targets: tuple[Target, ...] = ()

    @property
    def percents(self) -> tuple[float, ...]:
        """The composition, % w/w by place."""
        return self.start.percents


def start_from_label(
    listed: Sequence[ListedName],
    inference: Inference,
    counted: Sequence[bool],
    product_type: str = "",
) -> LabelStart | None:
    """Find what to start from: nearest to what is likely, and preserved, thickened, emulsified and at its pH.

    Returns:
        None where the bounds leave no composition that adds up.
    """
    chain = np.array([i for i, name in enumerate(listed) if not name.colour], dtype=np.int64)
    shape = _Shape(listed, inference.rows, tuple(counted), usual_exposure(product_type) is Exposure.LEAVE_ON)
    bought = tuple(_bought_blends(shape))
    target, reason, adjuster = _target(shape)
    solvable = ph_of(shape.listed, [row.estimate for row in shape.rows]) is not None
    needs = [*_requirements(shape, bought, target)]

    def nearest(requirements: Sequence[Requirement]) -> MakeableStart:
        return makeable_start(inference.rows, chain, inference.line_probability, requirements, counted)

    try:
        start = nearest(needs)
        kept = tuple(blend for blend in bought if not _missed(blend, start.unmet))
        if kept != bought:  # bought alone, then
            bought, needs = kept, [*_requirements(shape, kept, target)]
            start = nearest(needs)
        if target is not None and adjuster is not None and solvable:
            start = _at_its_ph(nearest, start, needs, (listed, adjuster, target))
    except ValueError:
        return None
    bought = tuple(blend for blend in bought if not _missed(blend, start.unmet))
    percents = _weighable(start.percents, needs, adjuster, bought)
    if not _descends(percents, chain[: start.above_line]):
        percents = _weighable(start.percents, needs, adjuster, bought, three_figures)
    if adjuster is not None and target is not None and solvable:
        amount = adjuster_dose(listed, percents, adjuster, target)
        if amount is not None and abs(amount - percents[adjuster]) <= AS_BEFORE * amount:
            refined = [amount if place == adjuster else percent for place, percent in enumerate(percents)]
            better = _weighable(refined, needs, adjuster, bought)
            percents = better if _descends(better, chain[: start.above_line]) else percents
    reached = ph_of(shape.listed, percents)
    missed = target is not None and reached is not None and abs(reached - target) > EDGE
    unmet = (*start.unmet, Requirement("pH", {})) if missed else start.unmet
    start = replace(start, percents=percents, unmet=unmet)
    ph = ProposedPh(target, reached, adjuster, reason)
    close = {place for requirement in needs for place in requirement.terms}
    targets = targets_from(listed, inference.rows, counted, percents, close, adjuster)
    return LabelStart(start, bought, ph, _preservation(shape, start, reached), tuple(needs), targets)


def three_figures(percent: float) -> float:
    """Return a percentage with three significant figures, where coarser ones would change the order."""
    return float(f"{percent:.3g}")


def _descends(percents: Sequence[float], places: Iterable[int]) -> bool:
    return all(percents[a] >= percents[b] for a, b in itertools.pairwise(places))


def _weighable(
    percents: Sequence[float],
    needs: Iterable[Requirement],
    adjuster: int | None,
    bought: Iterable[BoughtBlend],
    figures: Callable[[float], float] = weighable,
) -> tuple[float, ...]:
    """Round to figures as one weighs them, never below a least amount; the largest takes what is left to 100.

    The parts of a blend follow its largest part.
    """
    least = {place: r.low for r in needs if len(r.terms) == 1 for place in r.terms if np.isfinite(r.low)}
    largest = max(range(len(percents)), key=lambda place: percents[place])
    rounded = []
    for place, percent in enumerate(percents):
        value = float(f"{percent:.2g}") if place == adjuster else figures(percent)
        low = least.get(place, 0.0)
        rounded.append(min(low, percent) if value < low <= percent + 1e-6 else value)
    for blend in bought:
        for place, share in blend.shares.items():
            if place not in blend.on_top and place != blend.lead:
                rounded[place] = float(
                    f"{rounded[blend.lead] * share / blend.shares[blend.lead]:.{2 if figures is weighable else 3}g}"
                )
    rest = 100.0 - sum(rounded) + rounded[largest]
    for place in range(len(rounded)):  # two that were nearly alike may not change places
        if place != largest and percents[place] <= percents[largest] and rounded[place] > rest:
            rest, rounded[place] = rest + (rounded[place] - rest) / 2, rest + (rounded[place] - rest) / 2
    rounded[largest] = round(rest, 6)
    return tuple(rounded)


@dataclass(frozen=True, slots=True)
class _Shape:
    """A list with its estimates, as the requirements look at it."""

    listed: Sequence[ListedName]
    rows: Sequence[Estimate]
    counted: tuple[bool, ...]
    leave_on: bool

    def places(self, classes: frozenset[str]) -> list[int]:
        return [i for i, name in enumerate(self.listed) if name.class_name in classes and self.counted[i]]

    def total(self, classes: frozenset[str]) -> float:
        return sum(self.rows[i].estimate for i in self.places(classes))

    @property
    def wet(self) -> bool:
        return self.total(frozenset({WATER, PLANT_WATER})) >= LEAST_WATER_PERCENT

    @property
    def soapy(self) -> bool:
        return any(_is_soap(name.key) and self.rows[i].estimate >= 1 for i, name in enumerate(self.listed))


@cache
def _is_soap(key: str) -> bool:
    base, _, rest = key.partition(" ")
    return base in ("SODIUM", "POTASSIUM") and rest.split(" ")[-1] in {
        "COCOATE", "PALMATE", "OLIVATE", "TALLOWATE", "STEARATE", "OLEATE", "LAURATE", "KERNELATE", "CASTORATE",
    }  # fmt: skip


def _at_its_ph(
    nearest: Callable[[Sequence[Requirement]], MakeableStart],
    start: MakeableStart,
    needs: Sequence[Requirement],
    setting: tuple[Sequence[ListedName], int, float],
) -> MakeableStart:
    """Find the start again with what sets the pH at the amount the charge balance asks, until it asks no other."""
    listed, adjuster, target = setting
    for _ in range(ROUNDS):
        amount = adjuster_dose(listed, start.percents, adjuster, target)
        if amount is None or abs(amount - start.percents[adjuster]) < 0.005 * max(amount, 1e-4):
            break
        pinned = Requirement("pH", {adjuster: 1.0}, amount, amount, "charge balance of the shipped tables", 200.0)
        start = nearest([*needs, pinned])
    return start


def _missed(blend: BoughtBlend, unmet: Iterable[Requirement]) -> bool:
    return any(one.rule == "blend" and set(one.terms) <= set(blend.places) for one in unmet)


def _bought_blends(shape: _Shape) -> Iterator[BoughtBlend]:
    """Find blends whose parts all stand in the list: preservatives where the bands allow the ratio, emulsifiers and
    detergents where the ratio is likelier than two names bought alone would make it.
    """
    places = {name.key: i for i, name in enumerate(shape.listed) if shape.counted[i]}
    taken: set[int] = set()
    for name, blend in sorted(blends().items(), key=lambda pair: -len(pair[1].parts)):
        parts = {inci_key(part.inci): float(part.percent) for part in blend.parts if inci_key(part.inci) != "AQUA"}
        kept = {places[key]: share for key, share in parts.items() if key in places}
        known = name in blend_uses() and 1 < len(parts) == len(kept)
        if known and not taken & set(kept) and _ratio_fits(shape, kept):
            taken |= set(kept)
            yield BoughtBlend(name, tuple(kept), kept, _source(blend))
    others = (_base_blend(shape, name, places) for name in telling_parts() if name not in blend_uses())
    for likely, base in sorted((one for one in others if one), key=lambda pair: -pair[0]):
        if likely >= LIKELY and not taken & set(base.places):
            taken |= set(base.places)
            yield base


def _source(blend: Blend) -> str:
    return f"{blend.provenance.source} ({blend.provenance.status})"


def _base_blend(shape: _Shape, name: str, places: Mapping[str, int]) -> tuple[float, BoughtBlend] | None:
    """Return a blend of emulsifiers, detergents or light oils with the chance that it was bought as one.

    The odds are those beforehand, times the density of the ratio of its parts at that of the blend over the density
    it has where each is bought alone (Savage-Dickey ratio; Dickey, Ann. Math. Stat. 42 (1971) 204,
    doi:10.1214/aoms/1177693507).
    """
    shares = {places[key]: share for key, share in telling_parts()[name].items() if key in places}
    classes = {shape.listed[place].class_name for place in shares}
    if len(shares) < len(telling_parts()[name]) or not classes <= BASE_CLASSES or classes == {FATTY}:
        return None
    on_top = frozenset(place for place in shares if shape.listed[place].class_name == FATTY)
    blend = BoughtBlend(name, tuple(shares), shares, _source(blends()[name]), on_top)
    chance, lead = 1.0, shape.rows[blend.lead]
    for place, share in shares.items():
        row, wanted = shape.rows[place], math.log(share / shares[blend.lead])
        if place in on_top:
            enough = row.band_high >= lead.estimate * math.exp(wanted)
            chance = chance if enough else 0.0
        elif place != blend.lead:
            width = math.hypot(_spread(row), _spread(lead))
            off = (math.log(row.estimate / lead.estimate) - wanted) / width
            odds = ODDS * math.exp(-0.5 * off**2) / (width * math.sqrt(2 * math.pi)) / ALONE
            chance = min(chance, odds / (1 + odds))
    return chance, blend


def _spread(row: Estimate) -> float:
    """Return the standard deviation of ln x that an 80 % band has."""
    return max(math.log(max(row.band_high, 1e-6) / max(row.band_low, 1e-6)) / 2.56, 0.02)


def _ratio_fits(shape: _Shape, shares: Mapping[int, float]) -> bool:
    """Say whether some dose of the blend puts every part inside its band, or near it by half."""
    low = max(shape.rows[i].band_low / 1.5 / share for i, share in shares.items())
    high = min(min(shape.rows[i].band_high * 1.5, shape.rows[i].high) / share for i, share in shares.items())
    return low <= high


def _requirements(shape: _Shape, bought: Sequence[BoughtBlend], target: float | None) -> Iterator[Requirement]:
    for blend in bought:
        first = blend.lead
        for place, share in blend.shares.items():
            if place != first:
                terms = {place: 1.0, first: -share / blend.shares[first]}
                most = np.inf if place in blend.on_top else 0.0
                yield Requirement("blend", terms, 0.0, most, blend.source)
        least = blend_uses()[blend.name].use_low if blend.name in blend_uses() else None
        if shape.wet and least is not None:
            low = float(least) * blend.shares[first] / 100
            yield Requirement("preservation", {first: 1.0}, low, source=blend.source)
    yield from _preserving(shape, {place for blend in bought for place in blend.places}, target)
    if shape.wet:
        yield from _gels(shape, target)
        yield from _emulsifier(shape)
        yield from _solubiliser(shape)
    yield from _working_levels(shape)


def _preserving(shape: _Shape, in_blend: set[int], target: float | None) -> Iterator[Requirement]:
    """Ask the least usual amount of what is meant to preserve; what stands far below it was carried in."""
    if not shape.wet:
        return
    found = []
    for place, name in enumerate(shape.listed):
        row = preservatives().get(name.key)
        usable = row is not None and not (row.preservative.rinse_off_only and shape.leave_on) and shape.counted[place]
        if row is None or not usable or place in in_blend or shape.rows[place].high < row.preservative.use_low:
            continue
        fits = target is None or row.preservative.ph_low <= target <= row.preservative.ph_high
        found.append((shape.rows[place].estimate / row.preservative.use_low, place, row, fits))
    main = [one for one in found if not one[2].preservative.support and one[3]]
    best = max(main, default=None, key=lambda one: one[0])
    for part, place, row, fits in found:
        if fits and (part >= MEANT_TO_PRESERVE or (best is not None and place == best[1] and not in_blend)):
            source = f"{row.source} ({row.source_status})"
            yield Requirement("preservation", {place: 1.0}, row.preservative.use_low, source=source)


def _gels(shape: _Shape, target: float | None) -> Iterator[Requirement]:
    emulsion = shape.total(OILS) >= LEAST_OIL
    for place, name in enumerate(shape.listed):
        one = thickener_of(name.name) or thickener_of(name.key)
        if one is None or not shape.counted[place]:
            continue
        least = float(one.dose_low_percent) * (IN_EMULSION if emulsion else 1.0)
        several = sum(thickener_of(other.key) is not None for other in shape.listed)
        if several == 1 or shape.rows[place].estimate >= least / 3:
            low, high = least / max(1, several), float(one.dose_high_percent) * 2
            yield Requirement("gel", {place: 1.0}, low, high, f"{one.source} ({one.source_status})", 30.0)


def _emulsifier(shape: _Shape) -> Iterator[Requirement]:
    if shape.total(OILS) < LEAST_OIL:
        return
    terms = dict.fromkeys(shape.places(frozenset({"emulsifier", "solubiliser", "cationic", "surfactant"})), 1.0)
    if terms:
        terms |= dict.fromkeys(shape.places(frozenset({"fatty_alcohol"})), 0.5)
        terms |= dict.fromkeys(shape.places(OILS), -EMULSIFIER_SHARE)
        yield Requirement("emulsifier", terms, 0.0, source="a sixth of the oils (common practice)", weight=20.0)


def _solubiliser(shape: _Shape) -> Iterator[Requirement]:
    scents = shape.places(SCENTS)
    holding = shape.places(frozenset({"solubiliser"}))
    if scents and holding and shape.total(OILS) < LEAST_OIL:
        terms = dict.fromkeys(holding, 1.0) | dict.fromkeys(scents, -SOLUBILISER_SHARE)
        yield Requirement("solubiliser", terms, 0.0, source="three times the perfume (common practice)", weight=20.0)


def _working_levels(shape: _Shape) -> Iterator[Requirement]:
    for place in shape.places(WORKING):
        name = shape.listed[place]
        if name.use_low and shape.rows[place].estimate >= name.use_low / 3 and shape.rows[place].high >= name.use_low:
            yield Requirement(
                "working level", {place: 1.0}, name.use_low, source="use range of the library", weight=5.0
            )


def _target(shape: _Shape) -> tuple[float | None, str, int | None]:
    """Choose the pH that most preservatives, gels and actives of the list work at, nearest to that of the skin.

    Only a pH on the side to which a printed base or acid can move it counts. Returns the pH, what it serves, and the
    place of the base or acid that sets it.
    """
    bases = shape.places(BASES)
    acids = [i for i in shape.places(ACIDS) if shape.rows[i].estimate < LARGEST_ADJUSTER]
    if not shape.wet or shape.soapy or not (bases or acids):
        return None, "", None
    without = [0.0 if i in {*bases, *acids} else row.estimate for i, row in enumerate(shape.rows)]
    natural = ph_of(shape.listed, without, rough=True)
    keeping = [
        (name.name, row.preservative)
        for i, name in enumerate(shape.listed)
        if shape.counted[i] and (row := preservatives().get(name.key)) and not row.preservative.support
    ]
    gels = [(n.name, t) for n in shape.listed if (t := thickener_of(n.key)) and t.needs_neutraliser]
    actives = [*_active_windows(shape)]

    likely = ph_of(shape.listed, [row.estimate for row in shape.rows]) or COMFORTABLE_PH
    aim = min(max(likely, COMFORTABLE_PH - 1), COMFORTABLE_PH + 1)

    def worth(ph: float) -> float:
        kept = sum(3.0 * (p.ph_low <= ph <= p.ph_high) + 0.5 * (ph <= p.ph_high - EDGE) for _, p in keeping)
        thick = sum(3.0 * (t.window.at(ph - EDGE) is GelState.FULL) + 0.5 * _best(t.window, ph) for _, t in gels)
        kind = sum(2.0 * (low <= ph <= high) + 0.5 * (low + EDGE <= ph <= high - EDGE) for _, low, high in actives)
        return kept + thick + kind - 0.4 * abs(ph - aim)

    below = TRIED_PH[natural >= TRIED_PH] if natural is not None and not bases else TRIED_PH
    tried = below[below >= natural] if natural is not None and not acids else below
    if not len(tried):
        return None, "", None
    best = round(float(max(tried, key=worth)), 1)
    served = [n for n, p in keeping if p.ph_low <= best <= p.ph_high]
    served += [n for n, t in gels if t.window.at(best) is GelState.FULL]
    served += [n for n, low, high in actives if low <= best <= high]
    rising = bool(bases) and (natural is None or best >= natural or not acids)
    setting = max(bases if rising else acids, key=lambda i: shape.rows[i].estimate)
    return best, ", ".join(dict.fromkeys(served)), setting


def _active_windows(shape: _Shape) -> Iterator[tuple[str, float, float]]:
    """Yield the actives that are there at a level that works, each with the pH from and to which it keeps."""
    for place, name in enumerate(shape.listed):
        substance = find_substance(name.key)
        if substance is None or substance.group != "actives" or substance.ph_min is None or substance.ph_max is None:
            continue
        if shape.counted[place] and shape.rows[place].estimate >= float(substance.use_low or 0):
            yield name.name, float(substance.ph_min), float(substance.ph_max)


def _best(window: GelWindow, ph: float) -> bool:
    if window.best_from is None or window.best_to is None:
        return False
    return window.best_from <= ph <= window.best_to


def _preservation(shape: _Shape, start: MakeableStart, ph: float | None) -> Preservation | None:
    try:
        return assess_mixture(build_mixture(entries_of(shape.listed, start.percents)).mixture, shape.leave_on, ph)
    except Invalid:
        return None
