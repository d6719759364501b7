"""Lists that contradict themselves are answered, with what clashes and what each way out would do."""

from collections.abc import Sequence

import numpy as np
import pytest

from app.science.inference.conflicts import Rules
from app.science.inference.elastic import cheapest_slack
from app.science.inference.infer import infer
from app.science.inference.values import (
    Clash,
    ClassPrior,
    GivenUp,
    Inference,
    Known,
    ListedName,
    NameStatement,
    PriorTable,
    Remedy,
)
from app.science.inference.wording import clash_sentences, percent_words

TABLE = PriorTable({"other": ClassPrior("other", 1.0, 1.5, bulk=True), "water": ClassPrior("water", 50.0, 1.0)})
WATER = ListedName("Aqua", "water")


def said(answer: Inference) -> set[tuple[str, int]]:
    return {(s.kind, s.index) for clash in answer.clashes for s in clash.statements}


def given_up(answer: Inference) -> set[tuple[str, int]]:
    return {(g.statement.kind, g.statement.index) for clash in answer.clashes for g in clash.given_up}


def remedies(answer: Inference) -> dict[tuple[str, int], tuple[float, float]]:
    return {(r.statement.kind, r.statement.index): (r.low, r.high) for clash in answer.clashes for r in clash.remedies}


def test_a_capped_name_before_a_name_known_to_be_larger() -> None:
    names = [WATER, ListedName("Potassium Sorbate", cap=0.8), ListedName("Glycerin"), ListedName("Urea")]
    answer = infer(names, TABLE, {2: Known(5.0, 5.0)})
    assert said(answer) == {("claim", 2), ("maximum", 1)}
    ways = remedies(answer)
    assert ways[("claim", 2)] == pytest.approx((0.0, 1.0))
    assert ways[("maximum", 1)] == pytest.approx((5.0, 47.5))
    assert ways[("order", 1)] == pytest.approx((0.0, 0.8))
    assert sum(row.estimate for row in answer.rows) == pytest.approx(100)


def test_claims_over_a_hundred() -> None:
    answer = infer([WATER, ListedName("b"), ListedName("c")], TABLE, {0: Known(70, 70), 1: Known(50, 50)})
    assert said(answer) == {("claim", 0), ("claim", 1)}
    assert given_up(answer) <= said(answer)
    assert remedies(answer)[("claim", 0)] == pytest.approx((50.0, 50.0))
    assert remedies(answer)[("claim", 1)] == pytest.approx((15.0, 30.0))


def test_a_claim_larger_than_the_claim_before_it() -> None:
    answer = infer([WATER, ListedName("b"), ListedName("c")], TABLE, {1: Known(3, 3), 2: Known(9, 9)})
    assert said(answer) == {("claim", 1), ("claim", 2)}
    assert remedies(answer)[("claim", 1)] == pytest.approx((9.0, 45.5))


def test_a_claim_over_the_legal_maximum() -> None:
    answer = infer([WATER, ListedName("Phenoxyethanol", cap=1.0)], TABLE, {1: Known(2, 2)})
    assert said(answer) == {("claim", 1), ("maximum", 1)}
    assert given_up(answer) == {("claim", 1)}


def test_maxima_that_leave_the_sum_short() -> None:
    answer = infer([ListedName("Phenoxyethanol", cap=1.0), ListedName("Other")], TABLE)
    assert said(answer) == {("maximum", 0)}
    assert sum(row.estimate for row in answer.rows) == pytest.approx(100)


def test_the_fewest_points_are_given_up() -> None:
    """A claim 0.1 points too high gives way, not the larger ones."""
    known = {0: Known(60, 60), 1: Known(30, 30), 2: Known(10.1, 10.1)}
    answer = infer([WATER, ListedName("b"), ListedName("c")], TABLE, known)
    assert len(given_up(answer)) == 1
    clash = answer.clashes[0]
    given = clash.given_up[0]
    assert abs(given.fitting - given.statement.percent) == pytest.approx(0.1)


def test_a_legal_maximum_gives_way_only_to_more_than_twice_as_many_points_of_a_claim() -> None:
    """4 % claimed after a name of at most 2 %: 2 points of either would do. After two such maxima it is 4 for 2."""
    names = [WATER, ListedName("a", cap=2.0), ListedName("b")]
    assert given_up(infer(names, TABLE, {2: Known(4, 4)})) == {("claim", 2)}
    twice = [WATER, ListedName("a", cap=2.0), ListedName("b"), ListedName("c"), ListedName("d")]
    claimed = {2: Known(4, 4), 3: Known(4, 4), 4: Known(4, 4)}
    assert given_up(infer(twice, TABLE, claimed)) == {("maximum", 1)}


def test_claims_give_way_before_the_printed_order() -> None:
    """Four names of 2 % before four of 4 %: 8 points of claims, or 2 points out of order, which count five times."""
    names = [WATER, *(ListedName(f"n{i}") for i in range(8))]
    known = {place: Known(2, 2) if place <= 4 else Known(4, 4) for place in range(1, 9)}
    assert {kind for kind, _ in given_up(infer(names, TABLE, known))} == {"claim"}


