"""How good the inference is on known compositions left out of its fit, against methods that know less."""

import itertools
import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from app.science.inference.fit import KnownList, fit_priors
from app.science.inference.infer import infer
from app.science.inference.values import WATER, ClassPrior, Estimate, Inference, ListedName, PriorTable

FLOOR = 0.001
ROUNDING = 1e-6
FOLDS = 12
PRESERVING = frozenset({"preservative", "paraben", "booster"})
LEAST_PRESERVING, SMALL = 0.1, 0.1
NO_RANGE, WIDE_RANGE = 0.5, 20  # % w/w where no use range is known; a range without a lower end spans this factor
Method = Callable[[Sequence[ListedName]], list[float]]
Answer = Callable[[KnownList, PriorTable], Inference]


@dataclass(frozen=True, slots=True)
class Guess:
    """One value with its truth, both % w/w, and what was answered about it."""

    truth: float
    exact: bool
    answer: Estimate
    class_name: str


@dataclass(frozen=True, slots=True)
class Left:
    """A list that was left out of the fit, with the answer: one guess a name, and by how many names the line is off."""

    known: KnownList
    guesses: tuple[Guess, ...]
    line_off: int


@dataclass(frozen=True, slots=True)
class Score:
    """Mean error in points of percent and in log10 (anything under 0.001 % counts as 0.001 %), over ``values``.

    ``in_bounds`` and ``in_band`` are shares from 0 to 1; None for methods that answer only a number.
    """

    method: str
    values: int
    points: float
    log10: float
    in_bounds: float | None = None
    in_band: float | None = None
    lists: int = 0


@dataclass(frozen=True, slots=True)
class SmallNames:
    """How preserving and small names fare.

    ``preserving`` is the median of estimate / truth where the truth is at least 0.1 %; the factors are medians of
    the larger over the smaller, of names estimated under 0.1 % and of names truly under 0.1 %.
    """

    preserving: float
    estimated_small: float
    truly_small: float


def log10_error(truth: float, guess: float) -> float:
    """Return the size of log10(guess / truth), both in % w/w and at least 0.001 %."""
    return abs(math.log10(max(guess, FLOOR) / max(truth, FLOOR)))


def plain_answer(known: KnownList, table: PriorTable) -> Inference:
    """Return the inference from the printed list and its kind of product alone."""
    return infer(known.names, table, kind=known.kind)


def family(known: KnownList) -> Hashable:
    """Return what keeps a list with others of the same document or with half its names."""
    return known.family


def publisher(known: KnownList) -> Hashable:
    """Return what keeps a list with all others of the same site or book."""
    return known.publisher


def folds(
    lists: Sequence[KnownList], count: int = FOLDS, together: Callable[[KnownList], Hashable] = family
) -> list[list[KnownList]]:
    """Part the lists into folds of about the same size; lists that belong together are never parted."""
    families: dict[Hashable, list[KnownList]] = {}
    for known in lists:
        families.setdefault(together(known), []).append(known)
    parts: list[list[KnownList]] = [[] for _ in range(count)]
    for kept in sorted(families.values(), key=len, reverse=True):
        min(parts, key=len).extend(kept)
    return parts


def left_out(
    lists: Sequence[KnownList],
    starts: Mapping[str, ClassPrior],
    kind_starts: Mapping[tuple[str, str], float],
    answers: Sequence[Answer] = (plain_answer,),
    only: Iterable[int] = range(FOLDS),
    together: Callable[[KnownList], Hashable] = family,
) -> list[list[Left]]:
    """Answer every list with a table fitted without its fold; one result for each way of answering.

    Args:
        lists: compositions with known percentages.
        starts: starting values by class.
        kind_starts: starting shifts by (kind, class).
        answers: ways to answer, such as without and with a measurement.
        only: the numbers of the folds to answer, to save time.
        together: what keeps lists in one fold.
    """
    parts = folds(lists, together=together)
    found: list[list[Left]] = [[] for _ in answers]
    for number in only:
        others = [known for place, part in enumerate(parts) if place != number for known in part]
        table = fit_priors(others, starts, kind_starts)
        for known in parts[number]:
            for place, answer in enumerate(answers):
                found[place].append(_left(known, answer(known, table)))
    return found


def answered(lists: Iterable[KnownList], table: PriorTable, answer: Answer = plain_answer) -> list[Left]:
    """Answer lists that took no part in the fit of a table."""
    return [_left(known, answer(known, table)) for known in lists]


def _left(known: KnownList, answer: Inference) -> Left:
    rows = zip(known.percents, known.exact, answer.rows, (n.class_name for n in known.names), strict=True)
    return Left(known, tuple(Guess(*row) for row in rows), abs(answer.line_position - known.above_line))


