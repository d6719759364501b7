"""Every row of the newer tables fires where it should and is silent where it should; a table is one test."""

from decimal import Decimal

import pytest

from app.reference.compatibility import classes, facts_for
from app.reference.constituents import constituent_index
from app.reference.hair_dyes import dye_names, hair_dyes
from app.reference.product_kinds import kinds_by_group, product_kinds, propose_kind, words_for
from app.reference.product_rules import phototoxic_limits, product_rules
from app.reference.prohibited import prohibited_entries, prohibited_index
from app.reference.rulebook import colourants, rulebook
from app.science.composition import DosedMaterial, Part, PartKind
from app.science.rules.check import check_formula
from app.science.rules.colourants import UseArea, check_colourants
from app.science.rules.hair_dyes import HairDyeIndex, check_hair_dyes
from app.science.rules.product_rules import ProductRule, RuleSubject
from app.science.rules.prohibited import Barred, check_prohibited
from app.science.rules.scope import closeness, fits
from app.science.rules.selectors import Ingredients, ingredients
from app.science.rules.values import Exposure, FormulaFacts, Severity

D = Decimal
COMMON = (
    *("Aqua", "Glycerin", "Cetearyl Alcohol", "Parfum", "Citric Acid", "Sodium Chloride", "Tocopherol", "Panthenol"),
    *("Xanthan Gum", "Helianthus Annuus Seed Oil", "Butyrospermum Parkii Butter", "Cera Alba", "Zinc Oxide", "Talc"),
    *("Titanium Dioxide", "Mica", "Phenoxyethanol", "Sodium Benzoate", "Retinol", "Salicylic Acid", "Urea"),
    *("Allantoin", "Niacinamide", "Caffeine", "Lactic Acid", "Lavandula Angustifolia Oil", "Citrus Limon Peel Oil"),
    *("Ficus Carica Fruit Extract", "Prunus Amygdalus Dulcis Oil"),
)


def present(parts: dict[str, Decimal], kind: PartKind = PartKind.INGREDIENT) -> Ingredients:
    made = tuple(DosedMaterial(n, p, (Part(n, D(100), kind=kind),)) for n, p in parts.items())
    return ingredients(made, classes(), facts_for(parts))


def facts(parts: dict[str, Decimal], exposure: str = "leave-on", words: frozenset[str] = frozenset(), **more):
    made = tuple(DosedMaterial(n, p, (Part(n, D(100)),)) for n, p in parts.items())
    return FormulaFacts(made, Exposure(exposure), more.pop("ph", None), words, **more)


def test_annex_ii_is_whole_and_every_name_of_it_is_met() -> None:
    entries, index = prohibited_entries(), prohibited_index()
    numbers = {int(e.entry.removeprefix("II/").rstrip("abcdef")) for e in entries}
    assert len(entries) == 1736
    assert {1, 372, 1339, 1670, 1731, 1767} <= numbers
    silent = []
    for entry in entries:
        for name in (n.replace(" *", " Sulfate") for n in entry.names):
            words = frozenset({"hair dye"}) if entry.condition == Barred.HAIR_DYE else frozenset()
            verdict = check_prohibited(present({name: D("0.01")}), facts({}, words=words), index, frozenset())
            if not verdict.findings and not verdict.not_checked:
                silent.append((entry.entry, name))
            if entry.condition == Barred.NEVER:
                assert {f.severity for f in verdict.findings} <= {Severity.STOP}, name
    assert not silent


def test_annex_ii_lets_common_materials_be() -> None:
    verdict = check_prohibited(present(dict.fromkeys(COMMON, D(1))), facts({}), prohibited_index(), frozenset())
    assert not verdict.findings


def test_a_colour_that_is_barred_in_hair_dyes_is_free_elsewhere() -> None:
    """Annex II entry 1341: CI 14700 (Ponceau SX) when used in hair dyes."""
    found = [
        check_prohibited(
            present({"Ponceau SX": D(1)}), facts({}, words=words), prohibited_index(), frozenset()
        ).findings
        for words in (words_for("hair dye, non-oxidative"), words_for("lipstick"))
    ]
    assert [len(each) for each in found] == [1, 0]


def test_every_hair_dye_has_its_amount_and_its_place() -> None:
    index = HairDyeIndex(hair_dyes())
    assert len(hair_dyes()) >= 120
    ways = (("hair dye, oxidative", "oxidative", "oxidative_max"), ("hair dye, non-oxidative", "direct", "direct_max"))
    for dye in hair_dyes():
        name = dye.names[0]
        factor = next(iter(dye.factors.values()))
        for kind, allowed, maximum in ways:
            top = getattr(dye, maximum)
            amounts = {top / factor: False, top / factor * D("1.01"): True} if top else {D("0.01"): False}
            for amount, over in amounts.items():
                found = check_hair_dyes(present({name: amount}), facts({}, words=words_for(kind)), index).findings
                assert bool(found) == (over or not getattr(dye, allowed)), (dye.entry, kind, amount)
        elsewhere = check_hair_dyes(present({name: D("0.1")}), facts({}, words=words_for("body lotion")), index)
        assert bool(elsewhere.findings) != dye.also_colour, dye.entry


