"""Rules on the product as a whole: what is measured of a formula, where its bounds lie, and which rule speaks."""

from dataclasses import replace
from decimal import Decimal

import pytest

from app.reference.rulebook import rulebook
from app.science.composition import DosedMaterial, Part
from app.science.rules.product_rules import (
    ProductFigures,
    ProductRule,
    RuleSubject,
    check_product_rules,
    free_alkali,
    phototoxic_sum,
)
from app.science.rules.selectors import Ingredients, Selector, ingredients
from app.science.rules.values import Exposure, Finding, FormulaFacts, LimitUnit, Severity, Source

D = Decimal
NOTHING = ProductFigures(D(0), D(0), D(0))
RULE = ProductRule(
    rule_id="X1", jurisdictions=frozenset({"EU"}), group="x", severity=Severity.CAUTION, scope=frozenset(), exposure="",
    measure=RuleSubject.KIND, selector=None, weights={}, at_least=None, above=None, up_to=None, below=None, beside=None,
    without=None, water_above=None, ph_up_to=None, ph_above=None, what="{names}: {amount}", why="", action="", quote="",
    source=Source("invented"),
)  # fmt: skip


def present(parts: dict[str, str]) -> Ingredients:
    book = rulebook("EU")
    made = [DosedMaterial(f"jar of {n}", D(percent), (Part(n, D(100)),)) for n, percent in parts.items()]
    return ingredients(made, book.classes, book.facts_for(parts))


def said(
    rule: ProductRule, measured: ProductFigures = NOTHING, parts: dict[str, str] | None = None, **facts: object
) -> list:
    formula = FormulaFacts((), **{"exposure": Exposure.LEAVE_ON, **facts})  # type: ignore[arg-type]
    return list(check_product_rules(formula, present(parts or {}), [rule], "EU", measured).findings)


# Molar masses in g/mol from the atomic weights of IUPAC 2021, and the protons that a hydroxide takes at pH 7 to 9.
HYDROXIDES = {
    "Sodium Hydroxide": (1, "39.997"), "Potassium Hydroxide": (1, "56.106"), "Lithium Hydroxide": (1, "23.948"),
    "Calcium Hydroxide": (2, "74.093"),
}  # fmt: skip
ACIDS = {
    "Citric Acid": (3, "192.12"), "Lactic Acid": (1, "90.08"), "Glycolic Acid": (1, "76.05"),
    "Mandelic Acid": (1, "152.15"), "Malic Acid": (2, "134.09"), "Tartaric Acid": (2, "150.09"),
    "Salicylic Acid": (1, "138.12"), "Benzoic Acid": (1, "122.12"), "Sorbic Acid": (1, "112.13"),
    "Ascorbic Acid": (1, "176.12"), "Phosphoric Acid": (2, "97.99"), "Stearic Acid": (1, "284.48"),
    "Lauric Acid": (1, "200.32"), "Myristic Acid": (1, "228.37"), "Palmitic Acid": (1, "256.43"),
    "Oleic Acid": (1, "282.47"), "Azelaic Acid": (2, "188.22"), "Thioglycolic Acid": (2, "92.12"),
    "Levulinic Acid": (1, "116.11"),
}  # fmt: skip


@pytest.mark.parametrize(("name", "of"), HYDROXIDES.items())
def test_a_hydroxide_counts_by_its_equivalents(name: str, of: tuple[int, str]) -> None:
    protons, molar = of
    found, names = free_alkali(present({name: "2", "Glycerin": "5"}))
    assert float(found) == pytest.approx(2 * protons * 39.997 / float(molar), rel=1e-3)
    assert [one.name for one in names] == [name]


@pytest.mark.parametrize(("name", "of"), ACIDS.items())
def test_an_acid_takes_up_its_equivalents_of_alkali(name: str, of: tuple[int, str]) -> None:
    protons, molar = of
    found, _ = free_alkali(present({"Sodium Hydroxide": "3", name: "2"}))
    assert float(found) == pytest.approx(3 - 2 * protons * 39.997 / float(molar), abs=0.004)


