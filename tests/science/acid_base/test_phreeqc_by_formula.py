"""``compute ph`` and ``dose`` against PHREEQC, told of the same mixtures by chemical formula and nothing of ours.

Grams become moles by the standard atomic weights (IUPAC 2021, abridged), strengths and crystal water by hand; only the
pKa values are those of the shipped table. So a wrong molar mass, hydrate, count of ions or water cannot hide.
"""

import json
import random
import re
from dataclasses import dataclass, field

import pytest

from app.commands.compute import answer

ATOMS = {
    "H": 1.008,
    "C": 12.011,
    "N": 14.007,
    "O": 15.999,
    "Na": 22.990,
    "P": 30.974,
    "Cl": 35.45,
    "K": 39.098,
    "B": 10.81,
}
SPREAD = 0.05
STRONGEST = 0.6


@dataclass(frozen=True)
class Made:
    """One mole of a substance: its formula without crystal water, and what a mole brings besides protons."""

    formula: str
    weak: str = ""
    ions: dict[str, int] = field(default_factory=dict)
    hydrates: dict[str, int] = field(default_factory=dict)
    strengths: tuple[float, ...] = (100.0,)
    releases_water: int = 0


MADE = {
    "Citric Acid": Made("C6H8O7", "citric_acid", hydrates={"anhydrous": 0, "monohydrate": 1}),
    "Sodium Citrate": Made("Na3C6H5O7", "citric_acid", {"Na+": 3}, {"anhydrous": 0, "dihydrate": 2}),
    "Lactic Acid": Made("C3H6O3", "lactic_acid", strengths=(80, 90)),
    "Sodium Lactate": Made("NaC3H5O3", "lactic_acid", {"Na+": 1}, strengths=(50, 60)),
    "Glycolic Acid": Made("C2H4O3", "glycolic_acid", strengths=(70, 99)),
    "Malic Acid": Made("C4H6O5", "malic_acid"),
    "Tartaric Acid": Made("C4H6O6", "tartaric_acid"),
    "Succinic Acid": Made("C4H6O4", "succinic_acid"),
    "Mandelic Acid": Made("C8H8O3", "mandelic_acid"),
    "Salicylic Acid": Made("C7H6O3", "salicylic_acid"),
    "Ascorbic Acid": Made("C6H8O6", "ascorbic_acid"),
    "Acetic Acid": Made("C2H4O2", "acetic_acid", strengths=(10, 100)),
    "Sodium Acetate": Made("NaC2H3O2", "acetic_acid", {"Na+": 1}, {"anhydrous": 0, "trihydrate": 3}),
    "Sodium Benzoate": Made("NaC7H5O2", "benzoic_acid", {"Na+": 1}),
    "Potassium Sorbate": Made("KC6H7O2", "sorbic_acid", {"K+": 1}),
    "Sodium Dehydroacetate": Made("NaC8H7O4", "dehydroacetic_acid", {"Na+": 1}, {"anhydrous": 0, "monohydrate": 1}),
    "Sodium Phosphate": Made("NaH2PO4", "phosphoric_acid", {"Na+": 1}, {"anhydrous": 0, "dihydrate": 2}),
    "Disodium Phosphate": Made("Na2HPO4", "phosphoric_acid", {"Na+": 2}, {"anhydrous": 0, "dodecahydrate": 12}),
    "Sodium Bicarbonate": Made("NaHCO3", "carbonic_acid", {"Na+": 1}),
    "Boric Acid": Made("H3BO3", "boric_acid"),
    "Disodium EDTA": Made("Na2C10H14N2O8", "edta", {"Na+": 2}, {"anhydrous": 0, "dihydrate": 2}),
    "Sodium PCA": Made("NaC5H6NO3", "pca", {"Na+": 1}, strengths=(50,)),
    "Sodium Gluconate": Made("NaC6H11O7", "gluconic_acid", {"Na+": 1}),
    "Glycine": Made("C2H5NO2", "glycine"),
    "Histidine": Made("C6H9N3O2", "histidine"),
    "Hydrochloric Acid": Made("HCl", ions={"Cl-": 1}, strengths=(10, 37)),
    "Sodium Hydroxide": Made("NaOH", ions={"Na+": 1}, strengths=(10, 50, 98), releases_water=1),
    "Potassium Hydroxide": Made("KOH", ions={"K+": 1}, strengths=(10, 45, 85), releases_water=1),
    "Ammonium Hydroxide": Made("NH3", "ammonia", strengths=(10, 25, 28)),
    "Triethanolamine": Made("C6H15NO3", "triethanolamine", strengths=(85, 99)),
    "Tromethamine": Made("C4H11NO3", "tromethamine", strengths=(40, 100)),
    "Aminomethyl Propanol": Made("C4H11NO", "aminomethyl_propanol", strengths=(95, 100)),
    "Ethanolamine": Made("C2H7NO", "ethanolamine"),
    "Arginine": Made("C6H14N4O2", "arginine"),
}
ALKALIS = (
    "Sodium Hydroxide",
    "Potassium Hydroxide",
    "Ammonium Hydroxide",
    "Triethanolamine",
    "Tromethamine",
    "Arginine",
)
ACIDS = ("Citric Acid", "Lactic Acid", "Glycolic Acid", "Malic Acid", "Hydrochloric Acid")
Mixture = list[dict[str, object]]


