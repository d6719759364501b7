"""How the rows of a table of limits are read, on invented rows: each case is worked out from the text of a row.

``test_limits.py`` asks the law itself; here stands what a row may say, one thing at a time.
"""

from datetime import date
from decimal import Decimal as D
from typing import Any

import pytest

from app.science.composition import AllergenShare, DosedMaterial, Part, PartKind
from app.science.rules.limits import LimitIndex, check_limits, present_subjects
from app.science.rules.values import Exposure, FormulaFacts, LimitRule, Purpose, Severity, Verdict
from app.science.rules.warnings import legal_statements

STOP, CAUTION, NOTE = Severity.STOP, Severity.CAUTION, Severity.NOTE
LEAVE, RINSE = frozenset({Exposure.LEAVE_ON}), frozenset({Exposure.RINSE_OFF})


def row(ref: str, limit: str | None = None, **more: Any) -> LimitRule:
    given: dict[str, Any] = {
        "jurisdiction": "EU", "inci_name": "Keeper", "cas": (), "expressed_as": "as such", "product_scope": "all",
        "condition": "", "label_wording": "", "as_of": "", "source": "invented", "source_status": "", "factor": None,
        "rule_type": "max", "only_in_scope": False, "factors": {"KEEPER": D(1)}, "sum_key": "k",
    }  # fmt: skip
    given |= {"legal_reference": ref, "max_percent": None if limit is None else D(limit)} | more
    return LimitRule(**given)


def kind(ref: str, limit: str | None, *words: str, **more: Any) -> LimitRule:
    """A row for a kind of product."""
    return row(ref, limit, general=False, products=frozenset(words), product_scope=" or ".join(words), **more)


def judge(rows: list[LimitRule], percent: str | dict[str, str], **facts: Any) -> Verdict:
    parts = {"Keeper": percent} if isinstance(percent, str) else percent
    jars = tuple(DosedMaterial(f"jar of {n}", D(p), (Part(n, D(100)),)) for n, p in parts.items())
    facts["products"] = frozenset(facts.get("products", ()))
    return check_limits(FormulaFacts(jars, facts.pop("exposure", Exposure.LEAVE_ON), **facts), LimitIndex(rows))


def said(rows: list[LimitRule], percent: str | dict[str, str], **facts: Any) -> list[tuple[Any, ...]]:
    return [(f.rule, f.severity, f.limit, f.found) for f in judge(rows, percent, **facts).findings]


