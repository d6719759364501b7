"""What a composition must meet to be made and kept, from the shipped tables, and the start that meets it.

Preservation, gels and pH follow the same tables as the checks of a formula; the shares of emulsifier and solubiliser
are common practice.
"""

import itertools
import math
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

import numpy as np

from app.reference.blends import Blend, blend_uses, blends
from app.reference.inference_caps import usual_exposure
from app.reference.label_blends import telling_parts
from app.reference.label_ph import BASES, adjuster_dose, entries_of, ph_of
from app.reference.label_shape import ALKALINE_KINDS, ListShape
from app.reference.label_start_law import lawful_shares
from app.reference.label_target_ph import EDGE, target_ph
from app.reference.label_targets import targets_from
from app.reference.mixtures import build_mixture
from app.reference.preservatives import assess_mixture, preservatives
from app.reference.product_kinds import propose_kind, words_for
from app.reference.thickeners import thickener_of
from app.science.composition import DosedMaterial, Part
from app.science.errors import Invalid
from app.science.inference.cover import Target
from app.science.inference.makeable import MakeableStart, Requirement, makeable_start, rounded_down, weighable
from app.science.inference.phases import is_oily_filter
from app.science.inference.values import Estimate, Inference, Integers, ListedName
from app.science.names import inci_key
from app.science.preservation import Preservation
from app.science.rules.values import Exposure

