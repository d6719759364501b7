import json

import pytest

from app.commands.compute import answer
from app.science.errors import Invalid

GEL = [{"inci": "Carbomer", "percent": 0.5}]
LYE = {"inci": "Sodium Hydroxide", "strength_percent": 10}
KEYS = {
    "grams",
    "low_grams",
    "high_grams",
    "first_addition_g",
    "percent_of_batch",
    "reachable",
    "curve",
    "cautions",
    "notes",
}


def ask(mixture=GEL, adjuster=LYE, target_ph=6.5, batch_g=200, **more):
    request = {"mixture": mixture, "adjuster": adjuster, "target_ph": target_ph, "batch_g": batch_g, **more}
    return json.loads(answer("dose", json.dumps(request)))


def predicted(mixture, adjuster, grams, batch_g):
    """Predict the pH after the dose with the other computation, as two lines of one formula."""
    total = batch_g + grams
    lines = [{**line, "percent": line["percent"] * batch_g / total} for line in mixture]
    lines.append(
        {"inci": adjuster["inci"], "percent": 100 * grams / total, "assay_percent": adjuster["strength_percent"]}
    )
    return json.loads(answer("ph", json.dumps({"mixture": lines})))["ph"]


def test_the_answer_has_the_keys_of_the_contract():
    found = ask()
    assert set(found) == KEYS
    assert found["reachable"] is True
    assert found["grams"] == pytest.approx(2.95, rel=0.01)
    assert found["low_grams"] < found["grams"] < found["high_grams"]
    assert 0.6 * found["grams"] < found["first_addition_g"] <= 0.9 * found["grams"]
    assert found["percent_of_batch"] == pytest.approx(found["grams"] / 2)


@pytest.mark.parametrize(
    ("inci", "strength", "target"),
    [("Triethanolamine", 99, 6), ("Arginine", 10, 6.5), ("Potassium Hydroxide", 18, 7), ("Tromethamine", 40, 7.2)],
)
def test_dose_then_predict_returns_the_target(inci, strength, target):
    adjuster = {"inci": inci, "strength_percent": strength}
    found = ask(adjuster=adjuster, target_ph=target)
    assert predicted(GEL, adjuster, found["grams"], 200) == pytest.approx(target, abs=0.001)


def test_the_batch_scales_the_dose():
    small, large = ask(batch_g=100), ask(batch_g=1000)
    for key in ("grams", "low_grams", "high_grams", "first_addition_g"):
        assert large[key] == pytest.approx(10 * small[key], rel=1e-5)


def test_the_curve_is_dense_and_passes_the_target():
    curve = ask()["curve"]
    assert len(curve) >= 60
    assert curve[0]["grams"] == 0
    assert curve[0]["ph"] < 6.5 < curve[-1]["ph"]
    assert [p["ph"] for p in curve] == sorted(p["ph"] for p in curve)


def test_an_unreachable_target_is_told_with_the_nearest():
    found = ask(adjuster={"inci": "Citric Acid", "strength_percent": 10})
    assert found["reachable"] is False
    assert set(found) == KEYS
    assert [found[k] for k in ("grams", "low_grams", "high_grams", "first_addition_g", "percent_of_batch")] == [
        None
    ] * 5
    assert any("nearest reachable pH is 2.96" in note for note in found["notes"])
    too_far = ask(adjuster={"inci": "Triethanolamine", "strength_percent": 99}, target_ph=12)
    assert too_far["reachable"] is False
    assert any("nearest reachable" in note for note in too_far["notes"])


def test_a_target_met_already_needs_nothing():
    start = ask()["curve"][0]["ph"]
    found = ask(target_ph=start)
    assert found["reachable"] is True
    assert found["grams"] == found["first_addition_g"] == 0
    assert any("no dose is needed" in note for note in found["notes"])


def test_readings_say_what_is_left():
    found = ask(readings=[{"added_g": 2.2, "ph": 5.6}, {"added_g": 3.0, "ph": 6.2}])
    assert set(found) == KEYS | {"remaining_g"}
    assert found["grams"] == pytest.approx(3.0 + found["remaining_g"], rel=0.02)
    assert 0.2 < found["remaining_g"] < 0.8
    assert found["first_addition_g"] <= found["remaining_g"]
    assert any("fitted to the readings" in note for note in found["notes"])
    assert not any("No more" in note or "To correct it" in note for note in found["notes"])