HAIR, LIP = {"products": ("hair",)}, {"products": ("lip",)}
WASHED = {"exposure": Exposure.RINSE_OFF}
TOOTH = {"products": ("oral", "toothpaste")}
CASES: dict[str, tuple[list[LimitRule], str | dict[str, str], dict[str, Any], list[tuple[Any, ...]]]] = {
    "at the limit is allowed": ([row("a", "1")], "1", {}, []),
    "over it is not": ([row("a", "1")], "1.01", {}, [("a", STOP, D(1), D("1.01"))]),
    "the lower of two limits counts": ([row("a", "2"), row("b", "1")], "1.5", {}, [("b", STOP, D(1), D("1.5"))]),
    "the row of its own name goes first": (
        [row("a", "1", inci_name="Other"), row("b", "2")], "1.5", {}, [],
    ),
    "guidance weighs less": ([row("a", "1", rule_type="guidance")], "2", {}, [("a", CAUTION, D(1), D(2))]),
    "so does what hangs on facts elsewhere": ([row("a", "1", uncertain=True)], "2", {}, [("a", CAUTION, D(1), D(2))]),
    "a row may say itself how much it weighs": ([row("a", "1", severity=NOTE)], "2", {}, [("a", NOTE, D(1), D(2))]),
    "what only the supplier can measure is not judged": (
        [row("a", "1", expressed_as="secondary amine in product")], "2", {}, [],
    ),
    # Exposure
    "a limit for what is rinsed off says nothing of what stays": ([row("a", "1", exposures=RINSE)], "2", {}, []),
    "unless it is allowed there alone": (
        [row("a", "1", exposures=RINSE, only_in_scope=True)], "0.5", {}, [("a", STOP, D(0), D("0.5"))],
    ),
    "where it is allowed its limit counts": ([row("a", "1", exposures=RINSE, only_in_scope=True)], "1", WASHED, []),
    "and is kept": (
        [row("a", "1", exposures=RINSE, only_in_scope=True)], "1.5", WASHED, [("a", STOP, D(1), D("1.5"))],
    ),
    "allowed in either way, the second row speaks": (
        [row("a", "1", exposures=RINSE, only_in_scope=True), row("b", "0.5", exposures=LEAVE, only_in_scope=True)],
        "0.7", {}, [("b", STOP, D("0.5"), D("0.7"))],
    ),
    "a kind of product counts however it is used": (
        [kind("a", "1", "cuticle remover", exposures=RINSE)], "2", {"products": ("cuticle remover",)},
        [("a", STOP, D(1), D(2))],
    ),
    "an area of the body does not": ([kind("a", "1", "hair", exposures=RINSE)], "2", HAIR, []),
    # Kinds of product
    "a narrower kind goes before a wider one": (
        [kind("wide", "0.5", "oral"), kind("narrow", "0.2", "toothpaste")], "0.3", TOOTH,
        [("narrow", STOP, D("0.2"), D("0.3"))],
    ),
    "a kind goes before the rest": ([row("a", "1"), kind("b", "2", "hair")], "1.5", HAIR, []),
    "another kind does not": ([row("a", "1"), kind("b", "2", "hair")], "1.5", LIP, [("a", STOP, D(1), D("1.5"))]),
    "a lower limit for a kind nobody named is a note": (
        [row("a", "1"), kind("b", "0.5", "hair")], "0.7", {}, [("b", NOTE, D("0.5"), D("0.7"))],
    ),
    "not where it is kept": ([row("a", "1"), kind("b", "0.5", "hair")], "0.5", {}, []),
    "nor for a kind that a maker knows at once": ([row("a", "1"), kind("b", "0.5", "oral")], "0.7", {}, []),
    "a higher limit for a kind nobody named may excuse": (
        [row("a", "1"), kind("b", "2", "hair")], "1.5", {}, [("a", CAUTION, D(1), D("1.5"))],
    ),
    "up to that limit": ([row("a", "1"), kind("b", "2", "hair")], "2", {}, [("a", CAUTION, D(1), D(2))]),
    "beyond it nothing does": ([row("a", "1"), kind("b", "2", "hair")], "2.1", {}, [("a", STOP, D(1), D("2.1"))]),
    "a rare kind excuses nothing": ([row("a", "1"), kind("b", "2", "oral")], "1.5", {}, [("a", STOP, D(1), D("1.5"))]),
    "but a dandruff shampoo does": (
        [row("a", "1"), kind("b", "2", "anti-dandruff")], "1.5", {}, [("a", CAUTION, D(1), D("1.5"))],
    ),
    "a fragrance excuses only what is full of alcohol": (
        [row("a", "1"), kind("b", "2", "fragrance")], {"Keeper": "1.5", "Alcohol": "29"}, {},
        [("a", STOP, D(1), D("1.5"))],
    ),
    "from 30 % of it on": (
        [row("a", "1"), kind("b", "2", "fragrance")], {"Keeper": "1.5", "Alcohol": "30"}, {},
        [("a", CAUTION, D(1), D("1.5"))],
    ),
    "limited in kinds nobody named, over each of them": (
        [kind("a", "1", "hair"), kind("b", "2", "face")], "2.5", {}, [("b", STOP, D(2), D("2.5"))],
    ),
    "over some of them": ([kind("a", "1", "hair"), kind("b", "2", "face")], "1.5", {}, []),
    "allowed only in kinds nobody named": (
        [kind("a", "1", "hair", only_in_scope=True), kind("b", "2", "face", only_in_scope=True)], "1.5", {},
        [("a", CAUTION, D(1), D("1.5"))],
    ),
    "allowed only in kinds nobody named, within all": (
        [kind("a", "1", "hair", only_in_scope=True), kind("b", "2", "face", only_in_scope=True)], "0.5", {},
        [("a", CAUTION, D(1), D("0.5"))],
    ),
    "over the limit of a rare kind that nobody named": ([kind("a", "1", "oral")], "2", {}, []),
    "allowed in a rare kind only": (
        [kind("a", "1", "oral", only_in_scope=True)], "2", {}, [("a", STOP, D(1), D(2))],
    ),
    "allowed only in another kind": (
        [kind("a", "1", "hair", only_in_scope=True)], "0.5", LIP, [("a", STOP, D(0), D("0.5"))],
    ),
    "a condition for all products stands in for the limit of a kind": (
        [row("a", None, rule_type="condition"), kind("b", "1", "hair", only_in_scope=True)], "5", {}, [],
    ),
    # Prohibitions
    "prohibited": ([row("a", rule_type="prohibited")], "0.1", {}, [("a", STOP, D(0), D("0.1"))]),
    "prohibited on a condition elsewhere": (
        [row("a", rule_type="prohibited", uncertain=True)], "0.1", {}, [("a", CAUTION, D(0), D("0.1"))],
    ),
    "prohibited on lips": ([kind("a", None, "lip", rule_type="prohibited")], "0.1", LIP, [("a", STOP, D(0), D("0.1"))]),
    "on lips, in a hair product": ([kind("a", None, "lip", rule_type="prohibited")], "0.1", HAIR, []),
    "on lips, in a product nobody named": (
        [kind("a", None, "lip", rule_type="prohibited")], "0.1", {}, [("a", CAUTION, D(0), D("0.1"))],
    ),
    # Notes
    "a note is passed on": ([row("a", rule_type="note", condition="x")], "1", {}, [("a", NOTE, None, None)]),
    "an empty one is not": ([row("a", rule_type="note")], "1", {}, []),
    "nor one for a kind of product": ([kind("a", None, "hair", rule_type="note", condition="x")], "1", HAIR, []),
    "guidance without a figure is a note": (
        [row("a", rule_type="guidance", condition="x")], "1", {}, [("a", NOTE, None, None)],
    ),
    "with a figure it is a limit": ([row("a", "2", rule_type="guidance", condition="x")], "1", {}, []),
    "with a pH it is a window": ([row("a", rule_type="guidance", condition="x", ph_min=D(3))], "1", {"ph": D(5)}, []),
    "with a highest pH too": ([row("a", rule_type="guidance", condition="x", ph_max=D(8))], "1", {"ph": D(5)}, []),
    "a condition is passed on": ([row("a", rule_type="condition", condition="x")], "1", {}, [("a", NOTE, None, None)]),
    "a condition for the supplier is asked of them": (
        [row("a", rule_type="condition", condition="x", supplier_data="y")], "1", {}, [],
    ),
    "a condition of another purpose is no news": (
        [row("a", rule_type="condition", condition="x", purpose=Purpose.OTHER)], "1", {}, [],
    ),
    "a pending rule is no note": ([row("a", rule_type="pending", condition="x")], "1", {}, []),
}  # fmt: skip


