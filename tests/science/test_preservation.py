from dataclasses import replace

import pytest

from app.science.preservation import (
    CHALLENGE,
    BlendDose,
    Dosed,
    Preservative,
    Preserved,
    Surroundings,
    SystemVerdict,
    assess,
)

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
        ({}, {}, SystemVerdict.WITHIN),
        ({}, {"ph": 4.9}, SystemVerdict.EDGE),
        ({}, {"ph": 5.1}, SystemVerdict.OUTSIDE),
        ({}, {"ph": 2.8}, SystemVerdict.WITHIN),
        ({"ionic": "neutral"}, {"ph": 2.8}, SystemVerdict.OUTSIDE),
        ({"use_low": 0.6}, {}, SystemVerdict.LITTLE),
        ({"support": True}, {}, SystemVerdict.SUPPORT),
        ({"rinse_off_only": True}, {}, SystemVerdict.WRONG_USE),
        ({"rinse_off_only": True}, {"leave_on": False}, SystemVerdict.WITHIN),
        ({}, {"water": 0.0}, SystemVerdict.NO_WATER),
        ({}, {"ph": None}, SystemVerdict.UNKNOWN),
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
    assert any(gap.startswith("Gram-negative bacteria: barely") for gap in gaps)
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


def test_an_acid_above_its_window_is_active_while_as_much_acts_as_at_the_edge():
    """At its edge 12 % of the least usual 0.2 % act, 0.020 % as acid; 0.59 % at 5 % un-ionised is more."""
    active = assess([Dosed(acid(), 0.59, 0.5, 0.05, at_edge=0.12)], around(ph=5.4)).systems[0]
    assert (active.verdict, active.acts) == (SystemVerdict.ACTIVE, True)
    assert "usual window 3 to 5" in active.why
    gone = assess([Dosed(acid(), 0.59, 0.5, 0.01, at_edge=0.12)], around(ph=6)).systems[0]
    assert (gone.verdict, gone.acts) == (SystemVerdict.OUTSIDE, False)


def test_a_blend_is_judged_by_its_own_amount_and_ph():
    blend = BlendDose("alcohol and acid", 1.0, 0.2, 1.1, 2, 7)
    part = Dosed(acid(use_low=0.1), 0.08, 0.08, 0.6, at_edge=0.13, blend=blend)
    found = assess([part], around(ph=5.2)).systems[0]
    assert (found.verdict, found.ph_window) == (SystemVerdict.WITHIN, (2, 7))
    assert "Part of the blend alcohol and acid: 1 % of it, usual from 0.2 to 1.1 %" in found.why
    assert assess([replace(part, blend=None)], around(ph=4.5)).systems[0].verdict is SystemVerdict.LITTLE
    assert assess([replace(part, undissociated=0.001)], around(ph=6.9)).systems[0].verdict is SystemVerdict.OUTSIDE


@pytest.mark.parametrize(
    ("anionic", "expected"),
    [(10.0, SystemVerdict.INACTIVATED), (0.1, SystemVerdict.INACTIVATED), (0.02, SystemVerdict.WITHIN)],
)
def test_a_cationic_beside_an_anionic_is_out_of_action(anionic, expected):
    cationic = acid(inci="Benzalkonium Chloride", ionic="cationic", use_low=0.05, use_high=0.1, ph_high=9)
    where = replace(around(ph=6), anionics=("Sodium Laureth Sulfate",), anionic_percent=anionic)
    found = assess([Dosed(cationic, 0.1, 0.1, None)], where).systems[0]
    assert found.verdict is expected
    assert "Sodium Laureth Sulfate" in found.why


GOOD = dict.fromkeys(COVER, "good")


@pytest.mark.parametrize(
    ("dosed", "where", "status"),
    [
        ([], {}, Preserved.UNPRESERVED),
        ([Dosed(acid(cover=GOOD), 0.5, 0.42, 0.25)], {}, Preserved.PRESERVED),
        ([Dosed(acid(), 0.5, 0.42, 0.25)], {}, Preserved.PARTLY),
        ([Dosed(acid(cover=GOOD, support=True), 0.5, 0.42, 0.25)], {}, Preserved.UNPRESERVED),
        ([Dosed(acid(cover=GOOD), 0.05, 0.042, 0.25)], {}, Preserved.UNPRESERVED),
        ([Dosed(acid(cover=GOOD), 0.5, 0.42, 0.001)], {"ph": 7}, Preserved.UNPRESERVED),
        ([Dosed(acid(cover=GOOD), 0.5, 0.42, 0.25)], {"ph": None}, Preserved.UNSURE),
        ([Dosed(acid(cover=GOOD, ionic="neutral", ph_high=10), 0.5, 0.42, 1.0)], {"ph": None}, Preserved.PRESERVED),
        ([], {"ph": 2.9}, Preserved.LOW_RISK),
        ([], {"ph": 3.0}, Preserved.UNPRESERVED),
        ([], {"ph": 10.1}, Preserved.LOW_RISK),
        ([], {"alcohol": 20.1}, Preserved.LOW_RISK),
        ([], {"alcohol": 20.0}, Preserved.UNPRESERVED),
        ([], {"water": 0.5}, Preserved.NO_WATER),
    ],
)
def test_whether_a_product_counts_as_preserved(dosed, where, status):
    """The edges are those of ISO 29621:2017: pH below 3 or above 10, alcohol above 20 %."""
    assert assess(dosed, around(**where)).status is status


def test_bound_water_is_of_low_risk():
    assert assess([], replace(around(), water_activity=0.74)).status is Preserved.LOW_RISK
    assert assess([], replace(around(), water_activity=0.75)).status is Preserved.UNPRESERVED


NEUTRAL = {"ionic": "neutral", "ph_low": 4, "ph_high": 8, "cover": GOOD}


