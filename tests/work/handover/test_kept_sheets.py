"""Formulas as people keep them in spreadsheets: every shape read alike, every doubtful cell asked."""

import io
import random
import zipfile
from collections.abc import Callable, Sequence
from decimal import Decimal

import pytest
from openpyxl import Workbook
from sqlalchemy import func, select

from app.store.engine import Store
from app.store.formulas import FormulaRow
from app.work.csv_text import Unreadable
from app.work.formulas.editing import open_draft
from app.work.formulas.results import results_of
from app.work.handover.coming_in import take_kept
from app.work.handover.kept_sheets import KeptFormula, read_kept
from app.work.handover.tables import is_hand_over
from app.work.handover.undoing import list_imports, undo_import

Rows = Sequence[Sequence[object]]
CREAM = {"Water": "70", "Glycerin": "5", "Shea butter": "10", "Olive oil": "14", "Preservative": "1"}
BODY: Rows = [(name, float(amount)) for name, amount in CREAM.items()]


def book(*sheets: tuple[str, Rows], formats: dict[str, str] | None = None) -> bytes:
    made = Workbook()
    made.remove(made.active)
    for name, rows in sheets:
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
        for place, form in (formats or {}).items():
            for (cell,) in sheet[place]:
                cell.number_format = form
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def text(rows: Rows, mark: str = ",", encoding: str = "utf-8") -> bytes:
    return "\r\n".join(mark.join(str(cell) for cell in row) for row in rows).encode(encoding)


def weights(found: KeptFormula) -> dict[str, str]:
    return {line.name: line.amount for line in found.lines}