@pytest.mark.parametrize(("rows", "percent", "facts", "expected"), CASES.values(), ids=CASES)
def test_a_row_says_what_its_text_says(rows: list, percent: Any, facts: dict, expected: list) -> None:
    assert said(rows, percent, **facts) == expected


def own(key: str, limit: str | None, purpose: Purpose, **more: Any) -> LimitRule:
    return row(key, limit, sum_key=key, purpose=purpose, **more)


def keeps(limit: str, **more: Any) -> LimitRule:
    return own("keep", limit, Purpose.PRESERVATIVE, **more)


def other(limit: str | None, **more: Any) -> LimitRule:
    return own("other", limit, Purpose.OTHER, **more)


HAIR_ONLY = {"general": False, "products": frozenset({"hair"}), "product_scope": "hair products"}
FREE = {"rule_type": "condition", "condition": "in perfume"}
PURPOSES: dict[str, tuple[list[LimitRule], str | dict[str, str], dict[str, Any], list[tuple[Any, ...]]]] = {
    "within both": ([keeps("0.5"), other("2")], "0.5", {}, []),
    "more than preserves, allowed for the rest": (
        [keeps("0.5"), other("2")], "2", {}, [("other", NOTE, D(2), D(2))],
    ),
    "over both, the other is named": ([keeps("0.5"), other("2")], "2.5", {}, [("other", STOP, D(2), D("2.5"))]),
    "allowed for the rest only where it is rinsed off": (
        [keeps("0.5"), other("2", exposures=RINSE)], "1", {}, [("keep", STOP, D("0.5"), D(1))],
    ),
    "allowed for hair, which a rinse-off product is taken for": (
        [keeps("0.5"), other("2", **HAIR_ONLY)], "1", WASHED, [("other", NOTE, D(2), D(1))],
    ),
    "and a leave-on one is not": (
        [keeps("0.5"), other("2", **HAIR_ONLY)], "1", {}, [("keep", CAUTION, D("0.5"), D(1))],
    ),
    "allowed in perfume without a limit": (
        [keeps("0.5"), other(None, **FREE)], "1", {"products": ("fragrance",)}, [("other", NOTE, None, D(1))],
    ),
    "in perfume, of a product that may be one": (
        [keeps("0.5"), other(None, **FREE)], {"Keeper": "1", "Alcohol denat.": "30"}, {}, [("other", NOTE, None, D(1))],
    ),
    "in perfume, of one that is hardly one": (
        [keeps("0.5"), other(None, **FREE)], {"Keeper": "1", "Alcohol denat.": "29"}, {},
        [("keep", CAUTION, D("0.5"), D(1))],
    ),
    "the other purpose not in force any more": (
        [keeps("0.5"), other("2", until=date(2026, 1, 1))], "1", {"on": date(2026, 1, 1)},
        [("keep", STOP, D("0.5"), D(1))],
    ),
    "another substance has another purpose": (
        [keeps("0.5"), other("2", factors={"FRIEND": D(1)})], {"Keeper": "1", "Friend": "1"}, {},
        [("keep", STOP, D("0.5"), D(1))],
    ),
    "allowed to preserve only where it is rinsed off, and for the rest everywhere": (
        [keeps("0.5", exposures=RINSE, only_in_scope=True), other("2")], "1", {}, [("other", NOTE, D(2), D(1))],
    ),
    "for the rest only in what is rinsed off, and to preserve everywhere": (
        [keeps("0.5"), other("2", exposures=RINSE, only_in_scope=True)], "0.4", {}, [],
    ),
    "limited to preserve in kinds nobody named": (
        [keeps("0.5", **HAIR_ONLY), other("2")], "1", {}, [("other", NOTE, D(2), D(1))],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("rows", "percent", "facts", "expected"), PURPOSES.values(), ids=PURPOSES)
def test_what_is_too_much_to_preserve_may_be_allowed_for_another_purpose(
    rows: list, percent: Any, facts: dict, expected: list
) -> None:
    assert said(rows, percent, **facts) == expected


TODAY = date(2026, 3, 1)
DATES = [
    ({}, None, [STOP]),
    ({"until": date(2030, 1, 1)}, None, []),  # without a day the law is meant as it will stay
    ({"until": date(2026, 3, 2)}, TODAY, [STOP]),
    ({"until": TODAY}, TODAY, []),
    ({"applies_from": TODAY}, TODAY, [STOP]),
    ({"applies_from": date(2026, 3, 2)}, TODAY, [CAUTION]),
    ({"applies_from": date(2027, 9, 2)}, TODAY, [CAUTION]),  # 550 days on
    ({"applies_from": date(2027, 9, 3)}, TODAY, [NOTE]),
]


@pytest.mark.parametrize(("dates", "on", "expected"), DATES)
def test_a_row_speaks_from_its_first_day_until_its_last(dates: dict, on: date | None, expected: list) -> None:
    found = judge([row("a", "1", **dates)], "2", on=on).findings
    assert [f.severity for f in found] == expected


def test_what_is_to_come_says_the_day_and_until_when_the_rest_may_be_sold() -> None:
    rows = [row("now", "3"), row("a", "1", applies_from=date(2026, 5, 1), sell_off_until=date(2027, 2, 3))]
    (found,) = judge(rows, "2", on=TODAY).findings
    assert (found.rule, found.limit, found.found) == ("a", 1, 2)
    assert found.what == (
        "From 1 May 2026 this may not be placed on the market: Keeper: 2 %, over the limit of 1 % for any product."
        " Brought by jar of Keeper. What is on the market by then may be sold until 3 February 2027."
    )
    (stopped,) = judge(rows, "4", on=TODAY).findings
    assert stopped.rule == "now"  # what is stopped today needs no warning of tomorrow
    banned = row("b", rule_type="prohibited", applies_from=date(2026, 5, 1), sum_key="b")
    assert [f.severity for f in judge([banned], "2", on=TODAY).findings] == [CAUTION]
    assert judge([row("n", rule_type="note", condition="x", applies_from=date(2026, 5, 1))], "2", on=TODAY) == Verdict()


WORDS = [
    ([row("a", "1", condition="not for x")], {}, "over the limit of 1 % for any product.", "The rule: not for x."),
    ([row("a", "1"), kind("b", "3", "hair")], {}, "Brought by jar of Keeper.",
     "Allowed only as b has it: hair, 3 %."),
    ([keeps("1"), other(None, **FREE)], {}, "over the limit of 1 %", "Allowed only as other has it: any product."),
    ([keeps("1"), other("3")], {}, "Keeper: 2 %: more than the 1 % of a preservative (keep)",
     "allowed for another purpose by other (any product)."),
    ([kind("a", "3", "hair", only_in_scope=True), kind("b", None, "face", rule_type="condition")], {},
     "Keeper: 2 %: allowed only in hair (at most 3 %); the kind", "of product was not given."),
    ([kind("a", "3", "hair", only_in_scope=True)], LIP, "in a product of this kind: allowed only in", "hair (at most"),
    ([row("a", "1", exposures=RINSE, only_in_scope=True, product_scope="rinse-off")], {},
     "Keeper: 2 % in a leave-on product:", "allowed only in rinse-off (at most 1 %)."),
    ([row("a", "1", expressed_as="acid")], {}, "Keeper: 2 % as acid, over", "Brought by"),
    ([row("a", "5"), kind("b", "1", "hair")], {}, "Keeper: 2 %: if the product is for hair,", "the limit is 1 %."),
    ([row("a", rule_type="prohibited", condition="banned")], {}, "Keeper: banned (any product).", "Brought by jar of"),
]  # fmt: skip


@pytest.mark.parametrize(("rows", "facts", "first", "then"), WORDS)
def test_the_words_name_amount_limit_and_products(rows: list, facts: dict, first: str, then: str) -> None:
    (found,) = judge(rows, "2", **facts).findings
    assert first in found.what
    assert then in found.what


def ph(low: str | None, high: str | None, **more: Any) -> LimitRule:
    return row("w", ph_min=None if low is None else D(low), ph_max=None if high is None else D(high), **more)


WINDOWS = [
    (ph("3.5", None), "3.5", None), (ph("3.5", None), "3.49", "3.5"), (ph(None, "11"), "11", None),
    (ph(None, "11"), "11.1", "11"), (ph(None, "11", ph_max_allowed=False), "11", "11"),
    (ph(None, "11", ph_max_allowed=False), "10.9", None), (ph("3", "11"), "2", "3"), (ph("3", "11"), "12", "11"),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "value", "limit"), WINDOWS)
