"""A draft made to add up, and what other amounts would change of it, with percentages worked out by hand."""

from collections.abc import Callable
from decimal import Decimal

import pytest

from app.science.errors import Invalid
from app.science.rules.values import Finding, Severity, Source
from app.work.formulas.draft import Draft
from app.work.formulas.outcome import Outcome, side_by_side, with_amounts
from app.work.formulas.scaling import fill_up, make_hundred, scale_to_hundred

D = Decimal
MakeDraft = Callable[..., Draft]


def decimals(values: dict[str, str]) -> dict[str, Decimal]:
    return {key: D(value) for key, value in values.items()}


CASES = [
    # 60 and 20 are 80: each is a quarter more
    ({"a": "60", "b": "20"}, (), {"a": "75", "b": "25"}),
    # 10 stays, 90 is left for 60 and 20
    ({"a": "60", "b": "20", "c": "10"}, ("c",), {"a": "67.5", "b": "22.5", "c": "10"}),
    # three thirds are 33.33 each; the largest, or the first of them, takes the hundredth
    ({"a": "1", "b": "1", "c": "1"}, (), {"a": "33.34", "b": "33.33", "c": "33.33"}),
    ({"a": "1", "b": "4", "c": "2"}, (), {"a": "14.29", "b": "57.14", "c": "28.57"}),
    ({"a": "0", "b": "50"}, (), {"a": "0", "b": "100"}),
]


@pytest.mark.parametrize(("percents", "kept", "made"), CASES)
def test_lines_are_scaled_to_exactly_a_hundred(percents: dict, kept: tuple, made: dict) -> None:
    found = scale_to_hundred(decimals(percents), kept)
    assert found == decimals(made)
    assert sum(found.values()) == 100


@pytest.mark.parametrize(
    ("percents", "kept", "words"),
    [
        ({"a": "0"}, (), "nothing to scale"),
        ({"a": "60"}, ("a",), "nothing to scale"),
        ({"a": "60", "b": "100"}, ("b",), "make 100 % already"),
        ({"a": "60", "b": "100.5"}, ("b",), "make 100.5 % already"),
    ],
)
def test_what_cannot_be_scaled_says_why(percents: dict, kept: tuple, words: str) -> None:
    with pytest.raises(Invalid, match=words):
        scale_to_hundred(decimals(percents), kept)
    assert scale_to_hundred(decimals({"a": "60", "b": "99.99"}), ("b",)) == decimals({"a": "0.01", "b": "99.99"})


def test_a_scaled_draft_keeps_its_decimals_its_kept_lines_and_fills_up_no_more(draft: MakeDraft) -> None:
    typed = draft((1, None), (2, "20"), (3, "0,125"), (4, ""))
    percents = decimals({"l0": "60", "l1": "20", "l2": "0.125"})
    made = make_hundred(typed, percents, ("l2",))
    # 99.875 is left for 60 and 20, and three decimals are shown.
    assert [(line.amount, line.qs) for line in made.lines] == [
        ("74.906", False), ("24.969", False), ("0,125", False), ("", False),
    ]  # fmt: skip
    coarse = make_hundred(draft((1, "60"), (2, "30")), decimals({"l0": "60", "l1": "30"}))
    assert [line.amount for line in coarse.lines] == ["66.67", "33.33"]
    fine = make_hundred(typed, decimals({"l0": "60", "l1": "20.12345678"}))
    assert max(len(line.amount.partition(".")[2]) for line in fine.lines) == 6
    with pytest.raises(Invalid, match="Convert the amounts"):
        make_hundred(draft((1, "60"), basis="w/v"), decimals({"l0": "60"}))


def test_one_line_fills_up_and_no_other(draft: MakeDraft) -> None:
    made = fill_up(draft((1, None), (2, "20"), (3, "5")), "l1")
    assert [(line.amount, line.qs) for line in made.lines] == [("", False), ("", True), ("5", False)]
    with pytest.raises(Invalid, match="Choose the line"):
        fill_up(draft((1, None)), "l9")


def test_other_amounts_replace_those_of_their_lines_only(draft: MakeDraft) -> None:
    made = with_amounts(draft((1, None), (2, "20"), (3, None)), {"l0": "70", "l2": " "})
    assert [(line.amount, line.qs) for line in made.lines] == [("70", False), ("20", False), (" ", True)]


def outcome(names: str, *findings: Finding) -> Outcome:
    return Outcome(D(100), None, None, "EUR", None, tuple(names), findings)


def found(rule: str, percent: int = 1) -> Finding:
    return Finding(rule, Severity.NOTE, (), f"{rule} of {percent} %", Source("a rule of the test"))


def test_two_outcomes_say_what_came_what_went_and_whether_the_order_differs() -> None:
    pair = side_by_side(outcome("abcd", found("x"), found("y", 2)), outcome("acbe", found("y", 3), found("z")))
    assert (pair.names.came, pair.names.went, pair.order_differs) == (("e",), ("d",), True)
    assert (pair.findings.came, pair.findings.went, pair.findings.changed) == (
        ("z of 1 %",),
        ("x of 1 %",),
        ("y of 3 %",),
    )
    assert not side_by_side(outcome("abc"), outcome("axc")).order_differs
