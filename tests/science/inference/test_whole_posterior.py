"""A list with all that the model knows, against compositions drawn at random and weighed by the model written anew.

Water and bulk names that are richer together, a name with a legal maximum, a reading laid on one name, a colour that
stands where it likes, and a block below the 1 % line that goes on descending more often than not.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.special import beta, ndtr

from app.science.inference.draws import draw_compositions
from app.science.inference.posterior import Belief, ListConstraints, Tilt, believe
from app.science.inference.prior import Nodes, UsagePrior
from app.science.inference.summary import quantiles

NODES = Nodes(np.array([-0.4, 0.5]), np.array([0.3, 0.7]))
# Water, two oils that are richer together, a gum of at most 3 %, two traces, and a colour outside the order.
USUAL = UsagePrior(
    np.log([50.0, 12.0, 6.0, 1.2, 0.3, 0.2, 1.5]),
    np.array([1.0, 0.7, 0.8, 0.6, 0.7, 0.9, 0.8]),
    np.array([False, True, True, False, False, False, False]),
    np.array([True, False, False, False, False, False, False]),
)
CAP, READ, GOES_ON = 3.0, Tilt(8.0, 1.5), 0.8
LIST = ListConstraints(
    np.zeros(7), np.array([100.0, 100.0, 100.0, CAP, 100.0, 100.0, 100.0]), np.arange(6), np.ones(7, dtype=bool),
    np.ones(7, dtype=bool), GOES_ON, {2: READ},
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Drawn:
    """Compositions with their weights, and whether the names below the line went on descending."""

    percents: np.ndarray
    weight: np.ndarray

    def quantiles(self, name: int) -> list[float]:
        order = np.argsort(self.percents[:, name])
        summed = np.cumsum(self.weight[order])
        return [float(self.percents[order, name][np.searchsorted(summed, q)]) for q in (0.1, 0.5, 0.9)]

    def mean(self, values: np.ndarray) -> float:
        return float(self.weight @ values)


def order_weight(chain: np.ndarray) -> np.ndarray:
    """The chance of the printed order: w descending below the line, the rest any of (m - k)! orders."""
    above = (chain >= 1).sum(axis=1)
    weight = np.zeros(len(chain))
    for k in range(chain.shape[1] + 1):
        head, block = chain[:, :k], chain[:, k:]
        lawful = (above == k) & (head >= 1).all(axis=1) & (np.diff(head, axis=1) <= 0).all(axis=1)
        descends = (np.diff(block, axis=1) <= 0).all(axis=1)
        weight += lawful * (GOES_ON * descends + (1 - GOES_ON) / math.factorial(block.shape[1]))
    return weight


@pytest.fixture(scope="module")
def drawn() -> Drawn:
    rng = np.random.default_rng(11)
    size = 400_000
    shift = np.where(rng.random(size) < NODES.weights[0], *NODES.shifts)[:, None] * USUAL.bulk[None, 1:]
    width = np.where(rng.random((size, 6)) < 0.85, 1.0, 2.3) * USUAL.sigma[1:]
    rest = np.exp(USUAL.mu[1:] + shift + width * rng.standard_normal((size, 6)))
    percents = np.column_stack((100 - rest.sum(axis=1), rest))[rest.sum(axis=1) < 99]
    # The water alone is likely at 0 and at 100 % and less so between: a beta distribution.
    water = percents[:, 0] / 100
    weight = (
        order_weight(percents[:, :6]) * water**-0.3 * (1 - water) ** -0.3 / beta(0.7, 0.7) * (percents[:, 3] <= CAP)
    )
    weight *= np.exp(-0.5 * ((percents[:, 2] - 8.0) / 1.5) ** 2)
    kept = weight > 0
    return Drawn(percents[kept], weight[kept] / weight.sum())


@pytest.fixture(scope="module")
def belief() -> Belief:
    found = believe(USUAL, NODES, LIST)
    assert found is not None
    return found


def test_every_quantile_and_the_line_agree_with_weighted_draws(belief: Belief, drawn: Drawn) -> None:
    found = quantiles(belief.masses, belief.edges)
    expected = np.array([drawn.quantiles(name) for name in range(7)])
    assert np.abs(np.log10(found / expected)).max() < 0.012
    assert belief.masses.sum(axis=1) == pytest.approx(np.ones(7))
    above = (drawn.percents[:, :6] >= 1).sum(axis=1)
    assert belief.line == pytest.approx([drawn.mean(above == k) for k in range(7)], abs=0.004)


def test_drawn_compositions_are_the_belief_again(belief: Belief, drawn: Drawn) -> None:
    draws = draw_compositions(belief.source, 4000)
    assert draws.sum(axis=1) == pytest.approx(np.full(4000, 100.0))
    found = np.quantile(draws, (0.1, 0.5, 0.9), axis=0).T
    expected = np.array([drawn.quantiles(name) for name in range(7)])
    assert np.abs(np.log10(found / expected)).max() < 0.05
    assert draws[:, 3].max() < CAP * 1.05  # a cell is 4 % wide
    logs, weighed = np.log(draws), np.log(drawn.percents)
    middle = drawn.weight @ weighed
    covariance = (weighed - middle).T @ ((weighed - middle) * drawn.weight[:, None])
    spread = np.sqrt(np.diag(covariance))
    assert np.corrcoef(logs.T) == pytest.approx(covariance / np.outer(spread, spread), abs=0.06)


def test_drawn_compositions_descend_as_often_as_the_printed_order_lets_them(belief: Belief, drawn: Drawn) -> None:
    draws = draw_compositions(belief.source, 4000)

    def in_order(percents: np.ndarray, first: int) -> np.ndarray:
        return percents[:, first] >= percents[:, first + 1]

    for first in range(5):
        both_above = (draws[:, first] > 1.05) & (draws[:, first + 1] > 1.05)
        assert in_order(draws[both_above], first).mean() > (0.99 if first == 0 else 0.9999)  # water takes the rest
    assert in_order(draws, 4).mean() == pytest.approx(drawn.mean(in_order(drawn.percents, 4)), abs=0.03)


def test_two_names_below_the_line_share_their_order_as_the_formula_says() -> None:
    """By hand: alike below 1 %, b after a descends in half of all pairs, so (w / 2) / (w / 2 + (1 - w) / 2) went on."""
    usual = UsagePrior(np.log([99.0, 0.05, 0.05]), np.array([1.0, 0.5, 0.5]), np.zeros(3, bool), np.zeros(3, bool))
    whole = ListConstraints(np.zeros(3), np.full(3, 100.0), np.arange(3), np.ones(3, bool), np.ones(4, bool), GOES_ON)
    found = believe(usual, Nodes(np.zeros(1), np.ones(1)), whole)
    assert found is not None
    draws = draw_compositions(found.source, 6000)
    assert (draws[:, 1] >= draws[:, 2]).mean() == pytest.approx(GOES_ON + (1 - GOES_ON) / 2, abs=0.02)
    alone = believe(usual, Nodes(np.zeros(1), np.ones(1)), replace(whole, goes_on=0.0))
    assert alone is not None
    below = quantiles(alone.masses, alone.edges)[1:, 1]
    assert below == pytest.approx([0.05, 0.05], rel=0.03)
    # The larger of two alike amounts: its median lies where the normal law has √½.
    larger = quantiles(believe(usual, Nodes(np.zeros(1), np.ones(1)), replace(whole, goes_on=1.0)).masses, found.edges)
    deviation = np.log(larger[1, 1] / 0.05) / 0.5
    assert 0.85 * ndtr(deviation) + 0.15 * ndtr(deviation / 2.3) == pytest.approx(math.sqrt(0.5), abs=0.01)