def test_a_window_of_ph_holds_its_ends_unless_it_says_below(rule: LimitRule, value: str, limit: str | None) -> None:
    found = judge([rule], "1", ph=D(value)).findings
    assert [(f.severity, f.limit, f.found) for f in found] == ([(STOP, D(limit), D(value))] if limit else [])


def test_a_window_of_guidance_is_a_caution_and_one_for_the_kind_replaces_the_general_one() -> None:
    (found,) = judge([ph("3", None, rule_type="guidance")], "1", ph=D(2)).findings
    assert found.severity is CAUTION
    wide, hair = ph(None, "11"), kind("h", None, "hair", ph_max=D(9))
    assert [f.rule for f in judge([wide, hair], "1", ph=D(10), products=("hair",)).findings] == ["h"]
    assert judge([wide, hair], "1", ph=D(10), products=("lip",)).findings == ()
    assert judge([wide, hair], "1", ph=D(10)).findings == ()
    # A row for the kind without a window: the general window is not for it.
    assert judge([wide, kind("h", "5", "hair")], "1", ph=D(12), products=("hair",)).findings == ()
    assert [f.rule for f in judge([wide, kind("h", "5", "hair")], "1", ph=D(12)).findings] == ["w"]
    # Only kinds have windows and nobody said which: the widest is asked.
    lip = kind("l", None, "lip", ph_max=D(10))
    assert [f.rule for f in judge([hair, lip], "1", ph=D("9.5")).findings] == []
    assert [f.rule for f in judge([hair, lip], "1", ph=D(11)).findings] == ["l"]
    assert judge([hair, lip], "1", ph=D(11), products=("face",)).findings == ()


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (ph("3", None), "pH at least 3 in any product"), (ph(None, "11"), "pH at most 11 in any product"),
        (ph("3", "11", ph_max_allowed=False), "pH at least 3 and below 11 in any product"),
    ],
)  # fmt: skip
def test_without_a_ph_the_window_is_asked_for(rule: LimitRule, words: str) -> None:
    assert judge([rule], "1") == Verdict(not_checked=(f"Keeper: {words} (w); no pH was given.",))


