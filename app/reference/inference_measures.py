"""What was measured or seen of a product in hand, turned into evidence about its list."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache

import numpy as np

from app.reference.densities import densities
from app.reference.inference_free_of import free_of
from app.reference.inference_prior import class_priors
from app.reference.label_ph import ACIDS, BASES, adjuster_dose, ph_of
from app.reference.tables import read_table
from app.science.inference.below_line import GOES_ON
from app.science.inference.evidence import (
    BoundMeasurement,
    DensityMeasurement,
    LinearMeasurement,
    Measurement,
    RatioMeasurement,
    density_of,
    expected_narrowing,
    narrowing_by_outcome,
)
from app.science.inference.infer import Observed, Worked, infer
from app.science.inference.values import Floats, Known, ListedName

COLUMNS = ["pattern", "class_name", "volatile_share", "ash_share", "density_g_ml", "mark"]


class Observable(StrEnum):
    """What can be measured, smelled, tried or read on the pack."""

    DRYING = "loss on drying"
    DENSITY = "density"
    PH = "pH"
    ASH = "ash"
    SALT = "salt at most"
    PRICE = "price per kg"
    SPF = "SPF"
    SMELLS = "smells of alcohol"
    NO_SMELL = "no smell of alcohol"
    THINS = "salt thins it"
    HOLDS = "salt does not thin it"
    SCATTERED = "tail not in order"
    ALPHABETICAL = "tail in alphabetical order"
    LINE = "at or below 1 % from"
    FREE_OF = "free of"


QUESTIONS: Mapping[Observable, str] = {
    Observable.SALT: "a salt reading",
    Observable.PRICE: "the price per kg",
    Observable.SPF: "the SPF on the pack",
    Observable.SMELLS: "whether it smells of alcohol",
    Observable.THINS: "whether a pinch of salt thins it",
    Observable.SCATTERED: "whether the end of the list descends",
    Observable.LINE: "which names are at or below 1 %",
}
USUAL_ERROR: Mapping[Observable, float] = {
    Observable.DRYING: 1.0,
    Observable.DENSITY: 0.005,
    Observable.PH: 0.2,
    Observable.ASH: 0.3,
    Observable.SALT: 0.3,
}
MODEL_ERROR = {
    Observable.DRYING: 0.5,
    Observable.DENSITY: 0.006,
    Observable.ASH: 0.3,
}  # of the table's shares (from memory)
SMELT_FROM, UNSMELT_TO = 8.0, 3.0  # % of alcohol that is plainly smelled, and that is not (from memory)
LEAST_GEL = 0.12  # % of an acid polymer that makes a body (common practice)
SPF_PER_PERCENT = 4.0  # more protection than this from 1 % of filters is not usual (from memory)
CARRIED_IN = 0.1  # % w/w that other materials may bring of what a pack says it is free of (from memory)
SPF_USUAL, PRICE_USUAL = 2.0, 4.0  # protection from 1 % of filters, and price over cost of materials (from memory)
OUTCOMES = 12
RATIO_ERROR = 0.15
LEAST_NARROWING = 0.005


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: ``value`` in the measure's unit (% w/w, g/mL, pH, SPF, currency per kg), within ``error``.

    ``place`` is the name from which all is at or below 1 %; ``prices`` are those per kg by key, for a price; ``word``
    is what the pack says it is free of.
    """

    measure: Observable
    value: float = 0.0
    error: float | None = None
    place: int = 0
    prices: Mapping[str, float] = field(default_factory=dict)
    word: str = ""

    @property
    def sigma(self) -> float:
        """One standard deviation, the error of the table's shares included."""
        own = USUAL_ERROR.get(self.measure, 1.0) if self.error is None else self.error
        return float(np.hypot(max(own, 1e-4), MODEL_ERROR.get(self.measure, 0.0)))


@dataclass(frozen=True, slots=True)
class Narrowing:
    """What a measurement not made yet would do: narrow the bands by this share on average, 0 to 1."""

    measure: Observable
    share: float

    @property
    def question(self) -> str:
        """What there is to find out, in words."""
        return QUESTIONS.get(self.measure, self.measure.value)


@dataclass(frozen=True, slots=True)
class Physical:
    """Volatile and ash share, 0 to 1, and density in g/mL of a name."""

    volatile: float
    ash: float
    density: float


@cache
def _rows() -> tuple[tuple[re.Pattern[str] | None, str, Physical], ...]:
    found = []
    for row in read_table("inference_measures", COLUMNS):
        values = Physical(float(row["volatile_share"]), float(row["ash_share"]), float(row["density_g_ml"]))
        found.append((re.compile(row["pattern"]) if row["pattern"] else None, row["class_name"], values))
    missing = set(class_priors().classes) - {class_name for _, class_name, _ in found}
    if missing:
        raise ValueError(f"inference_measures.csv: no row for the classes {sorted(missing)}")
    return tuple(found)


