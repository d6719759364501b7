"""How good the inference is on compositions that are known, against methods that know less."""

import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from app.science.inference.fit import KnownList, fit_classes
from app.science.inference.infer import infer
from app.science.inference.values import WATER, ClassPrior, Estimate, ListedName

FLOOR = 0.001
ROUNDING = 1e-6
Method = Callable[[Sequence[ListedName]], list[float]]


@dataclass(frozen=True, slots=True)
class Guess:
    """One value with its truth, both % w/w, and what was answered about it."""

    truth: float
    exact: bool
    answer: Estimate


@dataclass(frozen=True, slots=True)
class Score:
    """Mean error in points of percent and in log10 (anything under 0.001 % counts as 0.001 %), over ``values``.

    ``in_bounds`` and ``in_band`` are shares from 0 to 1; ``line_exact`` and ``line_near`` shares of lists whose 1 %
    line was found exactly, or within one name. The last four are None for methods that answer only a number.
    """

    method: str
    values: int
    points: float
    log10: float
    in_bounds: float | None = None
    in_band: float | None = None
    line_exact: float | None = None
    line_near: float | None = None


def log10_error(truth: float, guess: float) -> float:
    """Give the size of log10(guess / truth), both in % w/w and at least 0.001 %."""
    return abs(math.log10(max(guess, FLOOR) / max(truth, FLOOR)))


def leave_one_out(lists: Sequence[KnownList], starts: Mapping[str, ClassPrior]) -> dict[str, Score]:
    """Measure the inference with every list left out of the fit of its own class values.

    Returns:
        The score over all values, over the exact ones (``exact``) and over lists without water (``waterless``).
    """
    guesses, lines = [], []
    for known in lists:
        table = fit_classes((other for other in lists if other is not known), starts)
        answer = infer(known.names, table, thin=known.thin)
        wet = any(name.class_name == WATER for name in known.names)
        rows = zip(known.percents, known.exact, answer.rows, strict=True)
        guesses += [(wet, Guess(*row)) for row in rows]
        lines.append(abs(answer.line_position - known.above_line))
    return {
        "all": _score("this model", [g for _, g in guesses], lines),
        "exact": _score("this model, exact values", [g for _, g in guesses if g.exact]),
        "waterless": _score("this model, lists without water", [g for wet, g in guesses if not wet]),
    }


def _score(method: str, guesses: Sequence[Guess], lines: Sequence[int] = ()) -> Score:
    return Score(
        method,
        len(guesses),
        _mean(abs(g.answer.estimate - g.truth) for g in guesses),
        _mean(log10_error(g.truth, g.answer.estimate) for g in guesses),
        _mean(g.answer.low - ROUNDING <= g.truth <= g.answer.high + ROUNDING for g in guesses),
        _mean(g.answer.band_low <= g.truth <= g.answer.band_high for g in guesses),
        _mean(off == 0 for off in lines) if lines else None,
        _mean(off <= 1 for off in lines) if lines else None,
    )


def _mean(values: Iterable[float]) -> float:
    found = list(values)
    return sum(found) / len(found) if found else math.nan


def naive_scores(lists: Sequence[KnownList]) -> list[Score]:
    """Measure the methods that know only the order, or only the use ranges."""
    return [_naive_score(name, method, lists) for name, method in NAIVE.items()]


def _naive_score(name: str, method: Method, lists: Sequence[KnownList]) -> Score:
    pairs = [p for known in lists for p in zip(known.percents, method(known.names), strict=True)]
    points, log10 = _mean(abs(t - g) for t, g in pairs), _mean(log10_error(t, g) for t, g in pairs)
    return Score(name, len(pairs), points, log10)


def _whole(shares: Sequence[float]) -> list[float]:
    total = sum(shares)
    return [100 * share / total for share in shares]


def equal_steps(names: Sequence[ListedName]) -> list[float]:
    """Give amounts that fall by the same step from name to name, % w/w."""
    return _whole(range(len(names), 0, -1))


def geometric(ratio: float) -> Method:
    """Give the method in which every name is ``ratio`` times the one before."""
    return lambda names: _whole([ratio**place for place in range(len(names))])


def zipf(exponent: float) -> Method:
    """Give the method in which amounts fall with a power of the rank."""
    return lambda names: _whole([(place + 1) ** -exponent for place in range(len(names))])


def middle_of_use(names: Sequence[ListedName]) -> list[float]:
    """Take the geometric middle of every use range (0.5 % without one); water takes the rest, else all are scaled."""
    middles = [_middle(name) for name in names]
    rest = 100 - sum(m for m, name in zip(middles, names, strict=True) if name.class_name != WATER)
    if rest <= 0 or not any(name.class_name == WATER for name in names):
        return _whole(middles)
    return [rest if name.class_name == WATER else m for m, name in zip(middles, names, strict=True)]


def _middle(name: ListedName) -> float:
    if not name.use_high:
        return 0.5
    return math.sqrt((name.use_low or name.use_high / 20) * name.use_high)


def descending_middle_of_use(names: Sequence[ListedName]) -> list[float]:
    """Give the same amounts, none above the one before it."""
    return list(itertools.accumulate(middle_of_use(names), min))


NAIVE: Mapping[str, Method] = {
    "equal steps": equal_steps,
    "geometric, r = 0.30": geometric(0.30),
    "geometric, r = 0.64": geometric(0.64),
    "Zipf, exponent 2.3": zipf(2.3),
    "middle of the use range, water takes the rest": middle_of_use,
    "the same, made to descend": descending_middle_of_use,
}