BARS = [
    (("aerosol sprays",), ("aerosol",), True), (("sprays",), ("spray",), True), (("sprays",), ("lip",), False),
    (("oral products",), ("oral",), True), (("eye products",), ("eye",), True), (("lip products",), ("lip",), True),
    (("sun products that can reach the lungs by inhalation",), ("sun product", "spray"), True),
    (("sun products that can reach the lungs by inhalation",), ("sun product",), False),
    (("sun products that can reach the lungs by inhalation",), ("spray",), False),
    (("products for children under 3 other than shampoo",), ("children under 3",), True),
    (("products for children under 3 other than shampoo",), ("children under 3", "shampoo"), False),
    (("products for children under 3 other than shampoo",), ("children under 3", "bath product"), True),
    (("products for children under 3 other than bath, shower and shampoo",), ("children under 3", "shampoo"), False),
    (("products for children under 3 other than bath, shower and shampoo",), ("children under 3", "face"), True),
]  # fmt: skip


@pytest.mark.parametrize(("bars", "products", "stopped"), BARS)
def test_a_barred_use_stops_where_it_is_known_to_be_one(bars: tuple, products: tuple, stopped: bool) -> None:
    verdict = judge([row("a", "5", not_in=bars)], "1", products=products)
    assert [(f.severity, f.what) for f in verdict.findings] == (
        [(STOP, f"Keeper: not in {bars[0]}.")] if stopped else []
    )
    assert verdict.not_checked == ()
    assert judge([row("a", "5", not_in=bars)], "1").not_checked == (
        f"Keeper: not in {bars[0]} (a); the use was not given.",
    )