def test_a_dye_for_lashes_is_for_professionals_or_not_at_all() -> None:
    index, tint = HairDyeIndex(hair_dyes()), words_for("brow tint")
    assert check_hair_dyes(present({"p-Phenylenediamine": D(1)}), facts({}, words=tint), index).findings
    named = check_hair_dyes(present({"Resorcinol": D("0.5")}), facts({}, words=tint | {"professional"}), index)
    assert not named.findings


@pytest.mark.parametrize(
    ("area", "words", "exposure", "barred"),
    [
        (UseArea.ALL, "mascara", "leave-on", False),
        (UseArea.NOT_EYES, "mascara", "leave-on", True),
        (UseArea.NOT_EYES, "lipstick", "leave-on", False),
        (UseArea.NOT_MUCOUS, "lipstick", "leave-on", True),
        (UseArea.NOT_MUCOUS, "body lotion", "leave-on", False),
        (UseArea.RINSE_OFF, "shampoo", "rinse-off", False),
        (UseArea.RINSE_OFF, "body lotion", "leave-on", True),
    ],
)
def test_every_colour_of_annex_iv_by_its_area(area: UseArea, words: str, exposure: str, barred: bool) -> None:
    """The column of Annex IV: 1 all products, 2 not near the eyes, 3 not on mucous membranes, 4 rinse-off."""
    index = rulebook("EU").colourants
    ones = [one for one in colourants() if one.eu_area == area and one.ci.startswith("CI ")]
    assert len(ones) >= 3
    for one in ones:
        asked = facts({}, exposure, words_for(words))
        found = check_colourants(present({one.ci: D("0.0004")}, PartKind.COLOURANT), asked, index, "EU").findings
        assert bool(found) is barred, one.ci


def test_the_list_of_colours_is_whole() -> None:
    numbers = {one.ci for one in colourants() if one.eu_area is not None}
    assert len(numbers) >= 150
    assert {"CI 10006", "CI 77891", "CI 75810", "ACID RED 195", "BEETROOT RED"} <= numbers


AMOUNTS = [rule for rule in product_rules() if rule.measure == RuleSubject.AMOUNT]


def words_of(rule: ProductRule) -> frozenset[str]:
    ways = [{p for p in way.split("+") if not p.startswith("!")} for way in sorted(rule.scope)]
    return frozenset(max(ways, key=len, default=set()))


def guilty(rule: ProductRule, share: Decimal) -> FormulaFacts:
    """A formula with so much of one substance of the rule, in the setting that the rule asks for."""
    kinds = {"class:essential_oil": "Pelargonium Graveolens Oil", "class:alcohol": "Alcohol"}
    kinds |= {"class:coal_tar_dye": "HC Blue No. 2", "kind:perfume": "Parfum"}
    assert rule.selector
    item = rule.selector.items[0]
    name = kinds.get(item, item.replace("*", " X").replace("  ", " ").strip())
    bound = rule.at_least if rule.at_least is not None else rule.above or D("0.0001")
    weight = next(
        (w for key, w in rule.weights.items() if key == "".join(c for c in name.upper() if c.isalnum())), D(1)
    )
    parts = {name: max(bound, D("0.0001")) * share / weight}
    if rule.beside is not None:
        first = rule.beside.items[0]
        parts.setdefault({"class:cationic_surfactant": "Behentrimonium Chloride"}.get(first, first), D("0.001"))
    if rule.water_above is not None:
        parts["Aqua"] = rule.water_above + 1
    acid = rule.ph_up_to - D("0.1") if rule.ph_up_to is not None else None
    ph = rule.ph_above + D("0.1") if rule.ph_above is not None else acid
    return facts(parts, rule.exposure or "leave-on", words_of(rule), ph=ph)


def test_every_rule_on_an_amount_fires_over_its_bound_and_not_under_it() -> None:
    assert len(AMOUNTS) >= 100
    for rule in AMOUNTS:
        book = rulebook(sorted(rule.jurisdictions)[0])
        groups = {r.rule_id for r in product_rules() if r.group == rule.group}
        over = {f.rule for f in check_formula(guilty(rule, D("1.01")), book).findings}
        assert over & groups, rule.rule_id
        if (rule.at_least or rule.above or 0) > D("0.001"):
            under = check_formula(guilty(rule, D("0.9")), book).findings
            assert rule.rule_id not in {f.rule for f in under}, rule.rule_id