def test_fat_and_gel_take_up_alkali_too_and_nothing_less_than_nothing_is_free() -> None:
    # Common oils take 0.128 to 0.145 g of sodium hydroxide per gram to saponify (handbook figures).
    found, _ = free_alkali(present({"Sodium Hydroxide": "3", "Helianthus Annuus Seed Oil": "10"}))
    assert D("1.55") < found < D("1.75")
    gel, _ = free_alkali(present({"Sodium Hydroxide": "1", "Carbomer": "1"}))
    assert gel == D("0.5")
    assert free_alkali(present({"Sodium Hydroxide": "1", "Citric Acid": "5"}))[0] == 0
    assert free_alkali(present({"Citric Acid": "5", "Glycerin": "5"})) == (0, ())


def test_phototoxic_oils_sum_up_as_shares_of_what_each_may_be() -> None:
    oils = present({"Citrus Bergamia Peel Oil": "0.2", "Citrus Limon Peel Oil": "1", "Glycerin": "5"})
    bergamot, lemon = oils[0].key, oils[1].key
    # Tisserand and Young 2014: bergamot 0.4 %, lemon (expressed) 2 %.
    total, parts = phototoxic_sum(oils, {bergamot: D("0.4"), lemon: D(2)})
    assert (total, [(one.name, top) for one, top in parts]) == (
        1, [("Citrus Bergamia Peel Oil", D("0.4")), ("Citrus Limon Peel Oil", D(2))],
    )  # fmt: skip


BOUNDS = [
    ("at_least", "4.99", False), ("at_least", "5", True), ("above", "5", False), ("above", "5.01", True),
    ("up_to", "5", True), ("up_to", "5.01", False), ("below", "4.99", True), ("below", "5", False),
]  # fmt: skip


@pytest.mark.parametrize(("bound", "value", "speaks"), BOUNDS)
@pytest.mark.parametrize(
    "measure", [RuleSubject.PH, RuleSubject.WATER, RuleSubject.FREE_ALKALI, RuleSubject.PHOTOTOXIC, RuleSubject.AMOUNT]
)
def test_a_bound_holds_the_value_it_names_or_not(bound: str, value: str, speaks: bool, measure: RuleSubject) -> None:
    rule = replace(RULE, measure=measure, **{bound: D(5)})
    if measure is RuleSubject.AMOUNT:
        rule = replace(rule, selector=Selector(["Glycerin"]))
    measured = ProductFigures(
        water=D(value) if measure is RuleSubject.WATER else D(0),
        free_alkali=D(value) if measure is RuleSubject.FREE_ALKALI else D(0),
        phototoxic=D(value) if measure is RuleSubject.PHOTOTOXIC else D(0),
    )
    found = said(rule, measured, {"Glycerin": value}, ph=D(value) if measure is RuleSubject.PH else None)
    assert bool(found) is speaks
    for one in found:
        assert (one.found, one.limit) == (D(value), 5)


def test_a_finding_carries_amount_unit_names_and_words() -> None:
    rule = replace(RULE, measure=RuleSubject.AMOUNT, selector=Selector(["Glycerin", "Sorbitol"]), above=D(1))
    rule = replace(
        rule, weights={present({"Sorbitol": "1"})[0].key: D("0.5")}, why="it draws water", action="take less"
    )
    (one,) = said(rule, parts={"Glycerin": "2", "Sorbitol": "3", "Aqua": "95"})
    assert isinstance(one, Finding)
    assert (one.what, one.found, one.limit, one.unit) == ("Glycerin, Sorbitol: 3.5 %", D("3.5"), 1, LimitUnit.PERCENT)
    assert (one.inci, one.materials) == (("Glycerin", "Sorbitol"), ("jar of Glycerin", "jar of Sorbitol"))
    assert (one.why, one.action, one.severity) == ("it draws water", "take less", Severity.CAUTION)
    (kind,) = said(replace(RULE, what="a fixed word", at_least=D(3)))
    assert (kind.found, kind.limit, kind.what) == (None, None, "a fixed word")
    (acid,) = said(replace(RULE, measure=RuleSubject.PH, below=D(4)), ph=D(3))
    assert (acid.unit, acid.what) == (LimitUnit.PH, ": pH 3")
    (sun,) = said(replace(RULE, measure=RuleSubject.PHOTOTOXIC, above=D(1)), ProductFigures(D(0), D(0), D(2)))
    assert sun.unit is LimitUnit.RATIO


