import json

import pytest

from app.commands.compute import answer
from app.science.errors import Invalid


def ask(ph, inci="Carbomer", percent=0.5, **more):
    return json.loads(answer("gel", json.dumps({"polymer": {"inci": inci, "percent": percent}, "ph": ph, **more})))


@pytest.mark.parametrize(
    ("ph", "window", "ionised"),
    [(3, "below", 0.018), (4.5, "thickening", 0.10), (5, "full", 0.17), (7, "full", 0.70), (9.5, "falling", 0.98)],
)
def test_a_carbomer_gel_along_the_ph(ph, window, ionised):
    found = ask(ph)
    assert set(found) == {"ionised_fraction", "window", "notes"}
    assert found["window"] == window
    assert found["ionised_fraction"] == pytest.approx(ionised, abs=0.01)


def test_salt_cationics_and_metals_are_warned_of():
    mixture = [
        {"inci": "Sodium Chloride", "percent": 0.5},
        {"inci": "Polyquaternium-10", "percent": 0.2},
        {"inci": "Magnesium Sulfate", "percent": 0.1},
    ]
    text = " ".join(ask(6.5, mixture=mixture)["notes"])
    assert "salt thins" in text
    assert "cationics" in text
    assert "Multivalent" in text


def test_a_neutraliser_is_no_salt():
    notes = ask(6.5, mixture=[{"inci": "Sodium Hydroxide", "percent": 0.2}])["notes"]
    assert not any("salt thins" in note for note in notes)


def test_a_gum_needs_no_neutraliser():
    found = ask(4, "Xanthan Gum")
    assert (found["window"], found["ionised_fraction"]) == ("full", 0)
    assert any("needs no neutraliser" in note for note in found["notes"])


@pytest.mark.parametrize(("inci", "ph", "field"), [("Glycerin", 6, "polymer.inci"), ("Carbomer", 15, "ph")])
def test_a_request_that_makes_no_sense_names_its_field(inci, ph, field):
    with pytest.raises(Invalid) as error:
        ask(ph, inci)
    assert error.value.field == field


@pytest.mark.parametrize(("percent", "word"), [(0, "none of it"), (0.05, "less than"), (3, "more than")])
def test_an_unusual_amount_is_told(percent, word):
    assert any(word in note for note in ask(6.5, percent=percent)["notes"])


def test_a_mixture_over_a_hundred_percent_is_refused():
    with pytest.raises(Invalid) as error:
        ask(6, mixture=[{"inci": "Glycerin", "percent": 60}, {"inci": "Aqua", "percent": 60}])
    assert error.value.field == "mixture"


def test_much_alcohol_is_warned_of():
    assert any("amine" in note for note in ask(6.5, mixture=[{"inci": "Alcohol", "percent": 40}])["notes"])
