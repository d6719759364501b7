"""The titration is tested on the points it is given: where they lie in the drawing, and that nothing leaves it."""

import pytest

from app.documents.drawings.ruler import Window
from app.documents.drawings.shapes import EDGE, Drawing, Shape
from app.documents.drawings.titration import BOTTOM, HEIGHT, TOP, PlottedReading, titration
from app.science.acid_base.titration import CurvePoint

CURVE = (CurvePoint(0, 3, 2.5, 3.5), CurvePoint(5, 5, 4.25, 6), CurvePoint(10, 7, 6, 8))
MATERIAL = "Citric acid 50 %"


def the(drawing: Drawing, look: str) -> list[Shape]:
    return [shape for shape in drawing.shapes if shape.look == look and shape.kind != "text"]


def near(found: tuple[tuple[float, float], ...], wanted: list[tuple[float, float]]) -> bool:
    flat = [value for point in found for value in point], [value for point in wanted for value in point]
    return flat[0] == pytest.approx(flat[1], abs=0.01)


def x_of(grams: float, most: float = 10) -> float:
    return EDGE + (1 - 2 * EDGE) * grams / most


def y_of(ph: float, low: float = 2, high: float = 9) -> float:
    return TOP + (HEIGHT - TOP - BOTTOM) * (high - ph) / (high - low)


def test_the_curve_runs_through_its_points() -> None:
    [curve] = the(titration(MATERIAL, CURVE, None), "curve")
    assert near(curve.points, [(x_of(p.grams), y_of(p.ph)) for p in CURVE])


def test_the_band_goes_along_the_upper_edge_and_back_along_the_lower_one() -> None:
    """A band whose lower edge is not turned round crosses itself."""
    edge = [(p.grams, p.high) for p in CURVE] + [(p.grams, p.low) for p in reversed(CURVE)]
    [band] = the(titration(MATERIAL, CURVE, None), "band")
    assert near(band.points, [(x_of(g), y_of(ph)) for g, ph in edge])
    assert band.course(100).startswith("M2.0 ")
    assert band.course(100).endswith("Z")


def test_a_reading_is_marked_at_its_grams_and_its_ph() -> None:
    [mark] = the(titration(MATERIAL, CURVE, None, (), [PlottedReading(2.5, 4.0, "pH 4")]), "reading")
    assert (mark.x, mark.y) == (pytest.approx(x_of(2.5), abs=1e-4), pytest.approx(y_of(4), abs=0.01))
    assert mark.words == "pH 4: pH 4.00 at 2.5 g"


def test_a_reading_beyond_the_curve_widens_the_drawing() -> None:
    drawn = titration(MATERIAL, CURVE, None, (), [PlottedReading(20.0, 11.2)])
    [mark], [curve] = the(drawn, "reading"), the(drawn, "curve")
    assert mark.x == pytest.approx(1 - EDGE, abs=1e-4)
    assert TOP < mark.y < HEIGHT - BOTTOM
    assert curve.points[-1][0] == pytest.approx(x_of(10, 20), abs=1e-4)


def test_a_window_reaches_from_its_lower_to_its_upper_ph_and_is_clipped_at_the_frame() -> None:
    windows = (Window(4, 6, "full", "gel"), Window(-5, 20, "all", "preservative"))
    drawn = titration(MATERIAL, CURVE, None, windows)
    inside, beyond = the(drawn, "window")
    assert (inside.y, inside.y2) == pytest.approx((y_of(6), y_of(4)), abs=0.01)
    assert (beyond.y, beyond.y2) == pytest.approx((TOP, HEIGHT - BOTTOM), abs=0.01)
    assert beyond.x2 < inside.x
    assert {"full: pH 4 to 6", "all: pH -5 to 20"} <= {shape.words for shape in drawn.shapes if shape.kind == "text"}


def test_the_target_is_drawn_at_its_ph_and_the_second_curve_through_its_points() -> None:
    second = (CurvePoint(0, 3.2, 3, 3.4), CurvePoint(10, 8.5, 8, 8.9))
    drawn = titration(MATERIAL, CURVE, 5.5, (), (), second)
    [target], [fitted] = the(drawn, "wanted"), the(drawn, "fitted")
    assert (target.y, target.y2) == pytest.approx((y_of(5.5), y_of(5.5)), abs=0.01)
    assert near(fitted.points, [(x_of(0), y_of(3.2)), (x_of(10), y_of(8.5))])


def test_points_of_the_curve_say_their_values() -> None:
    assert titration(MATERIAL, CURVE, None).marks == ("0 g: pH 3.00 (2.5 to 3.5)",)


def test_no_shape_leaves_the_drawing() -> None:
    windows = (Window(-5, 4, "low", "gel"), Window(6, 20, "high", "preservative"))
    shapes = titration(MATERIAL, CURVE, 5.5, windows, [PlottedReading(20.0, 13, "pH 13")]).shapes
    places = [(shape.x, shape.y) for shape in shapes] + [point for shape in shapes for point in shape.points]
    assert all(0 <= x <= 1 and 0 <= y <= HEIGHT for x, y in places)