@cache
def physical_of(key: str, class_name: str) -> Physical:
    """Return what a name brings to a measurement, by its own row, else by that of its class."""
    rows = _rows()
    own = next((values for shape, _, values in rows if shape is not None and shape.search(key)), None)
    found = own or next(values for _, name, values in rows if name == class_name)
    liquids = [one for one in densities().get(key, ()) if one.strength_percent is None]
    if liquids:
        nearest = min(liquids, key=lambda one: abs(float(one.temperature_c or 20) - 20))
        return Physical(found.volatile, found.ash, float(nearest.g_ml))
    return found


def _physicals(listed: Sequence[ListedName]) -> list[Physical]:
    return [physical_of(name.key, name.class_name) for name in listed]


def observe(
    listed: Sequence[ListedName], known: Mapping[int, Known], readings: Sequence[Reading]
) -> tuple[Observed, dict[int, Known]]:
    """Turn readings into evidence; what a look tells of the 1 % line becomes something known."""
    measured = tuple(one for reading in readings for one in _measurements(listed, known, reading))
    kinds = {reading.measure for reading in readings}
    scattered = kinds & {Observable.SCATTERED, Observable.ALPHABETICAL}
    known_values = dict(known)
    for reading in readings:
        if reading.measure is Observable.LINE and reading.place not in known_values:
            known_values[reading.place] = Known(0.0, 1.0)
    return Observed(measured, 0.02 if scattered else GOES_ON), known_values


def _measurements(listed: Sequence[ListedName], known: Mapping[int, Known], reading: Reading) -> Iterator[Measurement]:
    parts, measure = _physicals(listed), reading.measure
    if measure is Observable.DRYING:
        shares = np.array([part.volatile for part in parts])
        yield LinearMeasurement(measure, shares, reading.value, reading.sigma)
    elif measure is Observable.ASH:
        shares = np.array([part.ash for part in parts])
        yield LinearMeasurement(measure, shares, reading.value, reading.sigma)
    elif measure is Observable.DENSITY:
        yield DensityMeasurement(measure, np.array([p.density for p in parts]), reading.value, reading.sigma)
    elif measure is Observable.PH:
        # The ratio of the base to the acid it neutralises, worked out by the charge balance.
        if any(name.class_name in BASES for name in listed):
            likely = np.array([row.estimate for row in infer(listed, class_priors(), known).rows])
            ratio = _ratio_at(listed, likely, reading)
            yield from () if ratio is None else (ratio,)
    else:
        yield from _bounds(listed, reading)


# What a reading says of the sum of some classes or substances: the lowest and highest % w/w (None: the value read, or
# that value over SPF_PER_PERCENT), and how softly.
SALT_SHY = frozenset({"CARBOMER", "SODIUM CARBOMER", "SODIUM POLYACRYLATE"})
ENDS: Mapping[Observable, tuple[frozenset[str], frozenset[str], float | None, float | None, float]] = {
    Observable.SALT: (frozenset({"salt"}), frozenset(), 0.0, None, 0.3),
    Observable.SPF: (frozenset({"uv_filter"}), frozenset(), None, 100.0, 1.0),
    Observable.SMELLS: (frozenset({"alcohol"}), frozenset(), SMELT_FROM, 100.0, 2.0),
    Observable.NO_SMELL: (frozenset({"alcohol"}), frozenset(), 0.0, UNSMELT_TO, 1.0),
    Observable.THINS: (frozenset(), SALT_SHY, LEAST_GEL, 100.0, 0.04),
    Observable.HOLDS: (frozenset(), SALT_SHY, 0.0, LEAST_GEL, 0.04),
}


def _bounds(listed: Sequence[ListedName], reading: Reading) -> Iterator[BoundMeasurement]:
    measure, value = reading.measure, reading.value
    if measure is Observable.PRICE and reading.prices:
        shares = np.array([reading.prices.get(name.key, 0.0) / 100 for name in listed])
        yield BoundMeasurement(measure, shares, 0.0, value, 0.1 * value)
    if measure is Observable.FREE_OF:
        shares = np.array([float(free_of(reading.word).counts(name)) for name in listed])
        yield BoundMeasurement(f"{measure} {reading.word}", shares, 0.0, CARRIED_IN, CARRIED_IN)
    if measure in ENDS:
        classes, keys, low, high, sigma = ENDS[measure]
        shares = np.array([float(name.class_name in classes or name.key in keys) for name in listed])
        low = value / SPF_PER_PERCENT if low is None else low
        yield BoundMeasurement(measure, shares, low, value if high is None else high, sigma)