def test_what_bars_a_use_bars_it_only_outside_the_kind_that_has_a_row_of_its_own() -> None:
    bars = row("a", "5", not_in=("oral products",))
    assert judge([bars, kind("t", "5", "toothpaste")], "1", **TOOTH).findings == ()
    assert [f.rule for f in judge([bars, kind("o", "5", "oral")], "1", **TOOTH).findings] == [
        "a"
    ]  # an area of the body


def test_what_cannot_be_read_off_a_formula_is_listed() -> None:
    certificate = "the limit on the perfume certificate for the category of the product"
    asked = judge([row("a", rule_type="condition", supplier_data="purity")], "1").not_checked
    assert asked == ("Keeper: purity (a); ask the supplier.",)
    rule = row("a", rule_type="condition", supplier_data=certificate)
    assert judge([rule], "1").not_checked == (f"Keeper: {certificate} (a); ask the supplier.",)
    assert judge([rule], "1", certified=frozenset({"jar of Keeper"})).not_checked == ()
    assert judge([row("a", rule_type="pending", condition="still open")], "1").not_checked == (
        "Keeper: still open (a).",
    )
    lip = kind("l", None, "lip", rule_type="condition", supplier_data="purity")
    assert judge([lip], "1", **HAIR).not_checked == ()
    rare = [row("a", "2"), kind("o", "0.5", "oral")]
    assert judge(rare, "1").not_checked == ("Keeper: oral (at most 0.5 %) (o); the kind of product was not given.",)
    assert judge(rare, "0.5").not_checked == ()
    assert judge([row("a", "2"), kind("h", "0.5", "hair")], "1").not_checked == ()  # a note says it already


