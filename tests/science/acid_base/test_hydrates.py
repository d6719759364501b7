import pytest

from app.science.acid_base.hydrates import name_waters, parse_waters, split_name
from app.science.errors import Invalid


@pytest.mark.parametrize(
    ("text", "waters"),
    [
        ("anhydrous", 0), ("none", 0), ("monohydrate", 1), ("Mono-Hydrate", 1), ("DIHYDRATE", 2), ("2 H2O", 2),
        ("·2H2O", 2), ("x 12 H2O", 12), ("dodecahydrate", 12), ("7-hydrate", 7), ("hemihydrate", 0.5), ("10", 10),
        ("decahydrate", 10), ("H2O", 1), ("di", 2), ("di_hydrate", 2),
    ],
)  # fmt: skip
def test_water_of_crystallisation_is_read(text, waters):
    assert parse_waters(text) == waters


@pytest.mark.parametrize("text", ["", "hydrate", "some", "-1", "x", "99 H2O", "poly hydrate", "١٢", "１"])
def test_other_words_are_refused(text):
    with pytest.raises(Invalid) as error:
        parse_waters(text)
    assert error.value.field == "hydrate"


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("Sodium Citrate Dihydrate", ("Sodium Citrate", "Dihydrate")),
        ("Sodium Citrate (anhydrous)", ("Sodium Citrate", "anhydrous")),
        ("Citric Acid", ("Citric Acid", None)),
    ],
)
def test_a_hydrate_in_the_name_is_taken_apart(name, parts):
    assert split_name(name) == parts


def test_waters_have_words():
    assert [name_waters(n) for n in (0, 2, 12, 9.5)] == ["anhydrous", "dihydrate", "dodecahydrate", "with 9.5 H2O"]