@pytest.mark.parametrize(
    ("ph", "exposure", "kind", "rule"),
    [
        ("2", "leave-on", "", "H01"),
        ("2", "rinse-off", "", "H02"),
        ("11.5", "rinse-off", "", "H03"),
        ("12", "rinse-off", "depilatory", "H04"),
        ("2.9", "leave-on", "", "H05"),
        ("10.1", "leave-on", "", "H06"),
        ("3", "leave-on", "", None),
        ("10", "leave-on", "", None),
        ("11.4", "rinse-off", "", None),
        ("5.5", "leave-on", "eye cream", None),
        ("4", "leave-on", "eye cream", "H07"),
    ],
)
def test_a_ph_that_burns(ph: str, exposure: str, kind: str, rule: str | None) -> None:
    """Regulation (EC) 1272/2008 Annex I 3.2.3.1.2: pH at most 2 or at least 11.5 counts as corrosive."""
    asked = facts({"Glycerin": D(5)}, exposure, words_for(kind), ph=D(ph))
    for market in ("EU", "US"):
        found = {f.rule for f in check_formula(asked, rulebook(market)).findings if f.rule.startswith("H0")}
        assert found == ({rule} if rule else set())


@pytest.mark.parametrize(
    ("parts", "free"),
    [
        ({"Sodium Hydroxide": "5", "Aqua": "95"}, True),
        ({"Sodium Hydroxide": "10", "Olea Europaea Fruit Oil": "80", "Aqua": "10"}, False),
        ({"Sodium Hydroxide": "2", "Citric Acid": "5", "Aqua": "90"}, False),
        ({"Sodium Hydroxide": "0.3", "Carbomer": "0.6", "Aqua": "98"}, False),
        ({"Potassium Hydroxide": "4", "Stearic Acid": "15", "Aqua": "70"}, True),
    ],
)
def test_alkali_that_nothing_takes_up_is_found_without_a_ph(parts: dict[str, str], free: bool) -> None:
    """Grams of sodium hydroxide a gram takes: olive oil 0.134, citric acid 0.625, stearic acid 0.141."""
    asked = facts({n: D(p) for n, p in parts.items()})
    found = {f.rule for f in check_formula(asked, rulebook("US")).findings}
    assert bool(found & {"H10", "H12"}) is free


def test_the_phototoxic_sum_is_that_of_the_shares() -> None:
    """Tisserand and Young: bergamot 0.4 %, lime 0.7 %; 2/0.4 + 1/0.7 = 6.43."""
    parts = {"Citrus Aurantium Bergamia Peel Oil": D(2), "Citrus Aurantifolia Peel Oil Expressed": D(1)}
    found = next(f for f in check_formula(facts(parts), rulebook("EU")).findings if f.rule == "O02")
    assert found.found is not None
    assert abs(found.found - (D(2) / D("0.4") + D(1) / D("0.7"))) < D("0.0001")
    assert not [f for f in check_formula(facts(parts, "rinse-off"), rulebook("EU")).findings if f.rule == "O02"]
    assert min(phototoxic_limits().values()) == D("0.01")


def test_scopes_say_what_they_mean() -> None:
    hair = words_for("conditioner")
    assert fits(frozenset(), hair)
    assert closeness(frozenset({"hair"}), hair) < closeness(frozenset({"conditioner"}), hair)
    assert not fits(frozenset({"hair+leave-on hair"}), hair)
    assert fits(frozenset({"hair+!leave-on hair"}), hair)


def test_every_kind_of_product_is_found_by_its_own_name() -> None:
    assert {kind for kind in product_kinds() if propose_kind(kind) != kind} == set()
    assert sum(map(len, kinds_by_group().values())) == len(product_kinds()) >= 120


def test_what_oils_hold_is_in_order_and_dyes_are_no_colours() -> None:
    assert all(c.low <= c.typical <= c.high for ones in constituent_index().oils.values() for c in ones)
    assert "RESORCINOL" not in dye_names()


def test_an_oil_without_a_sheet_meets_the_limit_of_what_it_usually_holds() -> None:
    """Annex III entry 102: methyl eugenol 0.0002 % in what stays on; basil oil usually holds 2 %."""
    found = check_formula(facts({"Ocimum Basilicum Oil": D("0.5")}), rulebook("EU")).findings
    guess = next(f for f in found if f.rule.endswith("entry 102"))
    assert guess.severity == Severity.CAUTION
    assert "usual content of Ocimum Basilicum Oil" in guess.what