PHASES: Rows = [
    ("Phase A", None), ("Water", 70), ("Glycerin", 5), ("Phase B: oils", None), ("Shea butter", 10),
    ("Olive oil", 14), ("Cool down", None), ("Preservative", 1), ("Total", 100), (None, None),
    ("Stir B into A at 75 C.", None),
]  # fmt: skip
SHAPES: dict[str, bytes] = {
    "two columns with headings": book(("Cream", [("Ingredient", "%"), *BODY])),
    "two columns without headings": book(("Cream", BODY)),
    "a title and notes above, a total below": book(
        ("Sheet1", [("Cream",), ("Date", "2026-03-01"), (), ("Material", "% w/w"), *BODY, ("Total", 100.0)])
    ),
    "the phase as a column": book(("Cream", [("Phase", "INCI name", "%"), *[("A", name, n) for name, n in BODY]])),
    "phases as headings": book(("Cream", [("Ingredient", "%"), *PHASES])),
    "percentages as spreadsheets format them": book(
        ("Cream", [("Ingredient", "%"), *[(name, n / 100) for name, n in BODY]]), formats={"B2:B6": "0.0%"}
    ),
    "fractions of one": book(("Cream", [("Ingredient", "Amount"), *[(name, n / 100) for name, n in BODY]])),
    "percent and grams side by side": book(
        ("Cream", [("Ingredient", "%", "Weight (g)"), *[(name, n, n * 5) for name, n in BODY]])
    ),
    "number, supplier, cost and function beside": book(
        (
            "Cream",
            [
                ("No.", "Trade name", "INCI", "Function", "%", "Cost", "Notes"),
                *[(i, name, name.upper(), "base", n, 1.2, "x") for i, (name, n) in enumerate(BODY, 1)],
            ],
        )
    ),
    "subtotals by phase": book(
        (
            "Cream",
            [
                ("Ingredient", "%"),
                ("Phase A", None),
                *BODY[:2],
                ("Subtotal", 75.0),
                ("Phase B", None),
                *BODY[2:],
                ("Subtotal", 25.0),
                ("Total", 100.0),
            ],
        )
    ),
    "water to 100": book(("Cream", [("Ingredient", "%"), ("Water", "q.s. to 100"), *BODY[1:]])),
    "commas for decimals, semicolons for cells": text(
        [("Ingredient", "%"), *[(name, f"{n:.1f}".replace(".", ",")) for name, n in BODY]], ";"
    ),
    "tabs and Windows letters": text([("Cream",), ("Ingredient", "%"), *BODY], "\t", "cp1252"),
    "German headings": text([("Phase", "Zutat", "Gew.-%"), *[("A", name, n) for name, n in BODY]], ";"),
    "French headings": text([("Phase", "Ingrédient", "%"), *[("A", name, n) for name, n in BODY]], ";", "cp1252"),
    "a mark of UTF-16": text([("Ingredient", "%"), *BODY], "\t", "utf-16"),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_is_the_same_formula(shape: str) -> None:
    (found,) = read_kept(SHAPES[shape])
    assert found.questions == ()
    read = {name.title(): amount.replace("%", "").strip() for name, amount in weights(found).items()}
    wanted = {name.title(): Decimal(amount) for name, amount in CREAM.items()}
    if shape == "water to 100":
        assert read.pop("Water") == "q.s. to 100"
        wanted.pop("Water")
    assert {name: Decimal(amount.replace(",", ".")) for name, amount in read.items()} == wanted
    assert found.basis == "percent"


def test_phases_notes_and_the_name_come_along() -> None:
    (found,) = read_kept(SHAPES["phases as headings"])
    assert found.name == "Cream"
    assert [line.phase for line in found.lines] == ["Phase A"] * 2 + ["Phase B: oils"] * 2 + ["Cool down"]
    draft = found.draft
    assert [phase.name for phase in draft.phases][1:] == ["oils", "Cool down"]
    assert "Stir B into A at 75 C." in draft.notes
    titled = read_kept(SHAPES["a title and notes above, a total below"])[0]
    assert titled.name == "Cream"
    assert "Date 2026-03-01" in titled.draft.notes
    noted = read_kept(SHAPES["number, supplier, cost and function beside"])[0]
    assert {line.note for line in noted.draft.lines} == {"x"}


def test_the_headings_of_other_languages_keep_the_phases() -> None:
    for shape in ("German headings", "French headings"):
        (found,) = read_kept(SHAPES[shape])
        assert {line.phase for line in found.lines} == {"A"}
        assert found.notes == ""


def test_a_second_column_of_amounts_is_named_and_not_left_out_in_silence() -> None:
    rows = [("Ingredient", "Cream 1", "Cream 2", "Cost"), *[(name, n, n + 1, 3.5) for name, n in BODY]]
    (found,) = read_kept(book(("Creams", rows)))
    assert weights(found)["Water"] == "70"
    (remark,) = found.remarks
    assert "Column C (Cream 2) holds amounts too" in remark


def test_a_formula_that_nothing_else_names_has_the_name_of_its_file() -> None:
    assert [one.name for one in read_kept(text(BODY), file_name="Hand cream 3.csv")] == ["Hand cream 3"]
    two = book(("Sheet1", BODY), ("Sheet2", BODY), ("Gel", BODY))
    names = [one.name for one in read_kept(two, file_name=r"C:\mine\creams.xlsx")]
    assert names == ["creams, Sheet1", "creams, Sheet2", "Gel"]


def test_each_sheet_is_a_formula_and_a_sheet_without_one_is_none() -> None:
    data = book(("Cream", [("Ingredient", "%"), *BODY]), ("Prices", [("a", "b"), ("c", "d")]), ("Gel", BODY))
    assert [one.name for one in read_kept(data)] == ["Cream", "Gel"]


def test_grams_become_a_formula_of_weights_whose_percentages_follow(store: Store) -> None:
    data = book(("Cream", [("Ingredient", "Weight (g)"), *[(name, n * 5) for name, n in BODY], ("Total", 500.0)]))
    (found,) = read_kept(data)
    assert found.basis == "weights"
    assert weights(found)["Water"] == "350 g"
    taken = take_kept(store, [found], file_name="c.xlsx")
    with store.reading() as session:
        there = open_draft(session, 1)
        percents = [line.percent for line in results_of(session, there).lines]
    assert percents == [Decimal(amount) for amount in CREAM.values()]
    undo_import(store, taken)


DOUBTS: dict[str, tuple[Rows, str, str]] = {
    "no amount": ([("Ingredient", "%"), *BODY, ("Perfume", None)], "B7", "How much of Perfume"),
    "a range": ([("Ingredient", "%"), *BODY[:4], ("Preservative", "0.8-1.2")], "B6", ""),
    "about": ([("Ingredient", "%"), *BODY[:4], ("Preservative", "about 1")], "B6", ""),
    "no name": ([("Ingredient", "%", "Function"), *BODY, (None, 3, "thickener")], "B7", "What is it"),
    "an error of the spreadsheet": (
        [("Ingredient", "%"), *BODY[:4], ("Preservative", "#REF!")],
        "B6",
        "could not work",
    ),
    "a sum that was never worked out": (
        [("Ingredient", "%"), *BODY[:4], ("Preservative", "=100-B2")],
        "B6",
        "without its",
    ),
}


@pytest.mark.parametrize("doubt", DOUBTS)
def test_a_doubtful_cell_is_asked_and_its_answer_taken(doubt: str) -> None:
    rows, place, asks = DOUBTS[doubt]
    data = book(("Cream", rows))
    (found,) = read_kept(data)
    question = next(one for one in found.questions if not one.choices)
    assert question.place == place
    assert asks in question.asks
    (answered,) = read_kept(data, {question.key: "1"})
    assert any(line.amount == "1" for line in answered.lines)
    still = [one.key for one in answered.questions if not one.choices]
    assert still == ([question.key] if doubt == "no name" else [])


def test_a_sum_that_is_not_100_is_asked_what_it_is() -> None:
    data = book(("Cream", [("Ingredient", "Amount"), *BODY, ("Perfume", 20.0), ("Total", 120.0)]))
    (found,) = read_kept(data)
    (question,) = found.questions
    assert "add up to 120, not to 100" in question.asks
    assert question.answer == "weights"
    (as_weights,) = read_kept(data, {question.key: "weights"})
    assert (as_weights.basis, as_weights.questions) == ("weights", ())
    (as_percent,) = read_kept(data, {question.key: "percent"})
    assert (as_percent.basis, as_percent.questions) == ("percent", ())


def test_one_name_twice_is_said_and_both_lines_are_kept() -> None:
    (found,) = read_kept(book(("C", [("Ingredient", "%"), ("Water", 60), ("Oil", 30), ("water", 10)])))
    assert found.remarks == ("water stands there more than once; every line is kept.",)
    assert len(found.draft.lines) == 3


def test_what_is_left_open_comes_into_the_draft_as_it_stands(store: Store) -> None:
    (found,) = read_kept(book(("C", [("Ingredient", "%"), ("Water", "about 60"), ("Oil", 40)])))
    take_kept(store, [found], who="Ines", file_name="c.xlsx", key="k")
    take_kept(store, [found], who="Ines", file_name="c.xlsx", key="k")
    with store.reading() as session:
        assert session.scalar(select(func.count(FormulaRow.id))) == 1
        assert open_draft(session, 1).draft.lines[0].amount == "about 60"
        assert list_imports(session)[0][0].summary == "1 formula of a spreadsheet"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"PK\x03\x04 no zip", "cannot be read"),
        (b"\x00\x01\x02\xff" * 40, "neither"),
        (b"only words here\nand more words", "no formula"),
        (book(("Empty", [])), "no formula"),
        (b"x" * 20_000_001, "larger"),
    ],
    ids=["empty", "no zip", "binary", "words", "empty book", "huge"],
)
def test_a_file_without_a_formula_says_so(data: bytes, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        read_kept(data)


def mangled(data: bytes, dice: random.Random) -> bytes:
    """Spoil a part inside a spreadsheet, or the bytes of a text."""
    if not data.startswith(b"PK"):
        return data[: dice.randrange(1, len(data))]
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        victim = dice.choice(old.namelist())
        for name in old.namelist():
            content = bytearray(old.read(name))
            if name == victim and content:
                content[dice.randrange(len(content))] ^= 0x55
                content = content[: dice.randrange(1, len(content) + 1)]
            new.writestr(name, bytes(content))
    return out.getvalue()


def test_spoilt_files_are_read_or_refused_and_nothing_else() -> None:
    dice = random.Random(11)  # noqa: S311 - no secret
    spoil: list[Callable[[bytes], bytes]] = [
        lambda data: data[: dice.randrange(1, len(data))],
        lambda data: mangled(data, dice),
    ]
    for data in SHAPES.values():
        for change in spoil:
            broken = change(data)
            is_hand_over(broken)
            try:
                found = read_kept(broken)
            except Unreadable:
                continue
            assert all(one.draft.lines for one in found)


def test_our_own_files_are_told_from_those_people_keep() -> None:
    assert not any(is_hand_over(data) for data in SHAPES.values())
    assert is_hand_over(b'{"kind": "formulas"}')
    assert is_hand_over("\ufefftable,code\r\n".encode())
    assert is_hand_over(book(("formulas", [("code", "name")])))
