"""INCI names as keys."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.names import inci_key


@pytest.mark.parametrize(
    "spelling",
    ["Sodium Benzoate", "SODIUM BENZOATE", "  sodium   benzoate ", "Sodium\tBenzoate\n", "Sodium\u00a0Benzoate"],
)
def test_spellings_of_a_name_share_a_key(spelling: str) -> None:
    assert inci_key(spelling) == "SODIUM BENZOATE"


def test_combining_marks_and_single_letters_share_a_key() -> None:
    assert inci_key("Cafe\u0301") == inci_key("Caf\u00e9")


@given(st.text(st.characters(max_codepoint=0x24F), max_size=30))
def test_a_key_is_its_own_key(name: str) -> None:
    assert inci_key(inci_key(name)) == inci_key(name)
