"""Formulas out as a file and in again: nothing is lost, nothing is half written, and all of it can be taken back."""

import json
import random
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from app.store.engine import Store
from app.store.errors import Conflict
from app.store.formulas import FormulaRow
from app.store.materials import MaterialRow
from app.store.products import live_products
from app.work.csv_text import Unreadable
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import SaveOrigin, create, open_draft, save_draft
from app.work.formulas.listing import list_formulas
from app.work.handover.coming_in import preview_file, take_file
from app.work.handover.going_out import formulas_out
from app.work.handover.tables import LAYOUT, TABLES, WRITERS, Tables, empty_tables, read_tables, write_json
from app.work.handover.undoing import list_imports, undo_import

KINDS = sorted(WRITERS)
cells = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12)


def out(store: Store) -> Tables:
    with store.reading() as session:
        return formulas_out(session)


def count(store: Store, kind: type) -> int:
    with store.reading() as session:
        return session.scalar(select(func.count()).select_from(kind)) or 0


@pytest.mark.parametrize("kind", KINDS)
def test_the_demonstration_goes_out_and_comes_into_an_empty_workshop_unchanged(
    demo: Store, store: Store, kind: str
) -> None:
    went = out(demo)
    assert {name: len(rows) > 0 for name, rows in went.items()} == dict.fromkeys(TABLES, True)
    take_file(store, WRITERS[kind](went), replace_drafts=False, with_versions=True)
    assert out(store) == went
    with store.reading() as session:
        assert len(live_products(session)) == 10
        assert all(line.material_id for line in open_draft(session, 1).draft.lines)


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_text_of_a_draft_survives_each_kind_of_file(kind: str, data: st.DataObject) -> None:
    tables = empty_tables()
    for name in ("formulas", "phases", "lines"):
        row = {column: data.draw(cells) for column in TABLES[name]}
        first = next(iter(row))
        tables[name].append(row | {first: "=X1"})
    assert read_tables(WRITERS[kind](tables)) == {**empty_tables(LAYOUT), **tables}


def test_what_is_here_just_so_is_left_alone_and_another_draft_goes_beside(demo: Store) -> None:
    went = out(demo)
    with demo.reading() as session:
        assert {one.state for one in preview_file(session, write_json(went)).formulas} == {"same"}
    went["lines"][1]["amount"] = "7.77"
    code = went["lines"][1]["formula"]
    take_file(demo, write_json(went), replace_drafts=False, file_name="other.json")
    rows = list_formulas(demo, "", "code", retired=False)
    assert [row.code for row in rows if row.code.startswith(code)] == [code, f"{code}2"]


def test_an_import_is_taken_back_as_a_whole(demo: Store, store: Store) -> None:
    before = out(store), count(store, FormulaRow), count(store, MaterialRow)
    taken = take_file(store, write_json(out(demo)), replace_drafts=False, who="Ines", file_name="a.json")
    assert count(store, FormulaRow) == 9
    undo_import(store, taken)
    assert (out(store), count(store, FormulaRow), count(store, MaterialRow)) == before
    with store.reading() as session:
        assert list_imports(session)[0][0].undone_at is not None


def test_drafts_put_over_others_are_taken_back_too_unless_somebody_worked_on_them(demo: Store) -> None:
    went = out(demo)
    kept = json.loads(json.dumps(went))
    went["lines"][1]["amount"] = "7.77"
    taken = take_file(demo, write_json(went), replace_drafts=True)
    assert out(demo)["lines"][1]["amount"] == "7.77"
    undo_import(demo, taken)
    assert out(demo) == kept
    again = take_file(demo, write_json(went), replace_drafts=True)
    with demo.reading() as session:
        formula_id = session.scalars(select(FormulaRow.id).where(FormulaRow.code == went["lines"][1]["formula"])).one()
        there = open_draft(session, formula_id)
    save_draft(demo, formula_id, replace(there.draft, notes="mine"), SaveOrigin(there.row_version, "me"))
    with pytest.raises(Conflict, match=f"{there.name}: it was changed"):
        undo_import(demo, again)
    with demo.reading() as session:
        assert open_draft(session, formula_id).draft.notes == "mine"


def test_one_form_takes_a_file_once(demo: Store, store: Store) -> None:
    data = write_json(out(demo))
    assert take_file(store, data, replace_drafts=False, key="k") == take_file(
        store, data, replace_drafts=False, key="k"
    )
    assert count(store, FormulaRow) == 9


def spoilt(change: Callable[[Tables], object]) -> bytes:
    tables = empty_tables()
    tables["formulas"].append({"code": "A", "name": "Cream"})
    tables["lines"].append({"formula": "A", "phase": "A", "material": "Water", "amount": "100"})
    change(tables)
    return write_json(tables)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"PK\x03\x04 no zip", "cannot be read"),
        (b"{", "JSON cannot be read"),
        (b'{"kind": "formulas", "kind": "formulas", "schema": 1}', "twice"),
        (b'{"kind": "recipes"}', "not a file of formulas"),
        (b'{"kind": "formulas", "schema": 2}', "later version"),
        (b'{"kind": "formulas", "schema": 1, "lines": {}}', "no list"),
        (b'{"kind": "formulas", "schema": 1, "lines": [{"amount": 5}]}', "has to be a text"),
        (b'{"kind": "formulas", "schema": 1}', "no formula"),
        (b"\xff\xfe\x00\x01\xff", "UTF-16|heading|table"),
        (b"table,code\r\nspices,A\r\n", "no table called spices"),
        (spoilt(lambda t: t["formulas"].append({"code": "A", "name": "Twin"})), "twice"),
        (spoilt(lambda t: t["formulas"].append({"code": "", "name": "None"})), "1 to 12"),
        (spoilt(lambda t: t["lines"].append({"formula": "B", "phase": "A"})), "not in the table formulas"),
        (spoilt(lambda t: t["products"].append({"formula": "A", "name": "X", "barcode": "123"})), "bar code"),
    ],
)
def test_a_file_that_cannot_be_taken_says_why_and_writes_nothing(store: Store, data: bytes, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        take_file(store, data, replace_drafts=False)
    assert (count(store, FormulaRow), count(store, MaterialRow)) == (0, 0)


def test_truncated_and_scrambled_files_never_half_write(demo: Store, store: Store) -> None:
    dice = random.Random(7)  # noqa: S311 - no secret
    for kind in KINDS:
        whole = WRITERS[kind](out(demo))
        for _ in range(6):
            broken = bytearray(whole[: dice.randrange(1, len(whole))])
            broken[dice.randrange(len(broken))] ^= 0x55
            try:
                taken = take_file(store, bytes(broken), replace_drafts=False)
            except Unreadable:
                continue
            undo_import(store, taken)
    assert count(store, FormulaRow) == 0


def test_a_material_that_nobody_knows_stays_as_typed_and_is_named(store: Store) -> None:
    lines = (DraftLine("a", "p", "Moon dust", None, "100"),)
    create(store, "Odd", content=Draft(phases=(DraftPhase("p"),), lines=lines))
    data = write_json(out(store))
    with store.reading() as session:
        assert preview_file(session, data).formulas[0].unknown == ("Moon dust",)