def test_a_passed_target_leaves_nothing_and_tells_the_way_back():
    found = ask(readings=[{"added_g": 3.5, "ph": 7.4}])
    assert found["remaining_g"] == 0
    assert any("Citric Acid" in note and "To correct it" in note for note in found["notes"])
    sour = ask(
        mixture=[{"inci": "Sodium Lactate", "percent": 2}],
        adjuster={"inci": "Lactic Acid", "strength_percent": 88},
        target_ph=4.5,
        readings=[{"added_g": 2, "ph": 3.9}],
    )
    assert sour["remaining_g"] == 0
    assert any("Sodium Hydroxide" in note and "To correct it" in note for note in sour["notes"])


def test_nothing_is_advised_on_a_reading_that_cannot_be_until_a_second_one_agrees():
    # 0.8 g of citric acid is 4.16 mmol of a triprotic acid; 0.5 g of NaOH 10 % is 1.25 mmol: pH 2.8, far from any jump.
    sour = [{"inci": "Citric Acid", "percent": 0.4}]
    begun = [{"added_g": 0, "ph": 2.4}]
    mistyped = ask(mixture=sour, target_ph=5, readings=[*begun, {"added_g": 0.5, "ph": 8.5}])
    assert mistyped["first_addition_g"] == 0
    assert "remaining_g" not in mistyped
    assert mistyped["grams"] == pytest.approx(ask(mixture=sour, target_ph=5, readings=begun)["grams"])
    assert "8.5 was read where about 2.8 was expected" in mistyped["notes"][1]
    typed = [*begun, {"added_g": 0.5, "ph": 8.5}, {"added_g": 0.5, "ph": 2.8}]
    put_right = ask(mixture=sour, target_ph=5, readings=typed)
    assert put_right["remaining_g"] == pytest.approx(put_right["grams"] - 0.5, rel=1e-3)
    twice = ask(mixture=sour, target_ph=5, readings=[*begun, *[{"added_g": 0.5, "ph": 8.5}] * 2])
    assert twice["remaining_g"] == 0
    assert any("do not fit the formula" in note for note in twice["notes"])


@pytest.mark.parametrize(
    ("inci", "words"),
    [
        ("Sodium Hydroxide", ("goggles", "gloves", "aluminium", "never water to alkali")),
        ("Triethanolamine", ("nitrosamines", "goggles")),
        ("Citric Acid", ("goggles",)),
        ("Sodium Bicarbonate", ("Fizzes",)),
    ],
)
def test_each_solution_has_its_cautions(inci, words):
    text = " ".join(ask(adjuster={"inci": inci, "strength_percent": 10})["cautions"])
    assert all(word in text for word in words)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"adjuster": {"inci": "Unobtainium", "strength_percent": 10}}, "adjuster.inci"),
        ({"adjuster": {"inci": "Glycerin", "strength_percent": 10}}, "adjuster.inci"),
        ({"adjuster": {"inci": "Sodium Hydroxide", "strength_percent": 0}}, "adjuster.strength_percent"),
        ({"adjuster": {"inci": "Sodium Hydroxide", "strength_percent": 150}}, "adjuster.strength_percent"),
        ({"target_ph": 15}, "target_ph"),
        ({"batch_g": 0}, "batch_g"),
        ({"readings": [{"added_g": -1, "ph": 5}]}, "readings[0].added_g"),
        ({"readings": [{"added_g": 1, "ph": 15}]}, "readings[0].ph"),
        ({"readings": [{"added_g": 1, "ph": 5}, {"added_g": 1e9, "ph": 6}]}, "readings[1].added_g"),
        ({"mixture": [{"inci": "Glycerin", "percent": 100}]}, "mixture"),
    ],
)
def test_a_request_that_makes_no_sense_names_its_field(changes, field):
    with pytest.raises(Invalid) as error:
        ask(**changes)
    assert error.value.field == field