def test_substances_of_one_row_are_added_each_by_what_it_counts_as() -> None:
    rows = [row("a", "1", factors={"KEEPER": D(1), "KEEPER SALT": D("0.8"), "*KEEPERATE": D("0.5")})]
    assert said(rows, {"Keeper": "0.5", "Keeper Salt": "0.5"}) == []
    (found,) = judge(rows, {"Keeper": "0.5", "Keeper Salt": "0.5", "Sodium Keeperate": "0.4"}).findings
    assert (found.found, found.inci) == (D("1.1"), ("Keeper", "Keeper Salt", "Sodium Keeperate"))
    assert found.materials == ("jar of Keeper", "jar of Keeper Salt", "jar of Sodium Keeperate")
    # A name counts by itself before a pattern that it fits.
    both = [row("a", "1", factors={"KEEPER": D(1), "KEEP*": D(3)})]
    assert said(both, "0.9") == []
    assert said([row("a", "1", factors={"KEEP*": D(3)})], "0.4") == [("a", STOP, D(1), D("1.2"))]


def test_rows_without_a_sum_are_judged_one_by_one_and_so_is_each_of_a_row_that_says_so() -> None:
    apart = [row("a", "1", sum_key=""), row("b", "1", sum_key="", inci_name="Salt", factors={"SALT": D(1)})]
    assert said(apart, {"Keeper": "0.9", "Salt": "0.9"}) == []
    each = [row("a", "1", expressed_as="each", factors={"KEEPER": D(1), "SALT": D(1)})]
    assert said(each, {"Keeper": "0.9", "Salt": "0.9"}) == []
    assert said(each, {"Keeper": "0.9", "Salt": "1.1"}) == [("a", STOP, D(1), D("1.1"))]
    assert judge(each, {"Keeper": "0.9", "Salt": "1.1"}).findings[0].what.startswith("Salt: 1.1 %, over")


def test_a_row_waits_for_one_of_its_anchors() -> None:
    rows = [row("a", "1", factors={"KEEPER": D(1), "SALT": D(1)}, anchors=("Keeper",))]
    assert said(rows, {"Salt": "2"}) == []
    assert said(rows, {"Salt": "2", "Keeper": "0.1"}) == [("a", STOP, D(1), D("2.1"))]


def asked(part: Part, rows: list[LimitRule], percent: str = "2") -> list[D | None]:
    formula = FormulaFacts((DosedMaterial("jar", D(percent), (part,)),), Exposure.LEAVE_ON)
    return [f.found for f in check_limits(formula, LimitIndex(rows)).findings]


def test_a_number_speaks_for_a_name_that_no_row_knows() -> None:
    rows = [row("a", "1", match_cas=("122-99-6",)), row("b", "5", sum_key="b", factors={"SALT": D(1)})]
    assert asked(Part("Mine", D(100), cas="122-99-6"), rows) == [D(2)]
    assert asked(Part("Salt", D(100), cas="122-99-6"), rows) == []
    assert asked(Part("Mine", D(100)), rows) == []


