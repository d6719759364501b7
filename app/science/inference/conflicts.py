"""Lists that contradict themselves: which statements clash, which to give up, and what giving up each would do.

Labels contain mistakes, so a contradiction is an answer, never an error. What to give up is found by an elastic
linear programme for every place of the 1 % line: a point of slack costs 1 on a claim, 2 on a maximum, 5 on the
order and the line.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.science.inference.elastic import Slack, cheapest_slack
from app.science.inference.hard_bounds import HardBounds, any_line_feasible, hard_bounds
from app.science.inference.values import Clash, Floats, GivenUp, Integers, Known, ListedName, NameStatement, Remedy

MOST_ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Rules:
    """Everything said about a list: what is known by place, maxima by place, and which places descend."""

    count: int
    known: Mapping[int, Known]
    maxima: Mapping[int, float]
    chain: tuple[int, ...]

    def limits(self) -> tuple[Floats, Floats]:
        """Return the smallest and largest stated % w/w of every name."""
        low, high = np.zeros(self.count), np.full(self.count, 100.0)
        for index, cap in self.maxima.items():
            high[index] = cap
        for index, known in self.known.items():
            low[index], high[index] = known.low, min(high[index], known.high)
        return low, high

    def places(self) -> Integers:
        """Return the descending places as an array."""
        return np.array(self.chain, dtype=np.int64)

    def without(self, statement: NameStatement) -> "Rules":
        """Return the rules with one statement dropped; a dropped place leaves the name free in order and amount."""
        index = statement.index
        known = {i: k for i, k in self.known.items() if statement.kind != "claim" or i != index}
        maxima = {i: c for i, c in self.maxima.items() if statement.kind != "maximum" or i != index}
        moved = statement.kind in ("order", "line")
        chain = tuple(i for i in self.chain if not moved or i != index)
        return Rules(self.count, known, maxima, chain)

    def possible(self) -> bool:
        """Return whether the rules can all hold."""
        return any_line_feasible(*self.limits(), self.places())


@dataclass(frozen=True, slots=True)
class Resolved:
    """Rules that can all hold, their hard bounds, and the clashes met on the way."""

    rules: Rules
    bounds: HardBounds
    clashes: tuple[Clash, ...]


def rules_of(names: Sequence[ListedName], known: Mapping[int, Known]) -> Rules:
    """Collect what is said about a list."""
    maxima = {i: name.cap for i, name in enumerate(names) if name.cap < 100.0}
    return Rules(len(names), dict(known), maxima, tuple(i for i, name in enumerate(names) if not name.colour))


def resolve_conflicts(rules: Rules) -> Resolved:
    """Return up as little as needed until the rules can all hold."""
    clashes: list[Clash] = []
    while not rules.possible() and len(clashes) < MOST_ROUNDS:
        slack = cheapest_slack(rules.known, rules.maxima, rules.count, rules.places())
        clash = Clash(_smallest_clash(rules), tuple(_given_up(rules, slack)), tuple(_remedies(rules)))
        clashes.append(clash)
        for given in clash.given_up:
            rules = rules.without(given.statement)
    if not rules.possible():
        rules = Rules(rules.count, {}, {}, rules.chain)
    return Resolved(rules, hard_bounds(*rules.limits(), rules.places()), tuple(clashes))


def _statements(rules: Rules) -> list[NameStatement]:
    claims = [NameStatement("claim", i, (k.low + k.high) / 2) for i, k in sorted(rules.known.items())]
    return claims + [NameStatement("maximum", i, cap) for i, cap in sorted(rules.maxima.items())]


def _smallest_clash(rules: Rules) -> tuple[NameStatement, ...]:
    """Drop every statement without which the rest still clashes; what stays is needed."""
    needed = []
    for statement in _statements(rules):
        fewer = rules.without(statement)
        if fewer.possible():
            needed.append(statement)
        else:
            rules = fewer
    return tuple(needed)


def _given_up(rules: Rules, slack: Slack) -> Iterable[GivenUp]:
    for index in slack.claims:
        middle = (rules.known[index].low + rules.known[index].high) / 2
        yield GivenUp(NameStatement("claim", index, middle), float(slack.amounts[index]))
    for index in slack.maxima:
        yield GivenUp(NameStatement("maximum", index, rules.maxima[index]), float(slack.amounts[index]))
    for index in slack.places:
        yield GivenUp(NameStatement("order", index), float(slack.amounts[index]))


def _remedies(rules: Rules) -> Iterable[Remedy]:
    said = _statements(rules)
    places = {s.index for s in said} & set(rules.chain)
    for statement in said + [NameStatement("order", i) for i in sorted(places)]:
        fewer = rules.without(statement)
        if fewer.possible():
            bounds = hard_bounds(*fewer.limits(), fewer.places())
            yield Remedy(statement, float(bounds.low[statement.index]), float(bounds.high[statement.index]))