def test_a_close_name_is_suggested():
    with pytest.raises(Invalid, match="did you mean Triethanolamine"):
        ask(adjuster={"inci": "Triethanolamin", "strength_percent": 10})


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"readings": [{"added_g": 0, "ph": 5.5}] * 2 + [{"added_g": 3, "ph": 3.0}] * 2}, "do not fit"),
        ({"adjuster": {"inci": "Sodium Hydroxide", "strength_percent": 0.5}}, "more than a tenth"),
        ({"mixture": [], "target_ph": 8}, "weaker solution"),
        ({"readings": [{"added_g": 1, "ph": 4.3}]}, "Of what is left, add"),
        (
            {"adjuster": {"inci": "Citric Acid", "strength_percent": 10}, "readings": [{"added_g": 1, "ph": 2.9}]},
            "To correct it",
        ),
        ({"adjuster": {"inci": "Sodium Bicarbonate", "strength_percent": 8}}, "Carbon dioxide will leave"),
    ],
)
def test_notes_say_what_matters(changes, word):
    assert any(word in note for note in ask(**changes)["notes"])


@pytest.mark.parametrize(
    ("inci", "strength", "possible"),
    [("Sodium Bicarbonate", 20, False), ("Sodium Bicarbonate", 8, True), ("Citric Acid", 75, False),
     ("Calcium Hydroxide", 100, False),
     ("Tromethamine", 40, True), ("Arginine", 50, False)],
)  # fmt: skip
def test_a_solution_that_cannot_be_made_reaches_nothing(inci, strength, possible):
    """Saturated at 20 °C: sodium bicarbonate 9 %, citric acid 59 %, calcium hydroxide 0.17 %, arginine 14 %."""
    target = 3.5 if inci == "Citric Acid" else 4.0
    mixture = [{"inci": "Sodium Lactate", "percent": 2}] if inci == "Citric Acid" else GEL
    found = ask(mixture=mixture, adjuster={"inci": inci, "strength_percent": strength}, target_ph=target)
    assert found["reachable"] is possible
    assert any("cannot be made" in note for note in found["notes"]) is not possible


def test_more_solution_than_twice_the_batch_is_no_answer():
    weak = {"inci": "Sodium Hydroxide", "strength_percent": 0.005}
    found = ask(mixture=[{"inci": "Citric Acid", "percent": 1}], adjuster=weak, target_ph=7)
    assert found["reachable"] is False
    assert any("2 times the batch" in note for note in found["notes"])


def test_what_may_crystallise_at_the_target_is_told():
    found = ask(
        mixture=[{"inci": "Sodium Benzoate", "percent": 1}],
        adjuster={"inci": "Citric Acid", "strength_percent": 50},
        target_ph=3.5,
    )
    assert any(note.startswith("Benzoic Acid:") and "may crystallise" in note for note in found["notes"])


def test_soap_is_not_dosed():
    with pytest.raises(Invalid, match="soap") as error:
        ask(mixture=[{"inci": "Potassium Cocoate", "percent": 20}], target_ph=6)
    assert error.value.field == "mixture"


def test_the_hydrate_of_the_adjuster_counts():
    """Citric acid monohydrate (210.14 g/mol) takes 210.14 / 192.12 of the anhydrous acid's grams."""
    mixture = [{"inci": "Sodium Lactate", "percent": 2}]
    dry, wet = (
        ask(
            mixture=mixture, target_ph=4.5, adjuster={"inci": "Citric Acid", "strength_percent": 10, "hydrate": hydrate}
        )
        for hydrate in ("anhydrous", "monohydrate")
    )
    assert wet["grams"] / dry["grams"] == pytest.approx(210.14 / 192.12, rel=0.003)
    with pytest.raises(Invalid) as error:
        ask(adjuster={"inci": "Citric Acid", "strength_percent": 10, "hydrate": "wet"})
    assert error.value.field == "adjuster.hydrate"


def test_an_ideal_solution_is_the_textbooks():
    """0.1 mol/kg acetic acid and 0.1 mol/kg acetate, activities left at 1: pH = pKa (Henderson and Hasselbalch)."""
    mixture = [
        {"inci": "Acetic Acid", "percent": 0.6005},
        {"inci": "Sodium Acetate", "percent": 0.8203, "hydrate": "anhydrous"},
    ]
    request = {"mixture": mixture, "activity": "ideal"}
    found = json.loads(answer("ph", json.dumps(request)))
    assert found["ph"] == pytest.approx(4.757, abs=0.005)
    assert json.loads(answer("ph", json.dumps({"mixture": mixture})))["ph"] < found["ph"] - 0.05