def _ratio_at(listed: Sequence[ListedName], percents: Floats, reading: Reading) -> RatioMeasurement | None:
    """Return the ratio a pH tells of, near a composition (% w/w); None where no base faces an acid."""
    bases = [i for i, name in enumerate(listed) if name.class_name in BASES]
    acids = [i for i, name in enumerate(listed) if name.class_name in ACIDS or name.key in SALT_SHY]
    if not bases or not acids:
        return None
    base, acid = max(bases, key=lambda i: percents[i]), max(acids, key=lambda i: percents[i])
    amounts = [float(percent) for percent in percents]
    doses = [adjuster_dose(listed, amounts, base, reading.value + step) for step in (-0.1, 0.0, 0.1)]
    if any(not dose for dose in doses):
        return None
    low, middle, high = (float(dose or 1.0) for dose in doses)
    slope = abs(np.log(high / low)) / 0.2
    sigma = float(np.hypot(RATIO_ERROR, slope * reading.sigma))
    return RatioMeasurement(Observable.PH, base, acid, middle / amounts[acid], sigma)


def expected_narrowings(
    listed: Sequence[ListedName],
    worked: Worked,
    readings: Iterable[Reading],
    prices: Mapping[str, float] | None = None,
) -> tuple[Narrowing, ...]:
    """Return what each measurement or look not made yet would narrow, the most telling first.

    ``prices`` are those per kg by key, as far as they are known; without them a price tells nothing.
    """
    if not len(worked.draws):
        return ()
    chosen = np.searchsorted(np.cumsum(worked.weight), (np.arange(len(worked.draws)) + 0.5) / len(worked.draws))
    draws = worked.draws[chosen.clip(max=len(worked.draws) - 1)]
    made = {same for reading in readings for same in SAME.get(reading.measure, (reading.measure,))}
    found = [
        Narrowing(measure, expected_narrowing(draws, predicted, sigma))
        for measure, predicted, sigma in _predicted(listed, draws)
        if measure not in made
    ]
    found += [
        Narrowing(measure, narrowing_by_outcome(draws, outcomes))
        for measure, outcomes in _outcomes(listed, draws, prices or {})
        if measure not in made
    ]
    return tuple(sorted((n for n in found if n.share >= LEAST_NARROWING), key=lambda n: -n.share))


# Readings that answer the same question: one of them made, the question is not asked again.
SAME: Mapping[Observable, tuple[Observable, ...]] = {
    Observable.NO_SMELL: (Observable.SMELLS,),
    Observable.HOLDS: (Observable.THINS,),
    Observable.ALPHABETICAL: (Observable.SCATTERED,),
}


def _predicted(listed: Sequence[ListedName], draws: Floats) -> Iterator[tuple[Observable, Floats, float]]:
    """Yield what each composition would read, and the error of the reading."""
    parts = _physicals(listed)
    yield Observable.DRYING, draws @ np.array([part.volatile for part in parts]), Reading(Observable.DRYING).sigma
    yield Observable.ASH, draws @ np.array([part.ash for part in parts]), Reading(Observable.ASH).sigma
    yield (
        Observable.DENSITY,
        density_of(draws, np.array([part.density for part in parts])),
        Reading(Observable.DENSITY).sigma,
    )
    middle = np.exp(np.log(np.maximum(draws, 1e-6)).mean(axis=0))
    natural = ph_of(listed, [float(x) for x in 100 * middle / middle.sum()])
    ratio = _ratio_at(listed, middle, Reading(Observable.PH, natural or 0.0)) if natural is not None else None
    if ratio is not None:
        top, bottom = (np.maximum(draws[:, place], 1e-9) for place in (ratio.top, ratio.bottom))
        yield Observable.PH, np.log(top / bottom), ratio.sigma


def _outcomes(
    listed: Sequence[ListedName], draws: Floats, prices: Mapping[str, float]
) -> Iterator[tuple[Observable, Floats]]:
    """Yield the likelihood of every outcome of what is smelled, tried, seen or read; shape (outcomes, draws)."""
    for yes, no in ((Observable.SMELLS, Observable.NO_SMELL), (Observable.THINS, Observable.HOLDS)):
        either = [next(_bounds(listed, Reading(measure))) for measure in (yes, no)]
        if either[0].coefficients.any():
            likely = np.exp([one.log_likelihood(draws) for one in either])
            yield yes, likely / likely.sum(axis=0)
    chain = draws[:, [place for place, name in enumerate(listed) if not name.colour]]
    above = (chain >= 1).sum(axis=1)
    yield Observable.LINE, np.array([above == count for count in np.unique(above)], dtype=np.float64)
    falling = (np.diff(chain, axis=1) <= 1e-9 + 0.05 * chain[:, :-1]).all(axis=1)
    yield Observable.SCATTERED, np.array([falling, ~falling], dtype=np.float64)
    for measure, factor in ((Observable.SALT, 1.0), (Observable.SPF, SPF_USUAL), (Observable.PRICE, PRICE_USUAL)):
        found = list(_bounds(listed, Reading(measure, prices=prices)))
        if found and found[0].coefficients.any():
            read = factor * np.quantile(draws @ found[0].coefficients, (np.arange(OUTCOMES) + 0.5) / OUTCOMES)
            readings = (Reading(measure, float(value), prices=prices) for value in read)
            yield measure, np.exp([next(_bounds(listed, one)).log_likelihood(draws) for one in readings])