COMPANY = {
    "without, and it is there": ({"without": Selector(["Sorbitol"])}, {"Sorbitol": "1"}, "", False),
    "without, and it is not": ({"without": Selector(["Sorbitol"])}, {}, "", True),
    "beside, and it is there": ({"beside": Selector(["Sorbitol"])}, {"Sorbitol": "1"}, "", True),
    "beside, and it is not": ({"beside": Selector(["Sorbitol"])}, {}, "", False),
    "of another substance": ({"selector": Selector(["Sorbitol"])}, {}, "", False),
    "just too little water": ({"water_above": D(20)}, {}, "", False),
    "water enough": ({"water_above": D("19.9")}, {}, "", True),
    "acid enough": ({"ph_up_to": D(4)}, {}, "4", True),
    "not acid enough": ({"ph_up_to": D(4)}, {}, "4.01", False),
    "just not alkaline": ({"ph_above": D(9)}, {}, "9", False),
    "alkaline": ({"ph_above": D(9)}, {}, "9.01", True),
    "pH between": ({"ph_above": D(4), "ph_up_to": D(9)}, {}, "7", True),
    "pH not between": ({"ph_above": D(4), "ph_up_to": D(9)}, {}, "10", False),
    "pH not known": ({"ph_up_to": D(4)}, {}, "", False),
    "for what is rinsed off": ({"exposure": "rinse-off"}, {}, "", False),
    "for what stays": ({"exposure": "leave-on"}, {}, "", True),
    "for lips, of a product nobody named": ({"scope": frozenset({"lip"})}, {}, "", False),
    "for all but lips, of a product nobody named": ({"scope": frozenset({"!lip+!eye"})}, {}, "", True),
    "in another country": ({"jurisdictions": frozenset({"US"})}, {}, "", False),
}  # fmt: skip


@pytest.mark.parametrize(("terms", "parts", "ph", "speaks"), COMPANY.values(), ids=COMPANY)
def test_a_rule_speaks_only_in_the_company_it_asks_for(terms: dict, parts: dict, ph: str, speaks: bool) -> None:
    found = said(replace(RULE, **terms), ProductFigures(D(20), D(0), D(0)), parts, ph=D(ph) if ph else None)
    assert bool(found) is speaks


def test_a_measured_ph_says_more_of_the_alkali_than_an_estimate() -> None:
    rule = replace(RULE, measure=RuleSubject.FREE_ALKALI, at_least=D("0.5"))
    soda = present({"Sodium Hydroxide": "1"})
    measured = ProductFigures(D(0), D(1), D(0), alkali=tuple(soda))
    (found,) = said(rule, measured)
    assert (found.inci, found.what) == (("Sodium Hydroxide",), "Sodium Hydroxide: 1 %")
    assert said(rule, measured, ph=D(9)) == []


def test_of_a_group_the_gravest_rule_speaks_whatever_the_order() -> None:
    note, stop = replace(RULE, rule_id="N", severity=Severity.NOTE), replace(RULE, rule_id="S", severity=Severity.STOP)
    other = replace(RULE, rule_id="O", group="y", severity=Severity.NOTE)
    for rules in ([note, RULE, stop, other], [stop, other, RULE, note]):
        formula = FormulaFacts((), Exposure.LEAVE_ON)
        found = check_product_rules(formula, present({}), rules, "EU", NOTHING).findings
        assert sorted(one.rule for one in found) == ["O", "S"]
