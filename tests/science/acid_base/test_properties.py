"""What must hold for any formula."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.reference.acid_base import acid_base_table
from app.science.acid_base.charge_balance import solve
from app.science.acid_base.dosing import ph_after, plan_dose
from app.science.acid_base.model import compile_model, dose_system
from app.science.acid_base.prediction import predict, predict_model
from app.science.acid_base.speciation import undissociated_fraction
from app.science.acid_base.values import Adjuster, Mixture, MixtureLine

TABLE = acid_base_table()
NAMES = sorted(key for key, row in TABLE.by_species.items() if row.substance.active)
FEW = settings(max_examples=60)

percents = st.floats(0.001, 3.0)
lines = st.lists(st.tuples(st.sampled_from(NAMES), percents), min_size=0, max_size=6)
bases = st.sampled_from(["Sodium Hydroxide", "Potassium Hydroxide", "Triethanolamine", "Tromethamine", "Arginine"])
acids = st.sampled_from(["Citric Acid", "Lactic Acid", "Hydrochloric Acid", "Phosphoric Acid"])


def mixture(drawn):
    written = tuple(TABLE.line(name, percent) for name, percent in drawn)
    return Mixture(written, 100.0 - sum(line.percent for line in written))


def predicted(written):
    """Return the prediction also where its range is too wide to be shown: one gum alone in water."""
    return predict_model(compile_model(written))


def adjuster(name, percent):
    return Adjuster(TABLE.find(name).substance, percent)


@pytest.mark.parametrize("name", ["Citric Acid", "Phosphoric Acid", "Lactic Acid", "Disodium EDTA"])
@pytest.mark.parametrize("alkali", [0.02, 0.4])
def test_the_share_that_is_left_whole_is_that_of_the_solved_mixture(name, alkali):
    """The share from the pH alone, and the species of the charge balance that PHREEQC agrees with, are two ways."""
    found = predict(mixture([(name, 0.8), ("Sodium Hydroxide", alkali), ("Sodium Chloride", 1.0)]))
    substance = TABLE.find(name).substance
    (family, _), *_ = substance.families
    forms = [s for s in found.species if s.inci == family.name]
    protons = len(family.pkas)
    assert forms[0].form == (f"H{protons}A" if protons > 1 else "HA")
    expected = forms[0].molality / sum(s.molality for s in forms)
    share = undissociated_fraction(family, found.ph.value, found.ionic_strength)
    assert share == pytest.approx(expected, rel=1e-3)


@FEW
@given(lines, st.floats(-2.0, 16.0), st.floats(0.0, 3.0))
@example([("sodium_hyaluronate", 1.0)], 16.0, 0.0)
def test_where_the_search_begins_changes_nothing(drawn, start_ph, start_strength):
    model = compile_model(mixture(drawn))
    system = dose_system(model, np.zeros((1, len(model.inputs))), np.zeros((1, 0)))
    usual, other = solve(system), solve(system, start_ph, start_strength)
    assert other.ph == pytest.approx(usual.ph, abs=1e-8)
    assert other.ionic_strength == pytest.approx(usual.ionic_strength, abs=1e-9)


@FEW
@given(lines)
@example([("sodium_hyaluronate", 1.0)])
def test_every_formula_is_electrically_neutral(drawn):
    found = predicted(mixture(drawn))
    assert found.residual < 1e-9
    assert found.ph.low <= found.ph.value <= found.ph.high


@FEW
@given(lines, st.sampled_from(["Sodium Hydroxide", "Potassium Hydroxide"]))
def test_adding_base_never_lowers_the_ph(drawn, base):
    model = compile_model(mixture(drawn), (adjuster(base, 100),))
    ph = ph_after(model, np.linspace(0, 0.01, 60)[:, None])
    assert np.all(np.diff(ph) > -1e-9)


@FEW
@given(lines, st.one_of(bases, acids), st.floats(2.5, 11.0))
def test_dose_then_predict_returns_the_target(drawn, name, target):
    model = compile_model(mixture(drawn), (adjuster(name, 20),))
    dose = plan_dose(model, target)
    if dose.value:
        assert float(ph_after(model, np.array([[dose.value]]))[0]) == pytest.approx(target, abs=1e-6)
        assert dose.low <= dose.value <= dose.high
        assert 0 < dose.first <= 0.85 * dose.value + 1e-15
    else:
        assert dose.value == 0 or abs(dose.nearest_ph - target) > 1e-6


@FEW
@given(lines.filter(len), st.floats(0.05, 0.95))
@example([("sodium_hyaluronate", 1.0)], 0.5)
def test_splitting_a_material_in_two_changes_nothing(drawn, share):
    name, percent = drawn[0]
    parts = [(name, percent * share), (name, percent * (1 - share)), *drawn[1:]]
    whole, split = predicted(mixture(drawn)), predicted(mixture(parts))
    assert split.ph.value == pytest.approx(whole.ph.value, abs=1e-8)
    assert split.ph.low == pytest.approx(whole.ph.low, abs=1e-6)
    assert split.ph.high == pytest.approx(whole.ph.high, abs=1e-6)


@FEW
@given(lines, st.floats(0.2, 5.0))
@example([("sodium_hyaluronate", 1.0)], 0.5)
def test_only_the_ratios_matter(drawn, scale):
    plain = mixture(drawn)
    scaled = tuple(MixtureLine(x.name, x.percent * scale, x.substance, x.assay_percent) for x in plain.lines)
    again = predicted(Mixture(scaled, plain.water_percent * scale))
    assert again.ph.value == pytest.approx(predicted(plain).ph.value, abs=1e-8)


@FEW
@given(lines, st.lists(st.floats(0.0, 0.05), min_size=2, max_size=8))
def test_many_solutions_at_once_are_each_one_alone(drawn, doses):
    model = compile_model(mixture(drawn), (adjuster("Sodium Hydroxide", 10),))
    together = ph_after(model, np.array(doses)[:, None])
    alone = [float(ph_after(model, np.array([[dose]]))[0]) for dose in doses]
    assert together == pytest.approx(alone, abs=1e-8)


def test_a_thousand_extreme_solutions_are_solved():
    rng = np.random.default_rng(5)
    names = ["Phytic Acid", "Tetrasodium EDTA", "Sodium Hydroxide", "Hydrochloric Acid", "Carbomer"]
    for _ in range(100):
        written = tuple(TABLE.line(n, float(10 ** rng.uniform(-6, 1.2))) for n in rng.choice(names, 3, replace=False))
        model = compile_model(Mixture(written, 50.0), (adjuster("Sodium Hydroxide", 50),))
        doses = np.linspace(0, 1, 10)[:, None]
        solved = solve(dose_system(model, np.zeros((10, len(model.inputs))), doses))
        assert np.max(np.abs(solved.residual)) < 1e-9
