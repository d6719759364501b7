"""The drawings that pages and papers share: what they say agrees with the figures they are drawn from."""

import re
from decimal import Decimal
from html import unescape

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.documents.drawings.batches import BatchFigure, Series, batch_beside_batch
from app.documents.drawings.life import Knot, life
from app.documents.drawings.making import PhaseVessel, making
from app.documents.drawings.ruler import PhFacts, Window, ph_ruler, small_ph_ruler
from app.documents.drawings.shapes import Drawing
from app.documents.drawings.shares import Share, weight_against_cost
from app.documents.paper import environment
from app.science.acid_base.values import Range

PH = st.floats(0, 14)


def svg(drawing: Drawing, width: float | None = None) -> str:
    return str(environment().get_template("_drawing.html").module.draw(drawing, width))  # type: ignore[attr-defined]


def find(drawing: Drawing, look: str) -> list[float]:
    return [shape.x for shape in drawing.shapes if shape.look == look]


@given(PH, PH, st.lists(PH, max_size=5))
def test_the_ruler_keeps_the_order_of_what_stands_on_it(low: float, wanted: float, read: list[float]) -> None:
    predicted = Range(low + 0.2, low, low + 0.4)
    facts = PhFacts((), predicted, wanted, tuple((ph, f"{ph:.2f}") for ph in read))
    for drawing in (small_ph_ruler(facts), ph_ruler(facts)):
        places = [*find(drawing, "predicted"), *find(drawing, "wanted"), *find(drawing, "reading")]
        assert all(0 <= place <= 1 for place in places)
        values = [low, wanted, *read]
        assert sorted(range(len(values)), key=lambda n: (values[n], n)) == sorted(
            range(len(values)), key=lambda n: (places[n], values[n], n)
        )


def test_the_ruler_says_every_window_reading_and_wish() -> None:
    facts = PhFacts((Window(2, 6, "Sorbic Acid", "preservative"),), Range(4.4, 4.3, 4.6), 4.8, ((5.2, "5.2, HC-1"),))
    drawing = ph_ruler(facts)
    assert drawing.marks == (
        "target 4.8",
        "Sorbic Acid: pH 2 to 6",
        "predicted 4.3 to 4.6, likeliest 4.4",
        "read 5.2, HC-1",
    )
    assert drawing.patterns == ("dots",)


def test_bars_are_logarithmic_and_what_is_dear_is_named() -> None:
    drawing = weight_against_cost([Share("Lavender oil", 0.2, 11.6), Share("Water", 68.15, None)])
    weights = [shape for shape in drawing.shapes if shape.look == "weight"]
    # log10(0.2 / 0.01) / 4 = 0.32526 and log10(68.15 / 0.01) / 4 = 0.95836, of 0.46 of the width.
    assert [bar.x2 - bar.x for bar in weights] == pytest.approx([0.1496, 0.4408], abs=1e-4)
    assert "Lavender oil: 11.6 % of the cost, 58 times its weight" in drawing.marks
    assert "no price" in [shape.words for shape in drawing.shapes]


def test_a_hot_phase_is_poured_hot_and_a_cool_one_after_cooling() -> None:
    vessels = [
        PhaseVessel("A", "Water", 73.6, 75),
        PhaseVessel("B", "Oil", 23.5, 75),
        PhaseVessel("C", "Cool down", 2.9, 40),
    ]
    pours = [shape for shape in making(vessels).shapes if shape.look == "pour"]
    assert [pour.words for pour in pours] == [
        "B Oil goes into the vessel at 75 °C",
        "C Cool down goes into the vessel at 40 °C",
    ]
    assert pours[0].x < pours[1].x
    assert pours[0].y < pours[1].y
    for few in (vessels, vessels[:1], [*vessels, PhaseVessel("D", "Adjust", 0.1, None)]):
        assert max(shape.x2 for shape in making(few).shapes if shape.look == "main") == pytest.approx(0.98)


def test_a_batch_out_of_its_window_is_a_square_and_not_only_a_colour() -> None:
    points = (BatchFigure("HC-1", 5.2, is_out=True), BatchFigure("HC-2", 4.9), BatchFigure("HC-3", None))
    drawing = batch_beside_batch([Series("pH", "", points, 4.6, 5.0)])
    assert [(shape.kind, shape.words) for shape in drawing.shapes if shape.look in ("out", "reading")] == [
        ("square", "HC-1: pH 5.2, out of its window"),
        ("circle", "HC-2: pH 4.9"),
    ]


def test_the_life_of_a_formula_hangs_its_batches_on_their_version() -> None:
    drawing = life([Knot(1, "first", (("HC-1", "released"),), ("Unscented",)), Knot(2, "")], has_draft=True)
    assert drawing.marks == (
        "version 1: first",
        "batch HC-1, released",
        "branched into Unscented",
        "version 2",
        "the draft",
    )


DRAWINGS = {
    "ruler": ph_ruler(PhFacts((Window(3, 8, "A & <b>", "gel"),), Range(5, 4, 6), 5.5, ())),
    "shares": weight_against_cost([Share('Oil "fine" <i>', 5.0, 2.0)]),
    "making": making([PhaseVessel("A", "", 100, None)]),
}


@pytest.mark.parametrize("drawing", DRAWINGS.values(), ids=DRAWINGS)
def test_what_is_typed_is_escaped_and_a_paper_gets_plain_numbers(drawing: Drawing) -> None:
    on_page, on_paper = svg(drawing), svg(drawing, 640)
    assert "<b>" not in on_page
    assert "<i>" not in on_page
    assert re.search(r'x\d?="[\d.]+%"', on_page)
    assert "%" not in "".join(re.findall(r' (?:x|y|x1|x2|cx|width)="([^"]*)"', on_paper))
    assert all(words in unescape(on_page) for words in drawing.marks)


def test_a_share_of_nothing_has_no_length() -> None:
    drawing = weight_against_cost([Share("Trace", float(Decimal("0.0001")), 0.0)])
    assert all(shape.x2 - shape.x < 1e-9 for shape in drawing.shapes if shape.look in ("weight", "cost"))


def test_a_long_name_is_shortened_between_the_bars_and_whole_in_its_words() -> None:
    long = "Bis-Ethylhexyloxyphenol Methoxyphenyl Triazine of the second pressing"
    for wide in (True, False):
        shapes = weight_against_cost([Share(long, 5.0, 2.0)], wide=wide).shapes
        name = next(shape.words for shape in shapes if shape.look == "name")
        assert name.endswith("…")
        assert len(name) <= 42
        assert any(shape.words.startswith(long) for shape in shapes)
