"""Sheets, lengths and the layout of labels. Outside: 1 in = 25.4 mm; grids of paper sold as 3 x 8 and 3 x 10."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.reference.label_sheets import common_sheets
from app.science.errors import Invalid
from app.science.label_layout import Block, Code, Label, lay_out
from app.science.label_sheets import SheetGrid
from app.science.lengths import parse_mm


@pytest.mark.parametrize(
    ("text", "mm"),
    [("70", "70"), ("70 mm", "70"), ("7 cm", "70"), ("1 in", "25.4"), ("2 5/8 in", "66.675"), ('3 1/3 "', "84.667"),
     ("0,5 mm", "0.5"), ("8.5 inches", "215.9")],
)  # fmt: skip
def test_lengths_as_people_type_them(text, mm):
    assert parse_mm(text) == Decimal(mm)


@pytest.mark.parametrize("text", ["", "wide", "1300 mm", "-1 mm", "3 ft"])
def test_no_length_is_refused(text):
    with pytest.raises(Invalid):
        parse_mm(text, "width")


GRID = SheetGrid(210, 297, 3, 8, 70, 37, 0, 0.5, 70, 37)


def test_labels_lie_row_by_row_and_go_on_on_the_next_page():
    places = list(GRID.places(4, start=23))
    assert places == [(0, 70, 259.5), (0, 140, 259.5), (1, 0, 0.5), (1, 70, 0.5)]


def test_the_shift_of_the_printer_is_taken_off():
    shifted = SheetGrid(210, 297, 3, 8, 70, 37, 0, 0.5, 70, 37, shift_x_mm=0.8, shift_y_mm=-0.4)
    assert shifted.corner(4) == pytest.approx((69.2, 37.9))


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"pitch_x_mm": 69}, "pitch_x"),
        ({"pitch_y_mm": 36}, "pitch_y"),
        ({"left_mm": 1}, "left"),
        ({"top_mm": 2}, "top"),
        ({"is_round": True}, "label_height"),
        ({"columns": 50, "rows": 50}, "across"),
    ],
)
def test_a_grid_that_cannot_be_names_its_field(changes, field):
    measures = {name: getattr(GRID, name) for name in GRID.__slots__} | changes
    with pytest.raises(Invalid) as error:
        SheetGrid(**measures).check()
    assert error.value.field == field


@pytest.mark.parametrize("name", sorted(common_sheets()))
def test_every_common_sheet_lies_on_its_page(name):
    measures = common_sheets()[name]
    grid = SheetGrid(
        **{key: (value if key in ("columns", "rows", "is_round") else float(value)) for key, value in measures.items()}
    )
    grid.check()
    assert grid.per_page == measures["columns"] * measures["rows"]


def half(text, bold=False):
    return 0.5 * len(text)


def test_a_text_takes_its_best_size_where_it_fits():
    laid = lay_out(Label(60, 40), [Block("a", "short", 2, 4)], [], half)
    assert (laid.lines[0].size_mm, laid.ease, laid.missing_mm) == (4, 1, 0)


def test_no_text_falls_below_its_least_size_and_what_lacks_is_said():
    laid = lay_out(Label(30, 20), [Block("a", "word " * 200, 1.5, 3)], [], half)
    assert laid.size_of("a") == 1.5
    lines = len(laid.lines)
    assert laid.missing_mm == pytest.approx(lines * 1.5 * 1.22 - 17, abs=1e-6)


def test_codes_stand_at_the_lower_right_inside_the_margin():
    laid = lay_out(Label(70, 37), [Block("a", "x", 2, 3)], [Code("qr", "", 12, 12), Code("bar", "", 30, 21)], half)
    qr, bar = laid.codes
    assert (bar.x_mm + 30, bar.y_mm + 21) == (pytest.approx(68), pytest.approx(35))
    assert qr.x_mm + 12 == pytest.approx(bar.x_mm - 1.5)


@given(
    st.floats(20, 120), st.floats(15, 120), st.booleans(),
    st.lists(
        st.tuples(st.text("abc defgh", min_size=1, max_size=80), st.floats(1, 3), st.booleans()), min_size=1, max_size=6
    ),
)  # fmt: skip
def test_what_is_laid_out_lies_inside_and_above_its_least_size(width, height, is_round, texts):
    blocks = [Block(str(n), text, least, 1.6 * least, bottom=low) for n, (text, least, low) in enumerate(texts)]
    size = min(width, height) if is_round else 0
    label = Label(size or width, size or height, is_round)
    laid = lay_out(label, blocks, [Code("qr", "", 8, 8)], half)
    least = {block.kind: block.least_mm for block in blocks}
    assert all(line.size_mm >= least[line.kind] - 1e-9 for line in laid.lines)
    assert all(line.x_mm >= 1.5 for line in laid.lines)
    assert all(
        line.x_mm + half(line.text) * line.size_mm <= label.width_mm - 1.49 for line in laid.lines if len(line.text) > 1
    )
    if not laid.missing_mm:
        assert all(line.baseline_mm + 0.25 * line.size_mm <= label.height_mm - 1.4 for line in laid.lines)
    written = "".join("".join(line.text.split()) for line in laid.lines)
    assert sorted(written) == sorted("".join("".join(text.split()) for text, *_ in texts))


def test_lines_stand_where_their_sizes_put_them():
    """By hand, 60 x 40 mm: a line is 1.22 sizes high, its baseline 0.25 above its foot; 0.45 sizes part two texts."""
    blocks = [Block("a", "one\ntwo", 4, 4), Block("b", "three", 2, 2, bold=True), Block("c", "low", 3, 3, bottom=True)]
    laid = lay_out(Label(60, 40), blocks, [], half)
    feet = [2 + 4.88, 2 + 9.76, 2 + 9.76 + 0.9 + 2.44, 38]
    assert [line.baseline_mm for line in laid.lines] == pytest.approx(
        [foot - 0.25 * size for foot, size in zip(feet, (4, 4, 2, 3), strict=True)]
    )
    assert [(line.text, line.size_mm, line.bold, line.x_mm) for line in laid.lines] == [
        ("one", 4, False, 2), ("two", 4, False, 2), ("three", 2, True, 2), ("low", 3, False, 2),
    ]  # fmt: skip
    assert laid.size_of("nothing") is None


@pytest.mark.parametrize(
    ("label", "inner"),
    [
        (Label(60, 40), (2, 2, 56, 36)),
        (Label(60, 24.9), (1.5, 1.5, 57, 21.9)),
        (Label(25, 25), (2, 2, 21, 21)),
        (Label(60, 60, is_round=True), (10.201, 10.201, 39.598, 39.598)),  # the square of 56 / sqrt 2
    ],
)
def test_a_margin_is_left_and_of_a_round_label_the_square_inside_is_used(label, inner):
    assert label.inner == pytest.approx(inner, abs=1e-3)


def test_low_texts_stand_beside_the_codes_or_below_them_where_that_is_too_narrow():
    """56 mm are free: a code of 34 leaves 20.5 beside it, more than 0.35 of the width (19.6), one of 35 does not."""
    low = Block("low", "made in Lisbon", 2, 2, bottom=True)
    beside = lay_out(Label(60, 40), [low], [Code("bar", "", 34, 20)], half)
    below = lay_out(Label(60, 40), [low], [Code("bar", "", 35, 20)], half)
    assert (beside.codes[0].y_mm + 20, beside.lines[-1].baseline_mm) == pytest.approx((38, 38 - 0.5))
    assert below.codes[0].y_mm + 20 == pytest.approx(38 - 2.44 - 1.5)
    assert below.lines[-1].baseline_mm == pytest.approx(38 - 0.5)
    # Three lines for one text beside it are more than the two it may take.
    long = Block("low", "made in Lisbon by hand for you and me and all of us", 2, 2, bottom=True)
    assert lay_out(Label(60, 40), [long], [Code("bar", "", 34, 20)], half).codes[0].y_mm + 20 < 38 - 2.4


def test_what_lacks_counts_codes_gaps_and_what_is_too_wide():
    """21 + 1.5 + 2.44 mm of 18: the code, the gap and one line in a label of 22 mm."""
    laid = lay_out(Label(60, 21), [Block("a", "x", 2, 2)], [Code("bar", "", 30, 21)], half)
    assert laid.missing_mm == pytest.approx(21 + 1.5 + 2.44 - 18)
    wide = lay_out(Label(60, 40), [], [Code("bar", "", 30, 10), Code("bar", "", 30, 36)], half)
    assert wide.missing_mm == pytest.approx(61.5 - 56)
    assert (laid.ease, wide.ease) == (0, 0)


def test_a_word_too_long_is_cut_where_the_line_ends():
    """At size 2 a line of 56 mm holds 56 letters of half a size each."""
    laid = lay_out(Label(60, 40), [Block("a", "in " + "x" * 100, 2, 2)], [], half)
    assert [line.text for line in laid.lines] == ["in", "x" * 56, "x" * 44]


SMALL = {"columns": 20, "label_width_mm": 5, "label_height_mm": 5, "pitch_x_mm": 5, "pitch_y_mm": 5}


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({}, ""),
        ({**SMALL, "rows": 20}, ""),
        ({**SMALL, "rows": 21}, "across"),
        ({"pitch_x_mm": 39.96}, ""),
        ({"pitch_x_mm": 39.94}, "pitch_x"),
        ({"columns": 1, "pitch_x_mm": 0}, ""),
        ({"pitch_y_mm": 29.96}, ""),
        ({"pitch_y_mm": 29.94}, "pitch_y"),
        ({"rows": 1, "pitch_y_mm": 0}, ""),
        ({"left_mm": 30.04}, ""),  # 30 + 2 x 40 + 40 is the whole 150
        ({"left_mm": 30.06}, "left"),
        ({"top_mm": 20.04}, ""),  # 20 + 3 x 30 + 30 is the whole 140
        ({"top_mm": 20.06}, "top"),
        ({"is_round": True}, "label_height"),
        ({"is_round": True, "label_width_mm": 30.04}, ""),
        ({"is_round": True, "label_width_mm": 30.06}, "label_height"),
    ],
)  # fmt: skip
def test_a_grid_may_be_off_by_what_rounding_from_inches_costs(changes: dict, field: str) -> None:
    """A page of 150 by 140 mm with three columns of 40 and four rows of 30."""
    grid = replace(SheetGrid(150, 140, 3, 4, 40, 30, 10, 10, 40, 30), **changes)
    if not field:
        grid.check()
        return
    with pytest.raises(Invalid) as wrong:
        grid.check()
    assert wrong.value.field == field