def test_a_name_that_leaves_the_order_leaves_the_others_in_it() -> None:
    rules = Rules(4, {1: Known(2, 2), 2: Known(3, 3)}, {1: 2.5}, (0, 1, 2, 3))
    for kind in ("order", "line"):
        assert rules.without(NameStatement(kind, 1)) == Rules(4, rules.known, rules.maxima, (0, 2, 3))
    assert rules.without(NameStatement("claim", 1)) == Rules(4, {2: Known(3, 3)}, rules.maxima, rules.chain)
    assert rules.without(NameStatement("maximum", 1)) == Rules(4, rules.known, {}, rules.chain)


def test_a_list_without_contradiction_has_none() -> None:
    assert infer([WATER, ListedName("b")], TABLE, {1: Known(10, 10)}).clashes == ()


def test_words_name_the_statements_and_the_way_out() -> None:
    names = [WATER, ListedName("Sorbate", cap=0.8), ListedName("Glycerin")]
    answer = infer(names, TABLE, {2: Known(5.0, 5.0)})
    text = " ".join(s for clash in answer.clashes for s in clash_sentences(clash, names))
    assert "Glycerin is 5 % (stated)" in text
    assert "Sorbate is at most 0.8 % (legal maximum)" in text
    assert "Giving up 'Glycerin is 5 % (stated)' would resolve it: Glycerin would then lie between 0 % and 1 %." in text


@pytest.mark.parametrize(
    ("value", "words"), [(0.000123, "0.000123 %"), (0.0, "0 %"), (12.345, "12.3 %"), (100, "100 %"), (99.96, "100 %")]
)
def test_percentages_are_written_plainly(value: float, words: str) -> None:
    assert percent_words(value) == words


def test_slack_is_the_cheapest_way_out_counted_by_hand() -> None:
    """A point of slack costs 1 on a claim, 2 on a legal maximum, 5 on the order and the 1 % line."""
    chain = np.arange(3)

    def cost(known: dict[int, Known], maxima: dict[int, float], places: Sequence[int] = (0, 1, 2)) -> float:
        return cheapest_slack(known, maxima, 3, np.array(places, dtype=np.int64)).cost

    assert cost({1: Known(20, 20)}, {}) == pytest.approx(0)
    assert cost({0: Known(60, 60), 1: Known(50, 50)}, {}) == pytest.approx(10)
    assert cost({0: Known(20, 20)}, {}) == pytest.approx(100 / 3 - 20)  # three names that descend from 20
    assert cost({}, {0: 30.0}) == pytest.approx(2 * (100 / 3 - 30))
    # 0.5 before 1.5: one point either way; in the order of the list only the line lets 1.5 stand behind, for 5 x 0.5.
    assert cost({1: Known(0.5, 0.5), 2: Known(1.5, 1.5)}, {}) == pytest.approx(0.5)
    assert cost({2: Known(1.5, 1.5)}, {1: 0.5}) == pytest.approx(0.5)
    slack = cheapest_slack({0: Known(60, 60), 1: Known(50, 50)}, {}, 3, chain)
    assert (slack.maxima, slack.places) == ((), ())
    assert slack.amounts.sum() == pytest.approx(100)


def test_the_one_that_stands_against_many_gives_way() -> None:
    """Six claims of 1.4 % stand after one name of 0.9 %: half a point of that one, at 1 or 2 a point, and not six."""
    claims = {place: Known(1.4, 1.4) for place in range(2, 8)}
    claimed = cheapest_slack({1: Known(0.9, 0.9), **claims}, {}, 8, np.arange(8))
    assert (claimed.claims, claimed.maxima, claimed.cost) == ((1,), (), pytest.approx(0.5))
    capped = cheapest_slack(claims, {1: 0.9}, 8, np.arange(8))
    assert (capped.claims, capped.maxima, capped.cost) == ((), (1,), pytest.approx(1.0))


def test_what_is_given_up_is_said_with_what_would_fit() -> None:
    names = [WATER, ListedName("Salt"), ListedName("Gum")]
    clash = Clash(
        (NameStatement("claim", 1, 2.0), NameStatement("order", 2)),
        (GivenUp(NameStatement("claim", 1, 2.0), 1.5), GivenUp(NameStatement("order", 2), 2.5)),
        (Remedy(NameStatement("order", 2), 0.25, 3.0),),
    )
    assert clash_sentences(clash, names) == [
        "These cannot hold together with the printed order and a sum of 100 %: Salt is 2 % (stated); Gum stands at"
        " place 3 of the list.",
        "This answer does without 'Salt is 2 % (stated)': 1.5 % would fit.",
        "This answer does without 'Gum stands at place 3 of the list': at 2.5 % it would have to stand elsewhere.",
        "Giving up 'Gum stands at place 3 of the list' would resolve it: Gum would then lie between 0.25 % and 3 %.",
    ]
