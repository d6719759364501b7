"""What a pH means for the body of a gel, what thins it, and how much of an acid is un-ionised, worked out by hand."""

from dataclasses import replace

import pytest

from app.reference.acid_base import acid_base_table
from app.science.acid_base.gel import GelState, GelWindow, companions, gel_notes, ionised_at, is_salt
from app.science.acid_base.model import compile_model
from app.science.acid_base.speciation import strength_at, undissociated_fraction
from app.science.acid_base.values import MixtureLine

CARBOMER = GelWindow(swells_from=4.0, full_from=5.5, full_to=9.0, best_from=6.0, best_to=7.0)
GUM = replace(CARBOMER, swells_from=None)


@pytest.mark.parametrize(
    ("window", "ph", "state"),
    [
        (CARBOMER, 3.99, GelState.BELOW), (CARBOMER, 4.0, GelState.THICKENING), (CARBOMER, 5.49, GelState.THICKENING),
        (CARBOMER, 5.5, GelState.FULL), (CARBOMER, 9.0, GelState.FULL), (CARBOMER, 9.01, GelState.FALLING),
        (GUM, 5.4, GelState.BELOW), (GUM, 5.5, GelState.FULL), (GUM, 9.1, GelState.FALLING),
    ],
)  # fmt: skip
def test_a_gel_stands_as_its_ph_lets_it(window: GelWindow, ph: float, state: GelState) -> None:
    assert window.at(ph) is state
    assert gel_notes(window, ph)


def test_the_words_on_a_gel_name_its_ph() -> None:
    assert gel_notes(CARBOMER, 6.0) == ("Within the pH of full body, 5.5 to 9.", "Best at pH 6 to 7.")
    assert gel_notes(CARBOMER, 4.5)[0] == "The gel is building: full body comes from about pH 5.5."
    assert gel_notes(CARBOMER, 9.5)[0].startswith("Above pH 9 the body falls again")
    assert gel_notes(CARBOMER, 3.0)[0].startswith("The pH is too low")
    for half in (replace(CARBOMER, best_from=None), replace(CARBOMER, best_to=None)):
        assert len(gel_notes(half, 6.0)) == 1


def line(name: str, percent: float, assay: float = 100.0) -> MixtureLine:
    return acid_base_table().line(name, percent, assay)


@pytest.mark.parametrize(
    ("name", "salt"),
    [
        ("Sodium Chloride", True), ("Sodium Citrate", True), ("Sodium Hydroxide", False), ("Citric Acid", False),
        ("Carbomer", False), ("Tromethamine", False), ("Glycerin", False),
    ],
)  # fmt: skip
def test_a_salt_brings_ions_and_something_to_pair_with_them(name: str, salt: bool) -> None:
    assert is_salt(line(name, 1.0)) is salt
    assert not is_salt(line(name, 0.0))


def test_what_thins_or_drops_a_gel_is_named() -> None:
    assert companions([line("Sodium Hydroxide", 1.0), line("Glycerin", 5.0)], ()) == ()
    salts = companions(
        [line("Sodium Citrate", 2.0, 50), line("Sodium Chloride", 1.0), line("Sodium Chloride", 1.0)], ()
    )
    assert [words[:40] for words in salts] == ["3 % of salts (Sodium Citrate, Sodium Chl"]
    assert companions([line("Sodium Chloride", 0.1)], ()) == ()
    assert companions([line("Sodium Chloride", 0.11)], ()) != ()
    (metal,) = companions([line("Calcium Hydroxide", 0.1)], ())
    assert metal == "Multivalent metal ions cross-link or drop this polymer."
    assert companions([line("Calcium Hydroxide", 0.0)], ()) == ()
    (cation,) = companions([], ("Polyquaternium-10", "Honeyquat"))
    assert cation.startswith("Polyquaternium-10, Honeyquat: cationics drop")
    spirit = MixtureLine("Alcohol", 90.0, is_solvent=True)
    (much,) = companions([spirit], ())
    assert much.startswith("Much alcohol or glycol")
    assert companions([replace(spirit, percent=20.0)], ()) == ()
    assert companions([replace(spirit, percent=20.1)], ()) != ()


def test_half_of_a_polymer_is_ionised_at_its_apparent_pka() -> None:
    polymer = acid_base_table().find("Carbomer").substance.polymer
    assert ionised_at(polymer, polymer.pk) == pytest.approx(0.5)
    assert ionised_at(polymer, polymer.pk - 2) < 0.5 < ionised_at(polymer, polymer.pk + 2)


@pytest.mark.parametrize(("above", "share"), [(0.0, 0.5), (1.0, 1 / 11), (-1.0, 10 / 11), (2.0, 1 / 101)])
def test_an_acid_is_un_ionised_by_henderson_and_hasselbalch(above: float, share: float) -> None:
    (family, _), *_ = acid_base_table().find("Benzoic Acid").substance.families
    assert undissociated_fraction(family, family.pkas[0] + above) == pytest.approx(share, rel=1e-6)


def test_salt_lets_an_acid_ionise_more_and_a_polyprotic_acid_counts_its_first_form() -> None:
    """By hand at 0.1 mol/kg: A f = 0.509 (0.3162 / 1.3162 - 0.03) = 0.107, so the apparent pKa falls by 0.107."""
    (benzoic, _), *_ = acid_base_table().find("Benzoic Acid").substance.families
    found = undissociated_fraction(benzoic, benzoic.pkas[0], 0.1)
    assert found == pytest.approx(1 / (1 + 10**0.107), abs=1e-3)
    (citric, _), *_ = acid_base_table().find("Citric Acid").substance.families
    one, two, three = citric.pkas
    ph = one + 1.0
    by_hand = 1 / (1 + 10 ** (ph - one) + 10 ** (2 * ph - one - two) + 10 ** (3 * ph - one - two - three))
    assert undissociated_fraction(citric, ph) == pytest.approx(by_hand, rel=1e-9)


def test_the_strength_of_a_batch_held_at_a_ph_counts_what_holds_it(mix) -> None:
    """By hand: 1 % of sodium chloride (58.44) in 99 g of water is 0.1728 mol/kg, of which the pH asks for nothing.

    Citric acid (192.12) of 1 %, 0.0526 mol/kg, half way between its first pKa's, taken as ideal: of one, two and no
    charge there are 1, r and r, r = 10 ** (-half of what lies between them), and as many counter-ions as charges.
    """
    assert strength_at(compile_model(mix(("Sodium Chloride", 1.0))), 7.0) == pytest.approx(0.1728, rel=2e-3)
    (family, _), *_ = acid_base_table().find("Citric Acid").substance.families
    one, two = family.pkas[:2]
    r = 10 ** -((two - one) / 2)
    single, double = 1 / (1 + 2 * r), r / (1 + 2 * r)
    by_hand = 0.5 * 0.0526 * (single + 4 * double + single + 2 * double)
    model = compile_model(mix(("Citric Acid", 1.0), ideal=True))
    assert strength_at(model, (one + two) / 2) == pytest.approx(by_hand, rel=0.01)
