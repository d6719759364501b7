"""Formulas judged by hand from the law's text and the trade: what an expert says is said, at its strength."""

import pytest

from app.reference.judged import agreements, judged_formulas, words_in
from app.reference.product_kinds import product_kinds
from app.science.rules.values import Severity

ALL = judged_formulas()
CLEAN = [one for one in ALL if not any(s != Severity.NOTE for d in one.duties for s, _ in d.ways) and not one.also]


def test_there_are_enough_of_both_markets_with_and_without_a_kind() -> None:
    assert len(ALL) >= 600
    assert sum(one.market == "US" for one in ALL) >= 80
    assert sum(not one.facts.products for one in ALL) >= 20
    assert len(CLEAN) >= 40


def test_every_duty_is_said_at_its_strength() -> None:
    """Each row stands for a class of formulas, so that one that falls away is a rule that fell away."""
    assert not {r.id: (r.weak, r.silent) for r in agreements() if r.weak or r.silent}


def test_there_are_no_false_alarms() -> None:
    assert not {r.id: [words_in(f) for f in r.alarms] for r in agreements() if r.alarms}


@pytest.mark.parametrize("one", CLEAN, ids=lambda one: one.id)
def test_a_clean_control_stays_clean(one) -> None:
    (found,) = (r for r in agreements() if r.id == one.id)
    assert not found.alarms


def test_a_known_kind_is_one_of_the_list() -> None:
    words = [frozenset(kind.words) for kind in product_kinds().values()]
    assert all(not one.facts.products or one.facts.products in words for one in ALL)


def test_a_duty_that_nobody_meets_is_counted() -> None:
    """The measure itself can fail: without its findings a formula with duties meets none."""
    one = next(one for one in ALL if one.duties)
    assert one.duties[0].met_by([]) == ([], False)