@pytest.mark.parametrize(
    ("changes", "acts"),
    [
        ({}, True),
        ({"ph_low": 4.1}, False),
        ({"ph_high": 7.9}, False),
        ({"use_low": 0.51}, False),
        ({"use_low": 0.5}, True),
        ({"ionic": "acid"}, False),
    ],
)
def test_without_a_ph_a_neutral_one_acts_that_does_so_from_4_to_8(changes, acts):
    found = assess([Dosed(acid(**{**NEUTRAL, **changes}), 0.5, 0.5, 1.0)], around(ph=None)).systems[0]
    assert (found.acts, found.verdict) == (acts, SystemVerdict.UNKNOWN)


@pytest.mark.parametrize(
    ("ionic", "ph", "expected"),
    [
        ("acid", 4.69, SystemVerdict.WITHIN), ("acid", 4.71, SystemVerdict.EDGE), ("acid", 5.0, SystemVerdict.EDGE),
        ("neutral", 3.31, SystemVerdict.WITHIN), ("neutral", 3.29, SystemVerdict.EDGE),
        ("neutral", 3, SystemVerdict.EDGE), ("neutral", 2.99, SystemVerdict.OUTSIDE),
        ("neutral", 5.01, SystemVerdict.OUTSIDE),
    ],
)  # fmt: skip
def test_near_the_edge_is_within_three_tenths_of_it(ionic, ph, expected):
    """An acid only loses its action upwards; the window is 3 to 5."""
    assert verdict(acid(ionic=ionic), ph=ph) is expected


SAID = [
    (acid(), 0.5, {"ph": None}, "pH not known; usual window 3 to 5.", True),
    (acid(), 0.5, {}, "pH 4.5; usual window 3 to 5.", True),
    (acid(), 0.5, {}, "0.42 % as acid, of which 0.13 % acts.", True),
    (acid(ionic="neutral"), 0.5, {}, "as acid, of which", False),
    (acid(), 0.5, {"ph": None}, "as acid, of which", False),
    (acid(), 0.19, {}, "0.19 % is below the usual 0.2 to 0.59 %.", True),
    (acid(), 0.2, {}, "is below the usual", False),
    (acid(), 0.6, {}, "0.6 % is above the usual 0.59 %.", True),
    (acid(), 0.59, {}, "is above the usual", False),
    (acid(support=True), 0.5, {}, "It helps a preservative", True),
    (acid(), 0.5, {}, "It helps a preservative", False),
    (acid(rinse_off_only=True), 0.5, {}, "allows it in rinse-off products only", True),
    (acid(remark="stings"), 0.5, {}, "Note: stings.", True),
    (acid(), 0.5, {}, "Note:", False),
    (acid(), 0.5, {}, "Weak against gram-negative bacteria.", True),
    (acid(cover=GOOD), 0.5, {}, "Weak against", False),
    (acid(), 0.5, {"water": 0.5}, "Without a water phase there is nothing for it to work in.", True),
]


@pytest.mark.parametrize(("known", "percent", "where", "words", "said"), SAID)
def test_the_reason_says_what_was_found_and_nothing_else(known, percent, where, words, said):
    (found,) = assess([Dosed(known, percent, 0.42, 0.3)], around(**where)).systems
    assert (words in found.why) is said


@pytest.mark.parametrize(("share", "said"), [(0.994, True), (0.995, False), (None, False)])
def test_the_unionised_part_is_said_where_it_is_not_all_of_it(share, said):
    (found,) = assess([Dosed(acid(), 0.5, 0.42, share)], around()).systems
    assert ("of it is un-ionised" in found.why) is said


@pytest.mark.parametrize(
    ("where", "words", "said"),
    [
        ({"water": 1.0}, "hardly any water", False), ({"water": 0.99}, "hardly any water", True),
        ({"water": 10.0}, "Little water", False), ({"water": 9.9}, "Little water", True),
        ({"water": 80, "alcohol": 20}, "Alcohol is 20%", True), ({"water": 80, "alcohol": 19}, "Alcohol is", False),
    ],
)  # fmt: skip
def test_what_is_open_is_said_from_its_bound_on(where, words, said):
    assert any(words in gap for gap in assess([], around(**where)).gaps) is said
    assert ("keep water out" in assess([], around(**where)).hints[0]) is (where["water"] < 1)


def test_an_organism_is_covered_by_the_best_of_what_acts():
    some, none = acid(cover=dict.fromkeys(COVER, "some")), acid(cover=dict.fromkeys(COVER, "weak"))

    def gaps(*known):
        return [gap for gap in assess([Dosed(one, 0.5, 0.42, 0.3) for one in known], around()).gaps if "covered" in gap]

    assert gaps(none)[0] == "Gram-positive bacteria: barely covered by what acts at this pH."
    assert gaps(none, some)[0] == "Gram-positive bacteria: only partly covered by what acts at this pH."
    assert gaps(none, acid(cover=GOOD)) == []


def test_what_takes_a_preservative_out_of_action_and_what_still_acts_is_said():
    cationic = acid(inci="Benzalkonium Chloride", ionic="cationic", use_low=0.05, use_high=0.1, ph_high=9)
    for anionic, words in ((0.1, "takes it out of action."), (0.02, "takes it partly out of action.")):
        where = replace(around(ph=6), anionics=("Sodium Laureth Sulfate",), anionic_percent=anionic)
        assert words in assess([Dosed(cationic, 0.1, 0.1, None)], where).systems[0].why
    for part, active in ((0.05, True), (0.01, False)):
        (found,) = assess([Dosed(acid(), 0.59, 0.5, part, at_edge=0.12)], around(ph=5.4)).systems
        assert ("still as much as the least usual amount gives" in found.why) is active