def test_what_an_oil_carries_counts_unless_the_row_counts_the_oil_itself() -> None:
    oil = Part("Oil", D(100), allergens=(AllergenShare("Keeper", D(60)),))
    assert asked(oil, [row("a", "1")]) == [D("1.2")]
    assert asked(oil, [row("a", "3", factors={"KEEPER": D(1), "OIL": D(1)})]) == []
    assert asked(oil, [row("a", "1", factors={"KEEPER": D(1), "OIL": D(1)})]) == [D(2)]


def test_a_row_for_nano_forms_and_one_for_filters_speak_only_of_these() -> None:
    nano = [row("a", "1", inci_name="Keeper (nano)", factors={"KEEPER*": D(1)})]
    assert asked(Part("Keeper", D(100)), nano) == []
    assert asked(Part("Keeper", D(100), nano=True), nano) == [D(2)]
    screens = [row("EU 1223/2009 Annex VI entry 0", "1")]
    assert asked(Part("Keeper", D(100)), screens) == [D(2)]
    assert asked(Part("Keeper", D(100), kind=PartKind.COLOURANT), screens) == []
    assert asked(Part("Keeper", D(100), kind=PartKind.COLOURANT), [row("Annex V", "1")]) == [D(2)]


def test_the_row_of_the_very_kind_bars_its_own_uses() -> None:
    own = kind("t", "5", "toothpaste", not_in=("oral products",))
    assert [f.rule for f in judge([row("a", "5"), own], "1", **TOOTH).findings] == ["t"]
    assert judge([row("a", "5"), own], "1", products=("toothpaste",)).findings == ()  # nobody said it is for the mouth


def sentences(rows: list[LimitRule], percent: str = "1", jurisdiction: str = "EU", **facts: Any) -> list[str]:
    jars = tuple(DosedMaterial(n, D(percent), (Part(n, D(100)),)) for n in ("Keeper", "Salt"))
    facts["products"] = frozenset(facts.get("products", ()))
    formula = FormulaFacts(jars, facts.pop("exposure", Exposure.LEAVE_ON), **facts)
    return [s.text for s in legal_statements(present_subjects(formula, LimitIndex(rows)), formula, jurisdiction)]


SAID: list[tuple[LimitRule, str, dict[str, Any], bool]] = [
    (row("a", label_wording="Mind it."), "1", {}, True),
    (row("a"), "1", {}, False),
    (row("a", label_wording="Mind it.", label_above=D("0.9")), "1", {}, True),
    (row("a", label_wording="Mind it.", label_above=D(1)), "1", {}, False),
    (row("a", label_wording="Mind it.", exposures=RINSE), "1", {}, False),
    (kind("a", None, "hair", label_wording="Mind it."), "1", {}, False),
    (kind("a", None, "hair", label_wording="Mind it."), "1", HAIR, True),
    (row("a", label_wording="Mind it.", label_for=frozenset({"hair"})), "1", {}, False),
    (row("a", label_wording="Mind it.", label_for=frozenset({"hair"})), "1", HAIR, True),
    (row("a", label_wording="Mind it.", until=TODAY), "1", {"on": TODAY}, False),
]


@pytest.mark.parametrize(("rule", "percent", "facts", "due"), SAID)
def test_a_wording_is_due_where_its_row_says(rule: LimitRule, percent: str, facts: dict, due: bool) -> None:
    assert sentences([rule], percent, **facts) == (["Mind it."] if due else [])


def test_wordings_stand_in_the_order_of_the_table_and_each_once() -> None:
    rows = [
        row("a", label_wording="First."), row("b", label_wording="Then.", sum_key="b", factors={"SALT": D(1)}),
        row("c", label_wording="First.", sum_key="c", factors={"SALT": D(1)}),
    ]  # fmt: skip
    assert sentences(rows) == ["First.", "Then."]