OILS = frozenset({"oil", "ester", "hydrocarbon", "silicone", "wax"})
FILTERS = frozenset({"uv_filter"})
SCENTS = frozenset({"perfume", "essential_oil"})
FATTY = "fatty_alcohol"
BASE_CLASSES = frozenset({"emulsifier", "surfactant", "surfactant_co", "cationic", "hydrocarbon", FATTY})
BLEND_WEIGHT = 60.0
LIKELY, ODDS = 0.5, 2.0  # names that are sold as one blend are more often bought so than alone (common practice)
ALONE = 0.33  # density of the ln of the ratio of two names bought each by itself, spread 1.2 (from the fitted classes)
WORKING = frozenset({"chelator", "antioxidant"})
EMULSIFIER_SHARE, LEAST_OIL = 0.15, 5.0  # an emulsifier of about a sixth of its oils (common practice)
SOLUBILISER_SHARE = 3.0  # solubiliser over perfume or essential oil (common practice)
MEANT_TO_PRESERVE = 0.2  # estimates below this part of the least usual amount are taken as carried in
IN_EMULSION = 0.3  # a gum stabilises an emulsion at about a third of the dose of a gel (common practice)
ROUNDS = 3
LAW_ROUNDS = 4  # what gives way for one maximum may run into the next
BY_LAW = 5000.0  # price of missing a legal maximum: nothing else is worth it
# What a preservative is dissolved in or kept stable with is seldom printed (common practice).
CARRIERS = frozenset({"AQUA", "MAGNESIUM NITRATE", "MAGNESIUM CHLORIDE"})
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

    ``targets`` are the same percentages as materials are chosen for them; ``freed`` are places that the law keeps
    under 1 % though the list prints them higher, so that they follow no order.
    """

    start: MakeableStart
    blends: tuple[BoughtBlend, ...]
    ph: ProposedPh
    preservation: Preservation | None
    requirements: tuple[Requirement, ...] = ()
    targets: tuple[Target, ...] = ()
    freed: frozenset[int] = frozenset()

    @property
    def percents(self) -> tuple[float, ...]:
        """The composition, % w/w by place."""
        return self.start.percents


def start_from_label(
    listed: Sequence[ListedName],
    inference: Inference,
    counted: Sequence[bool],
    product_type: str = "",
    jurisdiction: str = "EU",
    on: date | None = None,
) -> LabelStart | None:
    """Find what to start from: nearest to what is likely, and lawful, preserved, thickened, emulsified and at its pH.

    The law is that of a jurisdiction (``EU`` or ``US``) on a day, without one the newest of the tables.

    Returns:
        None where the bounds leave no composition that adds up.
    """
    most: dict[int, float] = {}
    begun = _start(listed, inference, counted, product_type, most)
    for _ in range(LAW_ROUNDS):
        shares = {} if begun is None else _lawful_shares(listed, begun.percents, (product_type, jurisdiction, on))
        if begun is None or not shares:
            break
        most |= {place: rounded_down(begun.percents[place] * share) for place, share in shares.items()}
        begun = _start(listed, inference, counted, product_type, most)
    return begun


def _lawful_shares(
    listed: Sequence[ListedName], percents: Sequence[float], law: tuple[str, str, date | None]
) -> Mapping[int, float]:
    """Return for each place over a legal maximum the part of it that the maximum leaves (0..1)."""
    dosed = (
        DosedMaterial(str(place), Decimal(str(round(percent, 6))), (Part(listed[place].key, Decimal(100)),))
        for place, percent in enumerate(percents)
        if percent > 1e-6
    )
    return {int(name): share for name, share in lawful_shares(dosed, *law).items()}


def _start(
    listed: Sequence[ListedName],
    inference: Inference,
    counted: Sequence[bool],
    product_type: str,
    most: Mapping[int, float],
) -> LabelStart | None:
    """Find the start with no more of some places than the law allows, % w/w.

    What has to be under 1 % by law, though the list prints it higher, leaves the order of the others alone.
    """
    rows = [_lowered(row, most.get(place, np.inf)) for place, row in enumerate(inference.rows)]
    freed = frozenset(place for place, cap in most.items() if cap < 1)
    chain, line = _chain_and_line(listed, inference.line_probability, freed)
    words = words_for(propose_kind(product_type))
    leave_on = usual_exposure(product_type) is Exposure.LEAVE_ON
    shape = ListShape(listed, rows, tuple(counted), leave_on, bool(words & ALKALINE_KINDS))
    bought = tuple(_bought_blends(shape))
    target, reason, adjuster = target_ph(shape)
    solvable = ph_of(shape.listed, [row.estimate for row in shape.rows]) is not None
    by_law = [Requirement("law", {place: 1.0}, high=cap, weight=BY_LAW) for place, cap in most.items()]
    likely = [replace(row, low=min(row.low, most.get(place, np.inf))) for place, row in enumerate(inference.rows)]
    needs = [*by_law, *_requirements(shape, bought, target)]

    def nearest(requirements: Sequence[Requirement]) -> MakeableStart:
        solved = {place for one in requirements if one.rule == "pH" for place in one.terms}
        return makeable_start(likely, chain, line, requirements, counted, solved)

    try:
        start = nearest(needs)
        kept = tuple(blend for blend in bought if not _missed(blend, start.unmet))
        if kept != bought:  # bought alone, then
            bought, needs = kept, [*by_law, *_requirements(shape, kept, target)]
            start = nearest(needs)
        if target is not None and adjuster is not None and solvable:
            start = _at_its_ph(nearest, start, needs, (listed, adjuster, target))
    except ValueError:
        return None
    bought = tuple(blend for blend in bought if not _missed(blend, start.unmet))
    dosed = (adjuster, target) if solvable and adjuster is not None and target is not None else None
    percents = _as_weighed(listed, start, (needs, adjuster, bought), chain, dosed)
    reached = ph_of(shape.listed, percents)
    missed = target is not None and reached is not None and abs(reached - target) > EDGE
    unmet = (*start.unmet, Requirement("pH", {})) if missed else start.unmet
    start = replace(start, percents=percents, unmet=unmet)
    ph = ProposedPh(target, reached, adjuster, reason)
    close = {place for requirement in needs for place in requirement.terms}
    targets = targets_from(listed, rows, counted, percents, close, adjuster)
    return LabelStart(start, bought, ph, _preservation(shape, start, reached), tuple(needs), targets, freed)


def _chain_and_line(
    listed: Sequence[ListedName], line_probability: Sequence[float], freed: Container[int]
) -> tuple[Integers, list[float]]:
    """Return the places that descend, and the probability of every number of them above the 1 % line."""
    whole = [i for i, name in enumerate(listed) if not name.colour]
    chain = np.array([i for i in whole if i not in freed], dtype=np.int64)
    line = [0.0] * (len(chain) + 1)
    for above, share in enumerate(line_probability):
        line[sum(place not in freed for place in whole[:above])] += share
    return chain, line


def _as_weighed(
    listed: Sequence[ListedName],
    start: MakeableStart,
    setting: tuple[Sequence[Requirement], int | None, Sequence[BoughtBlend]],
    chain: Integers,
    dosed: tuple[int, float] | None,
) -> tuple[float, ...]:
    """Round a start without changing its order, and work out what sets the pH once more for the rounded rest.

    ``dosed`` is the place of what sets the pH with the pH to reach, None where the pH is not solved.
    """
    ordered = chain[: start.above_line]
    percents = _weighable(start.percents, *setting)
    if not _descends(percents, ordered):
        percents = _weighable(start.percents, *setting, three_figures)
    if dosed is None:
        return percents
    adjuster, target = dosed
    amount = adjuster_dose(listed, percents, adjuster, target)
    if amount is None or abs(amount - percents[adjuster]) > AS_BEFORE * amount:
        return percents
    refined = [amount if place == adjuster else percent for place, percent in enumerate(percents)]
    better = _weighable(refined, *setting)
    return better if _descends(better, ordered) else percents


def _lowered(row: Estimate, most: float) -> Estimate:
    """Return an answer that knows of a maximum, % w/w."""
    return replace(
        row,
        low=min(row.low, most),
        high=min(row.high, most),
        band_low=min(row.band_low, most),
        estimate=min(row.estimate, most),
        band_high=min(row.band_high, most),
    )


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
    """Round to figures as one weighs them, never below a least amount nor above a legal maximum.

    The largest that has no maximum takes what is left to 100.

    The parts of a blend follow its largest part.
    """
    needs = list(needs)
    least = {place: r.low for r in needs if len(r.terms) == 1 for place in r.terms if np.isfinite(r.low)}
    most = {place: r.high for r in needs if r.rule == "law" for place in r.terms}
    largest = max(range(len(percents)), key=lambda place: (place not in most, percents[place]))
    rounded = []
    for place, percent in enumerate(percents):
        value = float(f"{percent:.2g}") if place == adjuster else figures(percent)
        low = least.get(place, 0.0)
        value = min(low, percent) if value < low <= percent + 1e-6 else value
        rounded.append(min(value, most.get(place, np.inf)))
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
        if amount is None and _moves_away(listed, start.percents, adjuster, target):
            amount = 0.0
        if amount is None or abs(amount - start.percents[adjuster]) < 0.005 * max(amount, 1e-4):
            break
        pinned = Requirement("pH", {adjuster: 1.0}, amount, amount, "charge balance of the shipped tables", 200.0)
        start = nearest([*needs, pinned])
    return start


def _moves_away(listed: Sequence[ListedName], percents: Sequence[float], adjuster: int, target: float) -> bool:
    """Return whether any of a base or acid would only move the pH further from the target."""
    without = ph_of(listed, [0.0 if i == adjuster else p for i, p in enumerate(percents)], rough=True)
    return without is not None and (without > target) == (listed[adjuster].class_name in BASES)


def _missed(blend: BoughtBlend, unmet: Iterable[Requirement]) -> bool:
    return any(one.rule == "blend" and set(one.terms) <= set(blend.places) for one in unmet)


def _bought_blends(shape: ListShape) -> Iterator[BoughtBlend]:
    """Find blends whose parts all stand in the list: preservatives where the bands allow the ratio, emulsifiers and
    detergents where the ratio is likelier than two names bought alone would make it.
    """
    places = {name.key: i for i, name in enumerate(shape.listed) if shape.counted[i]}
    taken: set[int] = set()
    for name, blend in sorted(blends().items(), key=lambda pair: -len(pair[1].parts)):
        parts = {
            inci_key(part.inci): float(part.percent) for part in blend.parts if inci_key(part.inci) not in CARRIERS
        }
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


def _base_blend(shape: ListShape, name: str, places: Mapping[str, int]) -> tuple[float, BoughtBlend] | None:
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


def _ratio_fits(shape: ListShape, shares: Mapping[int, float]) -> bool:
    """Return whether some dose of the blend puts every part inside its band, or near it by half."""
    low = max(shape.rows[i].band_low / 1.5 / share for i, share in shares.items())
    high = min(min(shape.rows[i].band_high * 1.5, shape.rows[i].high) / share for i, share in shares.items())
    return low <= high


def _requirements(shape: ListShape, bought: Sequence[BoughtBlend], target: float | None) -> Iterator[Requirement]:
    for blend in bought:
        first = blend.lead
        for place, share in blend.shares.items():
            if place != first:
                terms = {place: 1.0, first: -share / blend.shares[first]}
                most = np.inf if place in blend.on_top else 0.0
                weight = BLEND_WEIGHT * max(1.0, 0.1 / max(shape.rows[first].estimate, 1e-5))  # also of traces
                yield Requirement("blend", terms, 0.0, most, blend.source, weight)
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


def _preserving(shape: ListShape, in_blend: set[int], target: float | None) -> Iterator[Requirement]:
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


def _gels(shape: ListShape, target: float | None) -> Iterator[Requirement]:
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


def _emulsifier(shape: ListShape) -> Iterator[Requirement]:
    if shape.total(OILS) < LEAST_OIL:
        return
    terms = dict.fromkeys(shape.places(frozenset({"emulsifier", "solubiliser", "cationic", "surfactant"})), 1.0)
    if terms:
        terms |= dict.fromkeys(shape.places(frozenset({"fatty_alcohol"})), 0.5)
        terms |= dict.fromkeys(shape.places(OILS), -EMULSIFIER_SHARE)
        terms |= {i: -EMULSIFIER_SHARE for i in shape.places(FILTERS) if is_oily_filter(shape.listed[i].key)}
        yield Requirement("emulsifier", terms, 0.0, source="a sixth of the oils (common practice)", weight=20.0)


def _solubiliser(shape: ListShape) -> Iterator[Requirement]:
    scents = shape.places(SCENTS)
    holding = shape.places(frozenset({"solubiliser"}))
    if scents and holding and shape.total(OILS) < LEAST_OIL:
        terms = dict.fromkeys(holding, 1.0) | dict.fromkeys(scents, -SOLUBILISER_SHARE)
        yield Requirement("solubiliser", terms, 0.0, source="three times the perfume (common practice)", weight=20.0)


def _working_levels(shape: ListShape) -> Iterator[Requirement]:
    for place in shape.places(WORKING):
        name = shape.listed[place]
        if name.use_low and shape.rows[place].estimate >= name.use_low / 3 and shape.rows[place].high >= name.use_low:
            yield Requirement(
                "working level", {place: 1.0}, name.use_low, source="use range of the library", weight=5.0
            )


def _preservation(shape: ListShape, start: MakeableStart, ph: float | None) -> Preservation | None:
    try:
        return assess_mixture(build_mixture(entries_of(shape.listed, start.percents)).mixture, shape.leave_on, ph)
    except Invalid:
        return None
