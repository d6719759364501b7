import pytest

from app.science.preservation import CHALLENGE, Dosed, Preservative, Surroundings, Verdict, assess

COVER = {"gram_positive": "some", "gram_negative": "weak", "yeast": "good", "mould": "good"}


def acid(**changes):
    given = {"inci": "Sodium Benzoate", "ph_low": 3, "ph_high": 5, "use_low": 0.2, "use_high": 0.59, "support": False,
             "ionic": "acid", "rinse_off_only": False, "cover": COVER} | changes  # fmt: skip
    return Preservative(**given)


def around(ph=4.5, water=80.0, alcohol=0.0, leave_on=True, chelators=("Disodium EDTA",)):
    return Surroundings(ph, water, alcohol, leave_on, chelators)


def verdict(known, percent=0.5, **where):
    return assess([Dosed(known, percent, percent * 0.8475, 0.3)], around(**where)).systems[0].verdict


@pytest.mark.parametrize(
    ("changes", "where", "expected"),
    [
        ({}, {}, Verdict.WITHIN),
        ({}, {"ph": 4.9}, Verdict.EDGE),
        ({}, {"ph": 5.1}, Verdict.OUTSIDE),
        ({}, {"ph": 2.8}, Verdict.WITHIN),
        ({"ionic": "neutral"}, {"ph": 2.8}, Verdict.OUTSIDE),
        ({"use_low": 0.6}, {}, Verdict.LITTLE),
        ({"support": True}, {}, Verdict.SUPPORT),
        ({"rinse_off_only": True}, {}, Verdict.WRONG_USE),
        ({"rinse_off_only": True}, {"leave_on": False}, Verdict.WITHIN),
        ({}, {"water": 0.0}, Verdict.NO_WATER),
        ({}, {"ph": None}, Verdict.UNKNOWN),
    ],
)
def test_verdicts(changes, where, expected):
    assert verdict(acid(**changes), **where) is expected


def test_the_active_part_is_the_unionised_acid():
    found = assess([Dosed(acid(), 0.5, 0.42, 0.25)], around()).systems[0]
    assert found.active_percent == pytest.approx(0.105)
    assert "25 % of it is un-ionised" in found.why
    assert "gram-negative" in found.why


def test_what_is_not_covered_is_named():
    gaps = assess([Dosed(acid(), 0.5, 0.42, 0.25)], around(chelators=())).gaps
    assert any(gap.startswith("Gram-negative bacteria: hardly") for gap in gaps)
    assert any("chelator" in gap for gap in gaps)
    assert gaps[-1] == CHALLENGE


def test_out_of_window_covers_nothing():
    gaps = assess([Dosed(acid(), 0.5, 0.42, 0.001)], around(ph=7)).gaps
    assert any("nothing counts as covered" in gap for gap in gaps)


@pytest.mark.parametrize(
    ("where", "word"),
    [
        ({"water": 0.2}, "hardly any water"),
        ({"alcohol": 60, "water": 30}, "Alcohol is 67%"),
        ({"water": 5}, "Little water"),
    ],
)
def test_products_without_the_usual_water_are_told_apart(where, word):
    assert any(word in gap for gap in assess([], around(**where)).gaps)


def test_no_preservative_is_a_gap():
    assert "no preservative" in assess([], around()).gaps[0]


def test_no_word_claims_safety():
    for where in ({}, {"ph": 7}, {"water": 0}):
        found = assess([Dosed(acid(), 0.5, 0.42, 0.25)], around(**where))
        text = " ".join([*(s.why for s in found.systems), *found.gaps, *found.hints]).lower()
        assert "safe" not in text
