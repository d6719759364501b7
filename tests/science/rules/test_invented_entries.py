"""How entries of the annexes, kinds that a formula gives away, oils without a sheet and open water are read.

The entries are invented, one thing at a time; the law itself is asked in ``test_law_tables.py`` and ``test_check.py``.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal as D
from typing import Any

import pytest

from app.science.composition import AllergenShare, DosedMaterial, Part
from app.science.preservation import Preservation, PreservativeSystem, Preserved, SystemVerdict
from app.science.rules.allergens import AllergenEntry, AllergenIndex
from app.science.rules.compatibility import TradeRule
from app.science.rules.constituents import Constituent, ConstituentIndex, check_likely, check_likely_allergens
from app.science.rules.coverage import uncovered
from app.science.rules.hair_dyes import HairDye, HairDyeIndex, check_hair_dyes, hair_dye_statements
from app.science.rules.implied import ImpliedKind, with_implied_kind
from app.science.rules.limits import LimitIndex
from app.science.rules.names import rule_key
from app.science.rules.natural_origin import natural_origin
from app.science.rules.process import check_process
from app.science.rules.prohibited import Barred, ProhibitedEntry, ProhibitedIndex, check_prohibited
from app.science.rules.scope import closeness, fits
from app.science.rules.selectors import Classes, Ingredient, Ingredients, Selector, ingredients
from app.science.rules.values import Exposure, Finding, FormulaFacts, HighestUse, Severity, Source, SubstanceFacts

from .test_limit_rows import row

STOP, CAUTION, NOTE = Severity.STOP, Severity.CAUTION, Severity.NOTE
HERE = Source("invented")


def one(name: str, percent: str = "1", *tags: str, **facts: Any) -> Ingredient:
    key = rule_key(name)
    return Ingredient(
        name, key, name.upper(), D(percent), (f"jar of {name}",), frozenset(tags), SubstanceFacts(**facts)
    )


def facts_of(*words: str, **more: Any) -> FormulaFacts:
    return FormulaFacts((), more.pop("exposure", Exposure.LEAVE_ON), products=frozenset(words), **more)


def weights(found: Sequence[Finding]) -> list[Severity]:
    return [f.severity for f in found]


# Annex II


def entry(condition: Barred = Barred.NEVER, *names: str, **more: Any) -> ProhibitedEntry:
    given: dict[str, Any] = {"entry": "II/7", "substance": "Badness", "doubtful": (), "cas": (), "source": HERE}
    return ProhibitedEntry(condition=condition, names=names or ("Bad",), **given | more)


def barred(entries: ProhibitedEntry, i: Ingredient, *words: str, ruled: frozenset[str] = frozenset()) -> Any:
    return check_prohibited([i], facts_of(*words), ProhibitedIndex([entries]), ruled)


PROHIBITED = [
    (entry(), one("Bad"), (), [STOP]),
    (entry(), one("Good"), (), []),
    (entry(Barred.READ), one("Bad"), (), [CAUTION]),
    (entry(Barred.NEVER, "Other", doubtful=("Bad",)), one("Bad"), (), [CAUTION]),
    (entry(Barred.NEVER, "Bad", doubtful=("Bad",)), one("Bad"), (), [STOP]),  # named and doubtful: it is named
    (entry(Barred.HAIR_DYE), one("Bad"), (), []),
    (entry(Barred.HAIR_DYE), one("Bad"), ("hair dye",), [STOP]),
    (entry(Barred.FRAGRANCE), one("Bad"), (), [CAUTION]),
    (entry(Barred.FRAGRANCE), one("Bad", "1", "kind:perfume"), (), [STOP]),
    (entry(Barred.FRAGRANCE, "Bad Oil"), one("Bad Oil"), (), [STOP]),
    (entry(Barred.NEVER, "Bad *"), one("Bad"), (), [STOP]),
    (entry(Barred.NEVER, "Bad *"), one("Bad Root Extract"), (), [STOP]),
    (entry(Barred.NEVER, "Bad *"), one("Badge"), (), []),
    (entry(Barred.NEVER, "Bad*"), one("Badge"), (), [STOP]),
]  # fmt: skip


@pytest.mark.parametrize(("entries", "i", "words", "expected"), PROHIBITED)
def test_a_prohibited_name_weighs_as_its_entry_says(
    entries: ProhibitedEntry, i: Ingredient, words: tuple[str, ...], expected: list[Severity]
) -> None:
    assert weights(barred(entries, i, *words).findings) == expected
    assert barred(entries, i, *words, ruled=frozenset({i.key})).findings == ()


def test_a_prohibition_says_entry_substance_and_what_to_do() -> None:
    (found,) = barred(entry(), one("Bad")).findings
    assert (found.rule, found.what) == ("EU 1223/2009 Annex II entry 7", "Bad: prohibited (Badness).")
    assert (found.action, found.materials) == ("take it out", ("jar of Bad",))
    (read,) = barred(entry(Barred.READ), one("Bad")).findings
    assert read.action == "read the entry, and ask a qualified assessor"
    for length, shown in ((160, "x" * 160), (161, "x" * 157 + "...")):
        assert f"({shown})" in barred(entry(substance="x" * length), one("Bad")).findings[0].what
    asked = barred(entry(Barred.SUPPLIER), one("Bad"))
    assert asked.findings == ()
    assert asked.not_checked == (
        "Bad: Badness (EU 1223/2009 Annex II entry 7); ask the supplier for the statement.",
    )  # fmt: skip


def test_of_two_entries_the_first_in_the_list_names_a_substance() -> None:
    index = ProhibitedIndex([entry(), replace(entry(), entry="II/8")])
    assert [f.rule[-1] for f in check_prohibited([one("Bad")], facts_of(), index, frozenset()).findings] == ["7"]


# Hair dyes

DYE = HairDye(
    "III/9", ("Dye",), {"DYE": D("0.5")}, oxidative=True, oxidative_max=D(2), direct=True, direct_max=D(1),
    eyelashes=True, needs_nitrosamine_data=False, has_legend=True, named_as="phenylenediamines", also_colour=False,
    listed_from=None, source=HERE,
)  # fmt: skip
OXIDATIVE, DIRECT = ("hair dye", "oxidative hair dye"), ("hair dye", "non-oxidative hair dye")
LASHES = ("eyelash dye", "professional")
# (dye, % of it, words, day, expected): half of it counts, so 4 % are the 2 % allowed
DYES: list[tuple[HairDye, str, tuple[str, ...], date | None, list[tuple[Any, ...]]]] = [
    (DYE, "4", OXIDATIVE, None, []),
    (DYE, "4.2", OXIDATIVE, None, [(STOP, D(2), D("2.1"))]),
    (DYE, "2", DIRECT, None, []),
    (DYE, "2.2", DIRECT, None, [(STOP, D(1), D("1.1"))]),
    (DYE, "5", (*OXIDATIVE, "non-oxidative hair dye"), None, [(STOP, D(2), D("2.5")), (STOP, D(1), D("2.5"))]),
    (replace(DYE, oxidative=False), "1", OXIDATIVE, None, [(STOP, None, None)]),
    (replace(DYE, direct=False), "1", DIRECT, None, [(STOP, None, None)]),
    (replace(DYE, oxidative_max=None), "90", OXIDATIVE, None, []),
    (DYE, "4", LASHES, None, []),
    (DYE, "4.2", LASHES, None, [(STOP, D(2), D("2.1"))]),
    (DYE, "1", ("eyelash",), None, [(STOP, None, None)]),
    (replace(DYE, eyelashes=False), "1", LASHES, None, [(STOP, None, None)]),
    (DYE, "1", (), None, [(CAUTION, None, None)]),
    (DYE, "1", ("face",), None, [(STOP, None, None)]),
    (replace(DYE, also_colour=True), "1", ("face",), None, []),
    (replace(DYE, listed_from=date(2026, 5, 1)), "1", OXIDATIVE, date(2026, 4, 30), [(CAUTION, None, None)]),
    (replace(DYE, listed_from=date(2026, 5, 1)), "1", OXIDATIVE, date(2026, 5, 1), []),
    (replace(DYE, listed_from=date(2026, 5, 1)), "1", OXIDATIVE, None, []),
]


@pytest.mark.parametrize(("dye", "percent", "words", "on", "expected"), DYES)
def test_a_dye_is_allowed_up_to_its_amount_for_the_way_it_dyes(
    dye: HairDye, percent: str, words: tuple[str, ...], on: date | None, expected: list[tuple[Any, ...]]
) -> None:
    found = check_hair_dyes([one("Dye", percent), one("Water")], facts_of(*words, on=on), HairDyeIndex([dye])).findings
    assert [(f.severity, f.limit, f.found) for f in found] == expected


def test_a_dye_says_where_it_is_allowed_and_what_the_supplier_has_to_show() -> None:
    (found,) = check_hair_dyes([one("Dye")], facts_of(), HairDyeIndex([DYE])).findings
    assert found.what == "Dye: allowed only in hair dyes (at most 2 % with oxidation, 1 % without)."
    for words, way in ((("eyelash",), "only for professional use on eyelashes"), (("face",), "allowed only in hair")):
        assert way in check_hair_dyes([one("Dye")], facts_of(*words), HairDyeIndex([DYE])).findings[0].what
    asking = HairDyeIndex([replace(DYE, needs_nitrosamine_data=True)])
    assert len(check_hair_dyes([one("Dye")], facts_of(*OXIDATIVE), asking).not_checked) == 1
    assert check_hair_dyes([one("Dye")], facts_of(*OXIDATIVE), HairDyeIndex([DYE])).not_checked == ()


def test_a_hair_dye_carries_its_sentences_and_nothing_else_does() -> None:
    index = HairDyeIndex(
        [DYE, replace(DYE, names=("B",), factors={"B": D(1)}, has_legend=False, named_as="resorcinol")]
    )
    present = [one("Dye"), one("B"), one("Water")]
    assert hair_dye_statements(present, facts_of("face"), index) == ()
    gloves, plain, legend = hair_dye_statements(present, facts_of("hair dye"), index)
    assert gloves.text.startswith("Contains phenylenediamines. Wear gloves.")
    assert plain.text == "Contains resorcinol."
    assert (legend.inci, gloves.inci, plain.inci) == (("Dye",), ("Dye",), ("B",))
    assert all(s.is_legal for s in (gloves, plain, legend))
    assert hair_dye_statements([one("B")], facts_of("hair dye"), index) == (plain,)


# The kind that a formula gives away

KIND = ImpliedKind("peel", frozenset({"peel"}), Exposure.RINSE_OFF, Selector(["Acid"]), D(10), None, D(4))
GIVEN_AWAY: list[tuple[ImpliedKind, str, dict[str, Any], bool]] = [
    (KIND, "10", {"ph": D(4)}, True),
    (KIND, "9.9", {"ph": D(4)}, False),
    (KIND, "10", {"ph": D("4.1")}, False),
    (KIND, "10", {}, False),
    (KIND, "10", {"ph": D(4), "exposure": Exposure.LEAVE_ON}, False),
    (replace(KIND, exposure=None), "10", {"ph": D(4), "exposure": Exposure.LEAVE_ON}, True),
    (replace(KIND, ph_up_to=None), "10", {}, True),
    (replace(KIND, ph_up_to=None, ph_above=D(9)), "10", {"ph": D(9)}, False),
    (replace(KIND, ph_up_to=None, ph_above=D(9)), "10", {"ph": D("9.1")}, True),
    (replace(KIND, ph_above=D(2)), "10", {"ph": D(2)}, False),
    (replace(KIND, ph_above=D(2)), "10", {"ph": D(3)}, True),
    (replace(KIND, selector=Selector(["Other"]), at_least=D(0)), "10", {"ph": D(3)}, False),
]


@pytest.mark.parametrize(("kind", "percent", "facts", "given_away"), GIVEN_AWAY)
def test_a_formula_gives_its_kind_away_by_amount_exposure_and_ph(
    kind: ImpliedKind, percent: str, facts: dict[str, Any], given_away: bool
) -> None:
    asked = facts_of(**{"exposure": Exposure.RINSE_OFF, **facts})
    present = Ingredients([one("Acid", percent), one("Water")])
    found, lines = with_implied_kind(asked, present, [kind])
    assert found.products == (kind.words if given_away else frozenset())
    said = "The kind of product was not given; it was taken for peel because of Acid."
    assert lines == ((said,) if given_away else ())
    named = replace(asked, products=frozenset({"mask"}))
    assert with_implied_kind(named, present, [kind]) == (named, ())


# Scopes and selectors


@pytest.mark.parametrize(
    ("scope", "words", "close"),
    [
        ({"toothpaste"}, {"toothpaste", "oral"}, 2), ({"oral"}, {"toothpaste", "oral"}, 1), ({"lip"}, {"oral"}, 0),
        ({"hair+leave-on hair"}, {"hair", "leave-on hair"}, 3), ({"hair+leave-on hair"}, {"hair"}, 0),
        ({"!lip"}, {"hair"}, 1), ({"!lip"}, {"lip"}, 0), ({"eye+!mascara"}, {"eye"}, 1), ({"!lip"}, set(), 1),
        (set(), {"hair"}, 0),
    ],
)  # fmt: skip
def test_a_scope_fits_the_closer_the_narrower_its_words(scope: set[str], words: set[str], close: int) -> None:
    assert closeness(frozenset(scope), frozenset(words)) == close
    assert fits(frozenset(scope), frozenset(words)) is (not scope or close > 0)


SOAP = one("Sodium Olivate", "3", "class:soap")
CHOSEN = [
    (Selector(["Sodium Olivate"]), True), (Selector(["Sodium Olive"]), False), (Selector(["Sodium *"]), True),
    (Selector(["Potassium *"]), False), (Selector(["class:soap"]), True), (Selector(["class:oil"]), False),
    (Selector(["electrolyte"]), False), (Selector(["class:soap"], ["Sodium Olivate"]), False),
    (Selector(["class:soap"], ["Sodium Palmate"]), True), (Selector(["Sodium *"], ["class:soap"]), False),
    (Selector(["class:oil", "Sodium Olivate"]), True),
]  # fmt: skip


@pytest.mark.parametrize(("selector", "taken"), CHOSEN)
def test_a_side_of_a_rule_takes_names_patterns_and_tags_but_for_its_exceptions(selector: Selector, taken: bool) -> None:
    assert selector.takes(SOAP) is taken
    assert selector.hits(Ingredients([SOAP, one("Water")])) == ([SOAP] if taken else [])


def test_a_name_is_spoken_of_itself_and_not_only_by_its_class() -> None:
    assert Selector(["Sodium Olivate"]).names("Sodium Olivate")
    assert Selector(["Sodium *"]).names("SODIUM OLIVATE")
    assert not Selector(["class:soap"]).names("Sodium Olivate")
    assert not Selector(["Other"]).names("Sodium Olivate")
    assert Selector(["electrolyte"]).takes(one("Salt", "1", "electrolyte"))


def test_a_substance_is_summed_over_what_brings_it_with_its_classes_and_water() -> None:
    known = {"SALT": SubstanceFacts(electrolyte=True), "JUICE": SubstanceFacts(water_percent=D(80))}
    parts = [
        DosedMaterial("a", D(50), (Part("Salt", D(10)), Part("Juice", D(40)), Part("Aqua", D(50)))),
        DosedMaterial("b", D(10), (Part("SALT", D(30), allergens=(AllergenShare("Linalool", D(1)),)),)),
    ]
    found = ingredients(parts, Classes([("salty", "SAL*"), ("salty", "BRINE"), ("sour", "ACID")]), known)
    assert {i.name: i.percent for i in found} == {"Salt": D(8), "Juice": D(20), "Aqua": D(25)}
    salt, juice, water = found
    assert salt.tags == {"class:salty", "kind:ingredient", "electrolyte"}
    assert salt.is_a("sour", "salty")
    assert not salt.is_a("sour")
    assert (salt.materials, juice.materials) == (("a", "b"), ("a",))
    assert (salt.water, juice.water, water.water) == (0, 16, 25)
    assert found.keys == {"SALT", "JUICE", "AQUA"}
    assert "electrolyte" in found.tags


# Oils without a sheet

OIL = ConstituentIndex({
    "Oil": (Constituent("Linalool", D(20), D(30), D(40), HERE), Constituent("Eugenol", D(0), D(2), D(3), HERE)),
    "Wintergreen": (Constituent("Salicylate", D(90), D(98), D(99), HERE),),
    "Almost": (Constituent("Salicylate", D("89.9"), D(98), D(99), HERE),),
})  # fmt: skip
THRESHOLDS = {Exposure.LEAVE_ON: D("0.001"), Exposure.RINSE_OFF: D("0.01")}
ALLERGENS = AllergenIndex(
    [
        AllergenEntry(name, "III/1", frozenset({name.upper()}), frozenset(), THRESHOLDS, "2023", HERE, False)
        for name in ("Linalool", "Eugenol")
    ]
)


def bottle(name: str, percent: str, *sheet: AllergenShare, share: int = 100) -> FormulaFacts:
    return FormulaFacts(
        (DosedMaterial("bottle", D(percent), (Part(name, D(share), allergens=sheet),)),), Exposure.LEAVE_ON
    )


# The lowest content, or half the typical one where that is more: 20 % of linalool, 1 % of eugenol.
@pytest.mark.parametrize(
    ("percent", "share", "named"),
    [
        ("0.005", 100, []), ("0.0051", 100, ["Linalool"]), ("0.1", 100, ["Linalool"]),
        ("0.11", 100, ["Linalool", "Eugenol"]), ("0.0101", 50, ["Linalool"]), ("0.01", 50, []),
    ],
)  # fmt: skip
def test_an_oil_without_a_sheet_likely_brings_what_it_usually_holds(percent: str, share: int, named: list[str]) -> None:
    found = check_likely_allergens(bottle("Oil", percent, share=share), ALLERGENS, OIL).findings
    assert [f.inci for f in found] == ([("Oil", *named)] if named else [])
    sheet = AllergenShare("Linalool", D(25))
    assert check_likely_allergens(bottle("Oil", percent, sheet), ALLERGENS, OIL).findings == ()


def test_an_oil_that_likely_brings_allergens_says_between_what_they_lie() -> None:
    (found,) = check_likely_allergens(bottle("Oil", "1"), ALLERGENS, OIL).findings
    assert found.what == (
        "Oil: no allergen sheet; it is likely to carry Linalool (20 to 40 %), Eugenol (0 to 3 %), to be named too."
    )
    assert found.materials == ("bottle",)


@pytest.mark.parametrize(
    ("oil", "percent", "expected"),
    [
        ("Oil", "3.4", [(CAUTION, "1.02")]), ("Oil", "3.3", []), ("Wintergreen", "1.1", [(STOP, "1.078")]),
        ("Almost", "1.1", [(CAUTION, "1.078")]), ("Other", "50", []),
    ],
)  # fmt: skip
def test_a_limit_on_what_an_oil_usually_holds_is_a_caution_unless_it_is_nearly_all_of_it(
    oil: str, percent: str, expected: list[tuple[Any, ...]]
) -> None:
    rows = [row("a", "1", factors={"LINALOOL": D(1)}), row("b", "1", factors={"SALICYLATE": D(1)}, sum_key="b")]
    asked = bottle(oil, percent)
    found = check_likely(asked, [one(oil)], LimitIndex(rows), OIL).findings
    assert [(f.severity, str(f.found.normalize())) for f in found if f.found is not None] == expected
    for f in found:
        assert f.what.startswith(f"By the usual content of {oil}, which has no sheet here: ")
    measured = bottle(oil, percent, AllergenShare("Linalool", D(90)))
    assert check_likely(measured, [one(oil)], LimitIndex(rows), OIL).findings == ()


# What the tables do not hold, and natural origin


def test_a_function_of_a_positive_list_without_a_row_is_said_to_be_uncovered() -> None:
    keeper = one("Keeper", functions=frozenset({"preservative"}))
    assert len(uncovered([keeper], lambda _: False, lambda _: False)) == 1
    assert uncovered([keeper], lambda _: True, lambda _: False) == ()
    assert uncovered([one("Oil")], lambda _: False, lambda _: False) == ()
    colour = one("Red", "1", "kind:colourant", functions=frozenset({"hair dyeing"}))
    (line,) = uncovered([colour], lambda _: False, lambda _: False)
    assert "Annex IV" in line
    assert uncovered([colour], lambda _: False, lambda _: True) == ()
    assert "Annex IV" in uncovered([one("Red", "1", "class:colourant")], lambda _: False, lambda _: False)[0]


def test_natural_origin_is_a_mean_by_mass() -> None:
    """By hand: (40 + 30 x 0.5 + 10 x 0 or 1) of 80, and of 40 without the water."""
    found = natural_origin([one("Aqua", "40"), one("Half", "30", natural_origin_index=D("0.5")), one("What", "10")])
    assert (found.with_water, found.with_water_high) == (D("68.75"), D("81.25"))
    assert (found.without_water, found.without_water_high) == (D("37.5"), D("62.5"))
    assert found.unknown == ("What",)


# Open water

RULES = {
    name: TradeRule(name, CAUTION, name, "why", "do", "invented", "")
    for name in ("P01", "P02", "P03", "P04", "P05", "P06", "P07", "P10", "P11")
}


def system(name: str, verdict: SystemVerdict, percent: float = 0.1, acts: bool = False) -> PreservativeSystem:
    return PreservativeSystem(name, percent, percent, None, (3.0, 6.0), verdict, "", acts)


def process(
    present: list[Ingredient], kept: Preservation | None = None, *words: str, **facts: Any
) -> Sequence[Finding]:
    return check_process(facts_of(*words, **facts), RULES, Ingredients(present), lambda _: kept).findings


WATER, BAD = one("Aqua", "90"), Preserved.UNPRESERVED
OUTSIDE, LITTLE = SystemVerdict.OUTSIDE, SystemVerdict.LITTLE
ACID, ESTER = system("Benzoic Acid", OUTSIDE), system("Ester", LITTLE)


def open_water(*systems: PreservativeSystem, status: Preserved = BAD) -> Preservation:
    return Preservation(systems, (), (), status)


HELPER = one("Helper", "1", "class:helper_antimicrobial")
OPEN: list[tuple[list[Ingredient], Preservation | None, tuple[str, ...], dict[str, Any], list[tuple[Any, ...]]]] = [
    ([WATER], open_water(), (), {}, [("P01", CAUTION)]),
    ([WATER], None, (), {}, []),
    ([WATER], open_water(status=Preserved.PRESERVED), (), {}, []),
    ([WATER], open_water(status=Preserved.PARTLY), (), {}, []),
    ([WATER], open_water(status=Preserved.NO_WATER), (), {}, []),
    ([WATER], open_water(status=Preserved.UNSURE), (), {}, []),
    ([WATER], open_water(status=Preserved.LOW_RISK), (), {}, [("P01", CAUTION)]),
    ([WATER], open_water(system("X", OUTSIDE, acts=True), status=Preserved.LOW_RISK), (), {"ph": D(7)}, []),
    ([WATER], open_water(system("X", OUTSIDE, acts=True)), (), {"ph": D(7)}, [("P01", CAUTION)]),
    ([WATER], open_water(ACID), (), {}, []),  # a predicted pH is too little to alarm by
    ([WATER], open_water(ACID), (), {"ph": D("5.6")}, [("P01", CAUTION)]),
    ([WATER], open_water(ACID), (), {"ph": D("5.5")}, [("P01", NOTE)]),
    ([WATER], open_water(ESTER), (), {"ph": D("5.5")}, [("P01", CAUTION)]),
    ([WATER], open_water(ACID, ESTER), (), {"ph": D("5.5")}, [("P01", CAUTION)]),
    ([WATER], open_water(system("X", SystemVerdict.WRONG_USE)), (), {"ph": D(7)}, []),
    ([WATER], open_water(system("A", LITTLE, 0.125), system("B", LITTLE, 0.125)), (), {}, [("P01", NOTE)]),
    ([WATER], open_water(system("A", LITTLE, 0.12), system("B", LITTLE, 0.125)), (), {}, [("P01", CAUTION)]),
    ([WATER], open_water(system("A", LITTLE, 0.3)), (), {}, [("P01", CAUTION)]),
    ([WATER], open_water(), ("eye",), {}, [("P01", STOP)]),
    ([WATER], open_water(ACID), ("wipes",), {"ph": D(5)}, [("P01", STOP)]),
    ([WATER, HELPER], open_water(), (), {}, [("P07", CAUTION)]),
    ([WATER, HELPER], open_water(system("Helper", LITTLE)), (), {}, [("P07", CAUTION)]),
    ([WATER, HELPER], open_water(ESTER), (), {}, [("P01", CAUTION)]),
    ([WATER], open_water(system("X", SystemVerdict.SUPPORT)), (), {}, [("P01", CAUTION)]),
    ([WATER, one("New", "1", "class:preservative")], open_water(), (), {}, []),  # one that nobody judged
    ([WATER, one("New", "1", functions=frozenset({"preservative"}))], open_water(), (), {}, []),
    ([WATER, one("New", "1", "class:cationic_surfactant", functions=frozenset({"preservative"}))], open_water(), (), {},
     [("P01", CAUTION)]),
    ([WATER, one("Ester", "1", "class:preservative")], open_water(ESTER), (), {}, [("P01", CAUTION)]),
    ([one("Juice", "10", water_percent=D(30))], open_water(), (), {}, [("P01", CAUTION)]),
    ([one("Juice", "10", water_percent=D(29))], open_water(), (), {}, []),
    # By Raoult: 30 g of water are 1.665 mol, 60 g at 92 g/mol 0.652 mol: 0.72, which helps; 40 g leave 0.79, 20 g 0.88.
    ([one("Aqua", "30"), one("Syrup", "60", "class:humectant", molar_mass_g_mol=D(92))], open_water(ESTER), (), {},
     [("P01", NOTE)]),
    ([one("Aqua", "30"), one("Syrup", "60", "class:humectant", molar_mass_g_mol=D(92))], open_water(), (), {},
     [("P01", CAUTION)]),
    ([one("Aqua", "30"), one("Syrup", "20", "class:humectant", molar_mass_g_mol=D(92))], open_water(ESTER), (), {},
     [("P01", CAUTION)]),
    ([one("Aqua", "30"), one("Syrup", "70", "class:humectant", molar_mass_g_mol=D(92))], open_water(ESTER), (), {}, []),
]  # fmt: skip


@pytest.mark.parametrize(("present", "kept", "words", "facts", "expected"), OPEN)
def test_open_water_weighs_by_what_is_there_to_keep_it(
    present: list[Ingredient], kept: Preservation | None, words: tuple[str, ...], facts: dict[str, Any], expected: list
) -> None:
    assert [(f.rule, f.severity) for f in process(present, kept, *words, **facts)] == expected


def test_open_water_names_its_figures_and_what_does_not_count() -> None:
    plain, idle, helped = (
        process([one("Aqua", "80.12345"), *more], open_water(*systems))[0]
        for more, systems in (([], ()), ([], (ESTER,)), ([HELPER], ()))
    )
    assert (plain.what, plain.found, plain.inci) == ("80.12 % water and no preservative.", D("80.12345"), ("Aqua",))
    assert idle.what == "80.12 % water, and what preserves it does not count: Ester below the usual amount."
    assert idle.inci == ("Aqua", "Ester")
    assert helped.what == "80.12 % water and no preservative of the list, only Helper."


def use(percent: str, assessed: bool, exposure: Exposure = Exposure.LEAVE_ON) -> HighestUse:
    return HighestUse(exposure, D(percent), assessed, Source("study"))


ACTIVE = {"group": "actives", "use_high": D(1)}
USED: list[tuple[str, dict[str, Any], tuple[str, ...], str]] = [
    ("5.12345", {"highest_uses": (use("5", True),)}, (), "A at 5.123 %, assessed up to 5 % leave-on."),
    ("5", {"highest_uses": (use("5", True),)}, (), ""),
    ("5.1", {"highest_uses": (use("5", True, Exposure.RINSE_OFF),)}, (), ""),
    ("5.1", {"highest_uses": (use("6", True), use("5", True))}, (), "A at 5.1 %, assessed up to 5 % leave-on."),
    ("1.3", ACTIVE, (), "A at 1.3 %, usual up to 1 %."),
    ("1.25", ACTIVE, (), ""),
    ("1.3", {"group": "waxes", "use_high": D(1)}, (), ""),
    ("1.3", ACTIVE, ("class:preservative",), ""),
    ("1.3", ACTIVE, ("kind:perfume",), ""),
    ("1.3", ACTIVE, ("class:fragrance",), ""),
    ("1.3", ACTIVE | {"highest_uses": (use("2", False),)}, (), ""),
    ("2.6", ACTIVE | {"highest_uses": (use("2", False),)}, (), "A at 2.6 %, usual up to 2 %."),
    ("1.3", ACTIVE | {"highest_uses": (use("2", True),)}, (), "A at 1.3 %, usual up to 1 %."),
    ("20", ACTIVE, (), "A at 20 %, usual up to 1 %."),
    ("20.1", ACTIVE, (), ""),
]  # fmt: skip


@pytest.mark.parametrize(("percent", "facts", "tags", "said"), USED)
def test_an_amount_is_held_against_what_was_assessed_reported_and_usual(
    percent: str, facts: dict[str, Any], tags: tuple[str, ...], said: str
) -> None:
    assert [f.what for f in process([one("A", percent, *tags, **facts)])] == ([said] if said else [])


@pytest.mark.parametrize(
    ("ph", "limit"), [("3", None), ("2.9", D(3)), ("8", None), ("8.1", D(8)), (None, None)]
)  # fmt: skip
def test_a_material_is_at_ease_up_to_the_ends_of_its_range(ph: str | None, limit: D | None) -> None:
    present = [one("A", "1", ph_min=D(3), ph_max=D(8))]
    found = process(present, ph=None if ph is None else D(ph))
    assert [(f.rule, f.limit) for f in found] == ([("P05", limit)] if limit else [])
    open_ = check_process(facts_of(ph=None if ph is None else D(ph)), RULES, Ingredients(present), lambda _: None)
    assert open_.not_checked == (() if ph else ("pH ranges of A: no pH was given.",))
    for half in ({"ph_min": D(3)}, {"ph_max": D(8)}):
        assert [f.limit for f in process([one("A", "1", **half)], ph=D(5))] == []


HOT = {"temperatures_c": {"jar of A": D(60), "jar of Alcohol": D(50)}}


def test_heat_is_that_of_the_hottest_jar_and_an_alcohol_is_added_up() -> None:
    assert [f.found for f in process([one("A", "1", max_temp_c=D(59))], **HOT)] == [60]
    assert process([one("A", "1", max_temp_c=D(60))], **HOT) == ()
    assert process([one("B", "1", max_temp_c=D(5))], **HOT) == ()
    spirits = [one("Alcohol", "15", "class:alcohol"), one("Spirit", "5.5", "class:alcohol")]
    (found,) = process(spirits, **HOT)
    assert (found.found, found.limit, found.inci) == (50, 40, ("Alcohol", "Spirit"))
    assert found.what == "Alcohol, Spirit: 20.5 % in a phase at 50 °C."
    assert process([replace(spirits[1], percent=D(25))], **HOT) == ()  # its own phase is cool


def test_fatty_acids_are_held_by_an_alkali_and_a_neutraliser_alike() -> None:
    oil, water = one("Fat", "10", "class:oil"), one("Aqua", "80")
    kept = open_water(status=Preserved.PRESERVED)

    def loose(*more: Ingredient) -> bool:
        return any(f.rule == "P02" for f in process([water, oil, *more], kept))

    assert loose()
    assert loose(one("Stearic Acid", "2"))
    assert not loose(one("Stearic Acid", "2"), one("Sodium Hydroxide", "0.1"))
    assert not loose(one("Gel", "1", "class:carbomer"), one("Base", "1", "class:neutraliser"))
    assert loose(one("Base", "1", "class:neutraliser"))
    assert loose(one("Sodium Hydroxide", "0.79"))
    assert not loose(one("Sodium Hydroxide", "0.8"))
    assert not loose(one("Holder", "1", "class:emulsifier"))
    assert not any(f.rule == "P02" for f in process([water, one("Sodium Hydroxide", "1")], kept))
    assert any(f.rule == "P02" for f in process([water, one("Mint Oil", "1", "class:essential_oil")], kept))