def molar_mass(formula: str) -> float:
    return sum(ATOMS[atom] * int(count or 1) for atom, count in re.findall(r"([A-Z][a-z]?)(\d*)", formula))


WATER = molar_mass("H2O")


def line(chance: random.Random, inci: str) -> dict[str, object]:
    made = MADE[inci]
    row: dict[str, object] = {"inci": inci, "percent": round(10 ** chance.uniform(-1.7, 0.5), 3)}
    row["assay_percent"] = chance.choice(made.strengths)
    return row | ({"hydrate": chance.choice(sorted(made.hydrates))} if made.hydrates else {})


def mixtures(chance: random.Random):
    """Draw mixtures of 1 to 7 substances; most hold two adjusters besides, of one sign or of both."""
    while True:
        names = chance.sample(sorted(MADE), chance.randint(1, 5))
        if chance.random() < 0.7:
            names += [chance.choice(ALKALIS), chance.choice(ACIDS + ALKALIS)]
        yield [line(chance, inci) for inci in dict.fromkeys(names)]


def molalities(mixture: Mixture) -> dict[str, float]:
    """Return mol per kg of water of every weak acid or base and every ion of 100 g of a mixture."""
    water, moles = 100.0, {}
    for row in mixture:
        made = MADE[row["inci"]]
        crystal = made.hydrates.get(row.get("hydrate"), 0)
        grams = row["percent"] * row["assay_percent"] / 100
        amount = grams / (molar_mass(made.formula) + crystal * WATER)
        water += amount * (crystal + made.releases_water) * WATER - grams
        for name, count in ({made.weak: 1, **made.ions} if made.weak else made.ions).items():
            moles[name] = moles.get(name, 0.0) + count * amount
    return {name: 1000 * amount / water for name, amount in moles.items()}


def test_a_hundred_mixtures_agree_with_phreeqc(phreeqc) -> None:
    ours, told = [], []
    for mixture in mixtures(random.Random(1909)):  # noqa: S311
        found = json.loads(answer("ph", json.dumps({"mixture": mixture})))
        if found["ph"] is not None and found["ionic_strength"] < STRONGEST:
            ours.append(found["ph"])
            told.append(molalities(mixture))
        if len(ours) == 100:
            break
    assert ours == pytest.approx(phreeqc.solutions(told), abs=SPREAD)


def test_a_dose_brings_the_batch_to_its_target_in_phreeqc(phreeqc) -> None:
    """What `dose` says is mixed by hand: the batch of 500 g and the grams of the solution on top of it."""
    chance, told, targets = random.Random(20), [], []  # noqa: S311
    for drawn in mixtures(chance):
        mixture = [row for row in drawn if row["inci"] not in ALKALIS] or [line(chance, "Lactic Acid")]
        target, alkali = round(chance.uniform(4.0, 9.0), 1), chance.choice(ALKALIS[:3])
        adjuster = {"inci": alkali, "strength_percent": 20 if alkali != "Ammonium Hydroxide" else 25}
        request = {"mixture": mixture, "target_ph": target, "adjuster": adjuster, "batch_g": 500}
        found = json.loads(answer("dose", json.dumps(request)))
        if not found["reachable"] or not 0.5 < found["grams"] < 60:
            continue
        whole = 500 + found["grams"]
        parts = [row | {"percent": row["percent"] * 500 / whole} for row in mixture]
        added = {"inci": alkali, "assay_percent": adjuster["strength_percent"], "percent": 100 * found["grams"] / whole}
        told.append(molalities([*parts, added]))
        targets.append(target)
        if len(targets) == 10:
            break
    assert targets == pytest.approx(phreeqc.solutions(told), abs=SPREAD)
