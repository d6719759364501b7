"""What was seen and measured of a product in hand, as typed."""

import pytest

from app.reference.inference_measures import Observable
from app.work.form import Faults
from app.work.label_reading.constraints import UserConstraints
from app.work.label_reading.estimate import read_text, work_out
from app.work.label_reading.observations import ObservedForm, pack_claims, readings_of

NAMES = read_text("Aqua, Niacinamide, Alcohol, Carbomer, Sodium Hydroxide, Zinc Oxide, Sodium Chloride", {}).names


def test_fields_are_read_with_their_tolerance() -> None:
    told = UserConstraints(observed={"drying": "43,5 ± 1", "ph": "5.5", "tail": "alphabetical", "line": "CARBOMER"})
    found = {r.measure: r for r in readings_of(told, NAMES, {})}
    assert (found[Observable.DRYING].value, found[Observable.DRYING].error) == (43.5, 1.0)
    assert found[Observable.PH].value == 5.5
    assert found[Observable.LINE].place == 3
    assert Observable.ALPHABETICAL in found


@pytest.mark.parametrize(
    ("words", "place", "low", "high"),
    [
        ("with 5 % niacinamide", 1, 4.5, 5.5),
        ("Niacinamide 10%", 1, 9.0, 11.0),
        ("20 % of zinc oxide", 5, 18.0, 22.0),
    ],
)
def test_words_with_numbers_on_the_pack_are_claims(words: str, place: int, low: float, high: float) -> None:
    known = pack_claims(words, NAMES)
    assert list(known) == [place]
    assert (known[place].low, known[place].high) == (pytest.approx(low), pytest.approx(high))


def test_spf_and_ph_on_the_pack_are_readings_and_empty_words_say_nothing() -> None:
    told = UserConstraints(observed={"pack": "SPF 30, skin friendly pH 5.5, dermatologically tested"})
    assert {r.measure for r in readings_of(told, NAMES, {})} == {Observable.SPF, Observable.PH}
    assert pack_claims("dermatologically tested, for radiant skin", NAMES) == {}


@pytest.mark.parametrize(
    ("field", "text"), [("drying", "much"), ("drying", "120"), ("ph", "15"), ("density", "5.5 ± 0"), ("ash", "-1")]
)
def test_what_cannot_be_read_is_said_at_its_field(field: str, text: str) -> None:
    assert [fault.field for fault in ObservedForm.stored_as({field: text}).faults()] == [f"observed-{field}"]
    with pytest.raises(Faults):
        readings_of(UserConstraints(observed={field: text}), NAMES, {})


def test_observations_survive_the_store_and_change_the_estimate() -> None:
    told = UserConstraints().observing({"drying": "55", "ph": " ", "tail": ""})
    assert UserConstraints.from_json(told.to_json()) == told
    text = read_text("Aqua, Zinc Oxide, Caprylic/Capric Triglyceride, Glycerin, Phenoxyethanol", {})
    assert work_out(text, told).estimates[0].estimate == pytest.approx(55, abs=2.5)


def test_a_ph_moves_the_base_towards_what_the_charge_balance_asks() -> None:
    text = read_text("Aqua, Glycerin, Phenoxyethanol, Carbomer, Sodium Hydroxide", {})
    low, high = (work_out(text, UserConstraints(observed={"ph": ph})).estimates[4].estimate for ph in ("4.5", "7.5"))
    assert low < high


def test_a_smell_of_alcohol_and_a_salt_test_move_their_names() -> None:
    text = read_text("Aqua, Alcohol, Glycerin, Carbomer, Xanthan Gum", {})

    def at(place: int, **observed: str) -> float:
        return work_out(text, UserConstraints(observed=observed)).estimates[place].estimate

    assert at(1, smell="no") < at(1, smell="yes")
    assert at(3, salt_test="holds") < at(3, salt_test="thins")


def test_a_price_is_a_soft_ceiling_on_what_is_dear() -> None:
    text = read_text("Helianthus Annuus Seed Oil, Rosa Damascena Flower Oil, Tocopherol", {})
    dear = {"ROSA DAMASCENA FLOWER OIL": 5000.0}
    free = work_out(text, UserConstraints()).estimates[1].estimate
    capped = work_out(text, UserConstraints(observed={"price": "40"}), prices=dear).estimates[1].estimate
    assert capped < free
