"""What holds for the whole check, whatever the formula."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reference.blends import find_blend
from app.reference.product_kinds import words_for
from app.reference.rulebook import in_inci, is_known, rulebook, usual_blends
from app.reference.synonyms import kitchen_names
from app.science.composition import DosedMaterial, Part
from app.science.rules.check import check_formula
from app.science.rules.limits import check_limits
from app.science.rules.values import Exposure, FormulaFacts, Severity

GRAVE = {Severity.STOP: 2, Severity.CAUTION: 1, Severity.NOTE: 0}
CAPPED = [
    "Sodium Benzoate",
    "Benzoic Acid",
    "Phenoxyethanol",
    "Salicylic Acid",
    "Methylparaben",
    "Propylparaben",
    "Cetrimonium Chloride",
    "Behentrimonium Chloride",
    "Retinyl Palmitate",
    "Triethanolamine",
    "Methyl Salicylate",
    "Climbazole",
    "Hydrogen Peroxide",
    "Iodopropynyl Butylcarbamate",
    "Kojic Acid",
    "Zinc Oxide",
]
PERCENTS = st.decimals("0.0001", "6", places=4)
FORMULAS = st.dictionaries(st.sampled_from(CAPPED), PERCENTS, min_size=1, max_size=5)
EXPOSURES = st.sampled_from(list(Exposure))


def formula(parts, exposure):
    made = tuple(DosedMaterial(n, p, (Part(n, Decimal(100)),)) for n, p in parts.items())
    return FormulaFacts(made, exposure)


def over(facts):
    """Rules that are broken, with how gravely."""
    found: dict[str, int] = {}
    for f in check_limits(facts, rulebook("EU").limits).findings:
        if f.limit is not None and f.found is not None and f.found > f.limit:
            found[f.rule] = max(found.get(f.rule, 0), GRAVE[f.severity])
    return found


@settings(max_examples=80, deadline=None)
@given(FORMULAS, EXPOSURES, st.sampled_from(CAPPED), PERCENTS)
def test_more_of_a_capped_substance_never_mends_a_broken_rule(parts, exposure, name, extra):
    before = over(formula(parts, exposure))
    after = over(formula({**parts, name: parts.get(name, Decimal(0)) + extra}, exposure))
    assert all(after.get(rule, -1) >= grave for rule, grave in before.items())


def split(material):
    part = material.parts[0]
    half = material.percent / 2
    return (
        DosedMaterial(material.name, half, (part,)),
        DosedMaterial(material.name, material.percent, (replace(part, percent=Decimal(50)),)),
    )


@settings(max_examples=60, deadline=None)
@given(FORMULAS, EXPOSURES, st.sampled_from(["EU", "US"]))
def test_splitting_materials_changes_nothing(parts, exposure, jurisdiction):
    whole = formula(parts, exposure)
    halves = replace(whole, materials=tuple(m for material in whole.materials for m in split(material)))
    assert check_formula(halves, rulebook(jurisdiction)) == check_formula(whole, rulebook(jurisdiction))


@settings(max_examples=40, deadline=None)
@given(FORMULAS, EXPOSURES)
def test_the_case_of_a_name_changes_no_judgement(parts, exposure):
    def judged(names):
        found = check_formula(formula(names, exposure), rulebook("EU")).findings
        return sorted((f.rule, f.severity, str(f.limit), str(f.found)) for f in found)

    assert judged({n.upper(): p for n, p in parts.items()}) == judged(parts)


def test_the_gravest_comes_first(ask):
    grades = [GRAVE[f.severity] for f in ask({"Aqua": "80", "Sodium Benzoate": "2", "Parfum": "1"}, ph="7").findings]
    assert grades == sorted(grades, reverse=True)
    assert len(set(grades)) == 3


def test_a_clean_formula_is_not_called_safe(ask):
    verdict = ask({"Helianthus Annuus Seed Oil": "30", "Cera Alba": "10"})
    assert not [f for f in verdict.findings if f.severity != Severity.NOTE]
    assert "safe" not in str(verdict).lower()


def test_a_preservative_the_tables_do_not_hold_is_not_checked(ask):
    assert any("Annex V" in line for line in ask({"Natamycin": "0.1"}).not_checked)


def test_kitchen_names_lead_to_inci_names():
    made = (DosedMaterial("x", Decimal(1), (Part("Shea Butter", Decimal(50)), Part("Nobody Knows", Decimal(50)))),)
    assert [p.inci for p in in_inci(made)[0].parts] == ["Butyrospermum Parkii Butter", "Nobody Knows"]


def test_a_blend_by_its_trade_name_is_judged_by_its_usual_parts():
    """Behentrimonium methosulfate in cetearyl alcohol, 25 %: common practice of the trade."""
    made = (DosedMaterial("BTMS-25", Decimal(4), (Part("BTMS-25", Decimal(100)),)),)
    parts = in_inci(made)[0].parts
    assert {p.inci: p.percent for p in parts} == {"Behentrimonium Methosulfate": 25, "Cetearyl Alcohol": 75}
    assert [line for line in usual_blends(made) if "BTMS-25" in line and "no composition was given" in line]
    assert not usual_blends((DosedMaterial("x", Decimal(1), (Part("Aqua", Decimal(100)),)),))


def test_every_name_for_a_blend_or_a_substance_leads_somewhere():
    assert find_blend("Germaben II").name.startswith("diazolidinyl urea")
    assert all(is_known(inci) for inci in kitchen_names().values())


@pytest.mark.parametrize(
    ("parts", "exposure", "ph", "kind"),
    [
        ({"Aqua": "90", "p-Phenylenediamine": "1"}, "rinse-off", "9.5", "hair dye, oxidative"),
        ({"Aqua": "90", "Thioglycolic Acid": "4"}, "rinse-off", "12.4", "depilatory"),
        ({"Aqua": "90", "Ammonium Thioglycolate": "7"}, "rinse-off", "9", "hair waving"),
        ({"Aqua": "90", "Dihydroxyacetone": "5"}, "leave-on", "4.2", "self-tanner, body"),
        ({"Aqua": "30", "Sodium Fluoride": "0.3"}, "rinse-off", "6", "toothpaste"),
        ({"Nitrocellulose": "15", "Butyl Acetate": "60"}, "leave-on", None, "nail varnish"),
    ],
)
def test_a_formula_gives_its_kind_away_where_nobody_named_one(parts, exposure, ph, kind, ask):
    def verdict(words):
        return ask(parts, exposure=exposure, ph=ph, products=words)

    unnamed, named = verdict(frozenset()), verdict(words_for(kind))
    assert {(f.rule, f.severity) for f in unnamed.findings} == {(f.rule, f.severity) for f in named.findings}
    assert [line for line in unnamed.not_checked if f"taken for {kind} because" in line]
    assert not [line for line in named.not_checked if "taken for" in line]


def test_a_kind_that_was_named_is_never_taken_for_another(ask):
    lotion = ask({"Aqua": "90", "Dihydroxyacetone": "5"}, products=words_for("body lotion"))
    assert [f for f in lotion.findings if f.severity == Severity.STOP and "Dihydroxyacetone" in f.inci]


@pytest.mark.parametrize("exposure", ["leave-on", "rinse-off"])
def test_a_row_for_a_kind_holds_whatever_exposure_was_typed(exposure, ask):
    """EU 1223/2009 Annex III entry 15a: nail cuticle solvents, 5 % as sodium hydroxide, no pH limit."""
    found = ask(
        {"Aqua": "86", "Potassium Hydroxide": "4", "Glycerin": "10"},
        exposure=exposure,
        ph="12.8",
        products=words_for("cuticle remover"),
    ).findings
    assert not [f for f in found if f.severity == Severity.STOP]
    assert [f for f in found if "Can cause blindness" in f.quote]


@pytest.mark.parametrize(
    ("typed", "parts"),
    [
        ("Hydrogen Peroxide 35 %", {"Hydrogen Peroxide": 35, "Aqua": 65}),
        ("lye 30% solution", {"Sodium Hydroxide": 30, "Aqua": 70}),
        ("lactic acid (80 %)", {"Lactic Acid": 80, "Aqua": 20}),
        ("Retinol 10 %", {"Retinol 10 %": 100}),
        ("lavender essential oil", {"Lavandula Angustifolia Oil": 100}),
        ("carbamide peroxide", {"Urea Peroxide": 100}),
    ],
)
def test_a_name_as_makers_type_it_is_read(typed, parts):
    """What is sold as a solution in water is split; what may be dissolved in oil stays as it was typed."""
    made = in_inci((DosedMaterial("x", Decimal(1), (Part(typed, Decimal(100)),)),))[0].parts
    assert {p.inci.title(): p.percent for p in made} == {n.title(): p for n, p in parts.items()}


def test_a_name_that_a_rule_speaks_of_is_not_called_unknown(ask):
    for name in ("Bimatoprost", "Cannabidiol", "Sassafras Oil"):
        verdict = ask({"Aqua": "90", name: "1"})
        assert [f for f in verdict.findings if f.severity != Severity.NOTE and name in f.inci]
        assert not [line for line in verdict.not_checked if line.startswith(f"{name}: no table")]


@pytest.mark.parametrize(
    ("name", "kind", "limits"),
    [
        ("Resorcinol", "hair dye, oxidative", [Decimal("1.25")]),  # Annex III entry 22, in two tables of hair dyes
        ("Chlorocresol", "lip balm", [None]),  # Annex V entry 24: not on mucous membranes, at whatever amount
        ("Iodopropynyl Butylcarbamate", "lip balm", [None]),  # Annex V entry 56: not in lip products
        ("Butylparaben", "face cream", [Decimal("0.14"), Decimal("0.8")]),  # Annex V entries 12 and 12a: two rules
    ],
)
def test_one_rule_stops_a_substance_once(name, kind, limits):
    dose = DosedMaterial("Mine", Decimal(3), (Part(name, Decimal(100)),))
    asked = FormulaFacts((dose,), Exposure.RINSE_OFF if "dye" in kind else Exposure.LEAVE_ON, products=words_for(kind))
    found = [f for f in check_formula(asked, rulebook("EU")).findings if f.rule.startswith("EU ")]
    assert sorted((f.limit for f in found if f.severity is Severity.STOP), key=str) == limits
