"""The published cases of tests/data/chem_check_cases.json, every one, with its own tolerance and source."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from app.reference.acid_base import acid_base_table
from app.reference.preservatives import acid_factor
from app.reference.thickeners import thickener_of
from app.science.acid_base.charge_balance import solve
from app.science.acid_base.dosing import plan_dose
from app.science.acid_base.model import compile_model, dose_system
from app.science.acid_base.prediction import predict_model
from app.science.acid_base.speciation import undissociated_fraction
from app.science.acid_base.stock_solutions import sodium_hydroxide_density
from app.science.acid_base.values import WATER_MOLAR_MASS, Adjuster, Mixture, MixtureLine

CASES = json.loads((Path(__file__).parents[2] / "data" / "chem_check_cases.json").read_text(encoding="utf-8"))["cases"]
TABLE = acid_base_table()


def cases(*kinds):
    return [pytest.param(case, id=case["id"]) for case in CASES if case["kind"] in kinds]


def substance(key, constants):
    found = TABLE.by_species[key].substance
    families = tuple(
        (replace(f, pkas=tuple(constants[f.key])) if f.key in constants else f, moles) for f, moles in found.families
    )
    return replace(found, families=families)


def molal_mixture(case):
    """One kg of water with the stated moles; crystal water is part of that kg."""
    given = case["input"]
    constants = given.get("constants", {})
    lines, water = [], 1000.0
    for solute in given["solutes"]:
        found = substance(solute["species"], constants)
        moles = solute.get("mol_per_kg_water", solute.get("mol_per_litre"))
        lines.append(MixtureLine(found.inci, moles * found.molar_mass / 10, found))
        water -= moles * found.water * WATER_MOLAR_MASS
    ideal = case["model"] == "ideal"
    return Mixture(tuple(lines), water / 10, float(given["temperature_C"]), ideal=ideal)


def weighed_mixture(case):
    given = case["input"]
    if "carbomer_pct" in given:
        percent = given["carbomer_pct"]
        return Mixture((TABLE.line("Carbomer", percent),), 100.0 - percent)
    lines = [TABLE.line(item["species"], item["g"], item["assay_pct"]) for item in given["items"]]
    return Mixture(tuple(lines), given["water_g"], float(given["temperature_C"]))


def ph_of(mixture, pkw=None):
    model = compile_model(mixture)
    system = dose_system(model, np.zeros((1, len(model.inputs))), np.zeros((1, 0)))
    solved = solve(system if pkw is None else replace(system, pkw=pkw))
    assert abs(solved.residual[0]) < 1e-9
    return float(solved.ph[0])


@pytest.mark.parametrize("case", cases("ph"))
def test_ph_of_a_published_solution(case):
    found = ph_of(molal_mixture(case), case["input"].get("pKw"))
    assert found == pytest.approx(case["expected"]["pH"], abs=case["tolerance"]["pH"])


@pytest.mark.parametrize("case", cases("ph_range"))
def test_ph_lies_in_the_published_range(case):
    found, slack = ph_of(weighed_mixture(case)), case["tolerance"]["pH"]
    assert case["expected"]["pH_min"] - slack <= found <= case["expected"]["pH_max"] + slack


@pytest.mark.parametrize("case", cases("buffer_capacity"))
def test_buffer_capacity_of_a_published_buffer(case):
    found = predict_model(compile_model(molal_mixture(case))).capacity
    ((key, expected),), (slack,) = case["expected"].items(), case["tolerance"].values()
    assert key == "beta_mol_per_kg_per_pH"
    assert found == pytest.approx(expected, abs=slack)


@pytest.mark.parametrize("case", cases("undissociated_pct"))
def test_undissociated_share_of_a_published_table(case):
    given = case["input"]
    family = replace(TABLE.families[given["species"]], pkas=tuple(given["constants"][given["species"]]))
    found = 100 * undissociated_fraction(family, given["pH"], given["ionic_strength"])
    slack = case["tolerance"]["undissociated_pct_relative"]
    assert found == pytest.approx(case["expected"]["undissociated_pct"], rel=slack)


@pytest.mark.parametrize("case", cases("carbomer_dose"))
def test_neutraliser_for_one_gram_of_carbomer(case):
    given = case["input"]
    percent = given["polymer_pct_in_water"]
    adjuster = Adjuster(TABLE.by_species[given["neutraliser"]].substance, given["assay_pct"])
    model = compile_model(Mixture((TABLE.line("Carbomer", percent),), 100.0 - percent), (adjuster,))
    grams = plan_dose(model, given["target_pH"]).value * 100 / percent * given["carbomer_g"]
    assert grams == pytest.approx(case["expected"]["neutraliser_g_as_supplied"], rel=case["tolerance"]["relative"])


@pytest.mark.parametrize("case", cases("carbomer_window"))
def test_window_of_a_carbomer_gel(case):
    window, slack, expected = thickener_of("Carbomer").window, case["tolerance"]["pH"], case["expected"]
    assert window.full_from == pytest.approx(expected["thick_from_pH"], abs=slack)
    assert window.full_to == pytest.approx(expected["thick_to_pH"], abs=slack)
    assert window.best_from == pytest.approx(expected["optimum_from"], abs=slack)
    assert window.best_to == pytest.approx(expected["optimum_to"], abs=slack)


@pytest.mark.parametrize("case", cases("acid_factor"))
def test_grams_of_acid_in_a_gram_of_salt(case):
    found = acid_factor(TABLE.by_species[case["input"]["salt"]].substance)
    assert found == pytest.approx(case["expected"]["free_acid_factor"], abs=case["tolerance"]["absolute"])


@pytest.mark.parametrize("case", cases("density"))
def test_density_of_sodium_hydroxide(case):
    given, slack = case["input"], case["tolerance"]
    assert given["species"] == "sodium_hydroxide"
    found = sodium_hydroxide_density(given["mass_pct"])
    assert found == pytest.approx(case["expected"]["density_g_per_mL"], abs=slack["density_g_per_mL"])
    if "molality" in case["expected"]:
        moles = given["mass_pct"] / TABLE.by_species["sodium_hydroxide"].substance.molar_mass
        molality = 1000 * moles / (100 - given["mass_pct"])
        assert molality == pytest.approx(case["expected"]["molality"], abs=slack["molality"])


def test_every_case_is_exercised():
    kinds = {"ph", "ph_range", "buffer_capacity", "undissociated_pct", "carbomer_dose", "carbomer_window"}
    kinds |= {"acid_factor", "density"}
    assert len(CASES) == 87
    assert {case["kind"] for case in CASES} == kinds