def score(method: str, found: Iterable[Left], keep: Callable[[Left, Guess], bool] = lambda _l, _g: True) -> Score:
    """Score the guesses that ``keep`` keeps."""
    kept = [(left, guess) for left in found for guess in left.guesses if keep(left, guess)]
    guesses = [guess for _, guess in kept]
    return Score(
        method,
        len(guesses),
        _mean(abs(g.answer.estimate - g.truth) for g in guesses),
        _mean(log10_error(g.truth, g.answer.estimate) for g in guesses),
        _mean(g.answer.low - ROUNDING <= g.truth <= g.answer.high + ROUNDING for g in guesses),
        _mean(g.answer.band_low - ROUNDING <= g.truth <= g.answer.band_high + ROUNDING for g in guesses),
        len({left.known.id for left, _ in kept}),
    )


def waterless(left: Left, _guess: Guess) -> bool:
    """Return whether a list has no water."""
    return all(name.class_name != WATER for name in left.known.names)


def kind_scores(found: Sequence[Left]) -> list[Score]:
    """Score every kind of product by itself, the kind with most lists first."""
    kinds = dict.fromkeys(left.known.kind for left in found)
    scores = [score(kind or "kind not told", [left for left in found if left.known.kind == kind]) for kind in kinds]
    return sorted(scores, key=lambda one: (-one.lists, one.method))


def small_names(found: Sequence[Left]) -> SmallNames:
    """Measure preserving and small names."""
    guesses = [guess for left in found for guess in left.guesses]

    def factor(some: Iterable[Guess]) -> float:
        return 10 ** median(log10_error(g.truth, g.answer.estimate) for g in some)

    return SmallNames(
        median(
            g.answer.estimate / g.truth for g in guesses if g.class_name in PRESERVING and g.truth >= LEAST_PRESERVING
        ),
        factor(g for g in guesses if g.answer.estimate < SMALL),
        factor(g for g in guesses if g.truth < SMALL),
    )


def line_shares(found: Sequence[Left]) -> tuple[float, float]:
    """Return the share of lists whose 1 % line was found exactly, and within one name."""
    return _mean(left.line_off == 0 for left in found), _mean(left.line_off <= 1 for left in found)


def _mean(values: Iterable[float]) -> float:
    found = list(values)
    return sum(found) / len(found) if found else math.nan


def naive_scores(lists: Sequence[KnownList]) -> list[Score]:
    """Measure the methods that know only the order, or only the use ranges; their constants are the best for these."""
    best = [
        min((_naive_score(f"{name}, {value:g}", make(value), lists) for value in values), key=lambda s: s.log10)
        for name, make, values in (
            ("geometric, ratio", geometric, [0.3 + 0.02 * i for i in range(25)]),
            ("Zipf, exponent", zipf, [1.5 + 0.1 * i for i in range(16)]),
        )
    ]
    return [*best, *(_naive_score(name, method, lists) for name, method in NAIVE.items())]


def _naive_score(name: str, method: Method, lists: Sequence[KnownList]) -> Score:
    pairs = [p for known in lists for p in zip(known.percents, method(known.names), strict=True)]
    points, log10 = _mean(abs(t - g) for t, g in pairs), _mean(log10_error(t, g) for t, g in pairs)
    return Score(name, len(pairs), points, log10)


def _whole(shares: Sequence[float]) -> list[float]:
    total = sum(shares)
    return [100 * share / total for share in shares]


def equal_steps(names: Sequence[ListedName]) -> list[float]:
    """Return amounts that fall by the same step from name to name, % w/w."""
    return _whole(range(len(names), 0, -1))


def geometric(ratio: float) -> Method:
    """Return the method in which every name is ``ratio`` times the one before."""
    return lambda names: _whole([ratio**place for place in range(len(names))])


def zipf(exponent: float) -> Method:
    """Return the method in which amounts fall with a power of the rank."""
    return lambda names: _whole([(place + 1) ** -exponent for place in range(len(names))])


def middle_of_use(names: Sequence[ListedName]) -> list[float]:
    """Take the geometric middle of every use range (0.5 % without one); water takes the rest, else all are scaled."""
    middles = [
        math.sqrt((name.use_low or name.use_high / WIDE_RANGE) * name.use_high) if name.use_high else NO_RANGE
        for name in names
    ]
    rest = 100 - sum(m for m, name in zip(middles, names, strict=True) if name.class_name != WATER)
    if rest <= 0 or not any(name.class_name == WATER for name in names):
        return _whole(middles)
    return [rest if name.class_name == WATER else m for m, name in zip(middles, names, strict=True)]


def descending_middle_of_use(names: Sequence[ListedName]) -> list[float]:
    """Return the same amounts, none above the one before it."""
    return list(itertools.accumulate(middle_of_use(names), min))


NAIVE: Mapping[str, Method] = {
    "equal steps": equal_steps,
    "middle of the use range, water takes the rest": middle_of_use,
    "the same, made to descend": descending_middle_of_use,
}
