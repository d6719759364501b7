"""The shipped library is found by trade names too, each leading to the material first."""

import pytest

from app.reference.library_search import library_index
from app.reference.materials import library_materials
from app.reference.search import search


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("lye", "sodium-hydroxide"),
        ("epsom", "magnesium-sulfate"),
        ("vitamin c", "ascorbic-acid"),
        ("beeswax", "cera-alba"),
        ("rosewater", "rosa-damascena-flower-water"),
        ("red 40", "ci-16035"),
        ("panthenol 75", "panthenol"),
        ("emulsifying wax bp", "emulsifying-wax-bp-anionic"),
    ],
)
def test_a_trade_name_finds_the_material(text: str, key: str) -> None:
    assert search(library_index(), text)[0].entry.id == key


def test_every_material_is_in_the_index_once() -> None:
    assert [entry.id for entry in library_index().entries] == [m.key for m in library_materials()]
