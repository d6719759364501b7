"""Labels that go round a pack, by the geometry of the circle."""

import pytest

from app.science.pack_shapes import Wrap


def test_a_wrap_round_60_mm_with_4_mm_overlap() -> None:
    wrap = Wrap(60, 4)
    assert wrap.circumference_mm == pytest.approx(188.496, abs=0.001)
    assert wrap.length_mm == pytest.approx(192.496, abs=0.001)
    assert wrap.front_mm + wrap.back_mm == pytest.approx(wrap.circumference_mm)
    assert wrap.front_mm / wrap.circumference_mm == pytest.approx(0.4)
