"""The titration plot is tested on the points it is given: where they lie in the drawing, and that nothing leaves it."""

import re

import pytest

from app.documents.ph_plot import BOTTOM, HEIGHT, LEFT, RIGHT, TOP, WIDTH, WindowOfPh, plot
from app.science.acid_base.titration import CurvePoint

CURVE = (CurvePoint(0, 3, 2.5, 3.5), CurvePoint(5, 5, 4.25, 6), CurvePoint(10, 7, 6, 8))


def points(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"[ML]([\d.-]+) ([\d.-]+)", path)]


def near(found: list[tuple[float, float]], wanted: list[tuple[float, float]]) -> bool:
    flat = [value for point in found for value in point], [value for point in wanted for value in point]
    return flat[0] == pytest.approx(flat[1], abs=0.01)


def x_of(grams: float, most: float = 10) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * grams / most


def y_of(ph: float, low: float = 2, high: float = 9) -> float:
    return TOP + (HEIGHT - TOP - BOTTOM) * (high - ph) / (high - low)


def test_the_curve_runs_through_its_points() -> None:
    drawn = plot(CURVE, None)
    assert near(points(drawn.curve), [(x_of(p.grams), y_of(p.ph)) for p in CURVE])


def test_the_band_goes_along_the_upper_edge_and_back_along_the_lower_one() -> None:
    """A band whose lower edge is not turned round crosses itself."""
    edge = [(p.grams, p.high) for p in CURVE] + [(p.grams, p.low) for p in reversed(CURVE)]
    assert near(points(plot(CURVE, None).band), [(x_of(g), y_of(ph)) for g, ph in edge])


def test_a_reading_is_marked_at_its_grams_and_its_ph() -> None:
    drawn = plot(CURVE, None, (), [(2.5, 4.0, "pH 4")])
    assert [(m.x, m.y, m.words) for m in drawn.marks] == [
        (pytest.approx(x_of(2.5), abs=0.01), pytest.approx(y_of(4), abs=0.01), "pH 4")
    ]


def test_a_reading_beyond_the_curve_widens_the_drawing() -> None:
    drawn = plot(CURVE, None, (), [(20.0, 11.2, "")])
    assert drawn.marks[0].x == pytest.approx(WIDTH - RIGHT, abs=0.01)
    assert TOP < drawn.marks[0].y < HEIGHT - BOTTOM
    assert points(drawn.curve)[-1][0] == pytest.approx(x_of(10, 20), abs=0.01)


def test_a_window_reaches_from_its_lower_to_its_upper_ph_and_is_clipped_at_the_frame() -> None:
    inside, beyond = plot(CURVE, None, (WindowOfPh(4, 6, "full", "gel"), WindowOfPh(-5, 20, "all", "gel"))).windows
    assert (inside.y, inside.y + inside.height) == pytest.approx((y_of(6), y_of(4)), abs=0.01)
    assert (beyond.y, beyond.y + beyond.height) == pytest.approx((TOP, HEIGHT - BOTTOM), abs=0.01)


def test_the_target_is_drawn_at_its_ph_and_the_second_curve_through_its_points() -> None:
    second = (CurvePoint(0, 3.2, 3, 3.4), CurvePoint(10, 8.5, 8, 8.9))
    drawn = plot(CURVE, 5.5, (), (), second)
    assert drawn.target_y == pytest.approx(y_of(5.5), abs=0.01)
    assert near(points(drawn.second_curve), [(x_of(0), y_of(3.2)), (x_of(10), y_of(8.5))])
