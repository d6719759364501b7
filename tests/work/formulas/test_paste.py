"""Rows pasted from a spreadsheet, a list, or anything else that has names and numbers in it."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.paste import Choice, preview, with_rows
from app.work.formulas.resolve import MOST_LINES


def nothing(_name: str) -> list[Choice]:
    return []


def rows(text: str) -> list[tuple[str, str]]:
    return [(row.name, row.amount) for row in preview(text, 0, nothing).rows]


@pytest.mark.parametrize(
    "text",
    [
        "Aqua\t70,5\nGlycerin\t5\n",
        "Ingredient\t%\r\nAqua\t70,5\r\nGlycerin\t5\r\n\r\nTotal\t75.5\r\n",
        "70,5\tAqua\n5\tGlycerin",
        "Aqua;70,5\nGlycerin;5",
        '"Aqua","70,5"\n"Glycerin","5"',
        "Aqua   70,5\nGlycerin   5",
        "Aqua 70,5\nGlycerin 5",
        "INCI\tPhase\t%\nAqua\tA\t70,5\nGlycerin\tA\t5",
    ],
)
def test_columns_are_found_however_they_are_parted(text: str) -> None:
    assert rows(text) == [("Aqua", "70,5"), ("Glycerin", "5")]


def test_headings_totals_and_blanks_are_passed_over_and_counted() -> None:
    found = preview("Ingredient\t%\nAqua\t70\nTotal\t100\n", 0, nothing)
    assert (len(found.rows), found.passed_over) == (1, 2)


def test_a_number_that_cannot_be_read_is_marked_and_kept() -> None:
    row = preview("Aqua\t1.234,5", 0, nothing).rows[0]
    assert row.amount == "1.234,5"
    assert "can be read in two ways" in row.fault


def test_a_row_without_a_name_says_so() -> None:
    assert preview("12\t5\nAqua\t1", 0, nothing).rows[0].fault.startswith("No name in")


def test_only_an_exact_name_is_sure() -> None:
    found = preview("Aqua\t1", 0, lambda _: [Choice("shelf:2", "Aquasil"), Choice("shelf:1", "Aqua", True)])
    assert found.rows[0].sure == Choice("shelf:1", "Aqua", True)


@pytest.mark.parametrize("text", ["", "\n\n", "Total\t100", "Ingredient\t%"])
def test_a_text_without_rows_is_told(text: str) -> None:
    with pytest.raises(Invalid, match="no row with a name"):
        preview(text, 0, nothing)


def test_ten_thousand_rows_are_refused_with_the_figures() -> None:
    with pytest.raises(Invalid, match="10,000 rows; a formula holds 300 lines, 290 are free"):
        preview("Aqua\t0.01\n" * 10_000, 10, nothing)


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused(text: str) -> None:
    with suppress(Invalid):
        found = preview(text, 0, nothing)
        assert all(row.name or row.fault for row in found.rows)
        assert len(found.rows) <= MOST_LINES


def test_rows_become_lines_at_the_end_of_a_phase_and_one_fills_up() -> None:
    ids = iter("123")
    base = Draft(phases=(DraftPhase("a"), DraftPhase("b")), lines=(DraftLine("x", "a", "X", None, "1"),))
    found = with_rows(base, [("Aqua", "q.s."), ("Oil", "5"), ("More", "q.s.")], "b", lambda: next(ids))
    assert [(line.id, line.phase, line.typed, line.amount, line.qs) for line in found.lines[1:]] == [
        ("1", "b", "Aqua", "", True),
        ("2", "b", "Oil", "5", False),
        ("3", "b", "More", "q.s.", False),
    ]
