"""The charge balance against PHREEQC with the same constants and the same Davies terms."""

import numpy as np
import pytest

from app.reference.acid_base import acid_base_table
from app.science.acid_base.charge_balance import solve
from app.science.acid_base.model import compile_model, dose_system
from app.science.acid_base.prediction import predict
from app.science.acid_base.values import Mixture, MixtureLine

MIXTURES = 90
STRONGEST = 0.3


def random_mixtures():
    """Draw mixtures of 2 to 8 substances, dilute enough to stay below an ionic strength of 0.3."""
    chance = np.random.default_rng(1917)
    rows = acid_base_table().by_species.values()
    known = [
        r.substance for r in rows if r.substance.active and not r.substance.polymer and r.substance.ionic_weight == 1
    ]
    while True:
        chosen = [known[i] for i in chance.choice(len(known), chance.integers(2, 9), replace=False)]
        lines = [MixtureLine(s.inci, 10 ** chance.uniform(-2, 0.1), s) for s in chosen]
        mixture = Mixture(tuple(lines), 100.0 - sum(line.percent for line in lines))
        found = predict(mixture)
        if found.ionic_strength < STRONGEST:
            yield mixture, found


def totals(mixture, found):
    """Give the molality of every family and strong ion, as PHREEQC is told."""
    model = compile_model(mixture)
    system = dose_system(model, np.zeros((1, len(model.inputs))), np.zeros((1, 0)))
    ions = {s.inci: s.molality for s in found.species if s.inci == s.form}
    weak = dict(zip([f.key for f in model.columns.families], system.totals[0], strict=True))
    return weak | ions


def test_random_mixtures_agree(phreeqc):
    drawn = random_mixtures()
    pairs = [next(drawn) for _ in range(MIXTURES)]
    theirs = phreeqc.solutions([totals(*pair) for pair in pairs])
    misses = [abs(found.ph.value - other) for (_, found), other in zip(pairs, theirs, strict=True)]
    assert len(misses) == MIXTURES
    assert max(misses) < 0.05


@pytest.mark.parametrize("reagent", ["sodium_hydroxide", "hydrochloric_acid"])
def test_a_titration_agrees_point_by_point(phreeqc, mix, solution, reagent):
    model = compile_model(mix(("Citric Acid", 0.3), ("Tromethamine", 0.2)), (solution(reagent, 10),))
    doses = np.linspace(0, 0.03, 40)[:, None]
    system = dose_system(model, np.zeros((40, len(model.inputs))), doses)
    ion = "Na+" if reagent == "sodium_hydroxide" else "Cl-"
    rows = [
        dict(zip([f.key for f in model.columns.families], row, strict=True)) | {ion: abs(charge)}
        for row, charge in zip(system.totals, system.strong_charge, strict=True)
    ]
    assert solve(system).ph == pytest.approx(phreeqc.solutions(rows), abs=0.02)
