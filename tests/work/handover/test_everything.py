"""Everything of a workshop in one archive: documented, the same in every form, nothing missing."""

import csv
import io
import json
import zipfile
from collections import defaultdict
from decimal import Decimal

import pytest
from openpyxl import load_workbook
from sqlalchemy import func, select

from app.store.batches import Batch, BatchWeighing
from app.store.distribution import Dispatch
from app.store.engine import Store
from app.store.formulas import FormulaRow, FormulaVersion
from app.store.materials import MaterialRow, PriceRow
from app.store.packing import PackingRun
from app.store.products import Product
from app.store.stock import Lot, StockMove
from app.work.handover.coming_in import preview_file, take_file
from app.work.handover.everything import everything_out
from app.work.handover.for_reading import FOR_READING
from app.work.handover.going_out import formulas_out
from app.work.handover.tables import DESCRIBED, write_json
from app.work.handover.undoing import undo_import
from app.work.stock.orders import OrderForm, OrderLineForm, place_order


def archive(store: Store) -> zipfile.ZipFile:
    with store.reading() as session:
        return zipfile.ZipFile(io.BytesIO(everything_out(session)))


def test_every_form_of_a_table_holds_the_same_and_every_column_is_explained(demo: Store) -> None:
    with archive(demo) as packed:
        whole = json.loads(packed.read("everything.json"))
        book = load_workbook(io.BytesIO(packed.read("everything.xlsx")), read_only=True)
        explained = packed.read("README.txt").decode("utf-8")
        sheets = {sheet.title: list(sheet.iter_rows(values_only=True)) for sheet in book.worksheets}
        book.close()
        for name, (_, columns) in DESCRIBED.items():
            text = packed.read(f"csv/{name}.csv").decode("utf-8-sig")
            heading, *rows = csv.reader(io.StringIO(text, newline=""))
            assert heading == list(columns)
            assert f"\n{name}\n" in explained
            assert all(f"    {column}: {words}" in explained for column, words in columns.items())
            plain = [[cell.removeprefix("'") for cell in row] for row in rows]
            listed = [[row.get(column, "").removeprefix("'") for column in heading] for row in whole[name]]
            assert plain == listed
            assert len(sheets[name]) == len(rows) + 1


def test_every_record_is_in_it_and_the_ledger_adds_up(demo: Store) -> None:
    with archive(demo) as packed:
        whole = json.loads(packed.read("everything.json"))
    kinds = {
        "formulas": FormulaRow, "versions": FormulaVersion, "products": Product, "lots": Lot,
        "stock_moves": StockMove, "batches": Batch, "weighings": BatchWeighing,
    }  # fmt: skip
    with demo.reading() as session:
        counts = {name: session.scalar(select(func.count()).select_from(kind)) for name, kind in kinds.items()}
        materials = set(session.scalars(select(MaterialRow.name)))
        counts["prices"] = session.scalar(select(func.count(PriceRow.material_id)))
        counts["packaging_prices"] = session.scalar(select(func.count(PriceRow.packaging_id)))
    assert {name: len(whole[name]) for name in counts} == counts
    assert {row["name"] for row in whole["materials"]} == materials
    moved: dict[str, Decimal] = defaultdict(Decimal)
    for row in whole["stock_moves"]:
        moved[row["lot"]] += Decimal(row["amount"])
    assert {row["code"]: Decimal(row["on_hand"]) for row in whole["lots"]} == dict(moved)


def test_what_goes_out_with_everything_comes_in_again_with_versions_and_what_was_retired(
    demo: Store, store: Store
) -> None:
    with demo.transaction() as session:
        session.get_one(FormulaRow, 3).retired_at = session.get_one(FormulaRow, 2).created_at
        session.get_one(Product, 1).retired_at = session.get_one(FormulaRow, 2).created_at
    with archive(demo) as packed:
        data = packed.read("everything.json")
    taken = take_file(store, data, replace_drafts=False, with_versions=True)
    with demo.reading() as there, store.reading() as here:
        assert formulas_out(here, every=True) == formulas_out(there, every=True)
        lines = select(FormulaVersion).where(FormulaVersion.number == 1)
        assert all(line.material_id for version in here.scalars(lines) for line in version.lines)
    undo_import(store, taken)
    with store.reading() as session:
        for kind in (FormulaRow, FormulaVersion, Product, MaterialRow):
            assert session.scalar(select(func.count(kind.id))) == 0


def test_a_version_whose_material_is_nowhere_is_left_out_and_said(demo: Store, store: Store) -> None:
    with demo.reading() as session:
        went = formulas_out(session)
    went["materials"] = [row for row in went["materials"] if row["name"] != "Shea butter"]
    data = write_json(went)
    with store.reading() as session:
        shown = {one.code: one for one in preview_file(session, data).formulas}
    assert shown["HC"].left_out == (1,)
    assert shown["HG"].left_out == ()
    take_file(store, data, replace_drafts=False, with_versions=True)
    with store.reading() as session:
        assert session.scalar(select(func.count(FormulaVersion.id))) == sum(len(one.versions) for one in shown.values())


def test_materials_come_in_without_a_formula(demo: Store, store: Store) -> None:
    with demo.reading() as session:
        went = formulas_out(session, every=True)
    only = {name: went[name] if name in ("materials", "prices") else [] for name in went}
    take_file(store, write_json(only), replace_drafts=False)
    with demo.reading() as there, store.reading() as here:
        for column in (MaterialRow.id, PriceRow.material_id):
            counted = select(func.count(column))
            assert here.scalar(counted) == there.scalar(counted)


@pytest.mark.sqlite  # the demonstration lays documents only beside a file
def test_what_is_for_reading_says_the_same_as_what_is_stored_and_names_no_receiver(demo: Store) -> None:
    lines = (OrderLineForm("Shea butter", "5 kg", "61.25"), OrderLineForm("Folding box", "96", ""))
    place_order(demo, OrderForm(supplier="Orrin & Daughters", made_by="Ines", ordered_on="2026-11-02", lines=lines))
    with archive(demo) as packed:
        texts = {name: packed.read(f"csv/{name}.csv").decode("utf-8-sig") for name in FOR_READING}
        explained = packed.read("README.txt").decode("utf-8")
    read = {name: list(csv.DictReader(io.StringIO(text, newline=""))) for name, text in texts.items()}
    assert all(read.values())
    for name, sheet in FOR_READING.items():
        assert set(read[name][0]) == set(sheet.columns)
        assert all(f"    {key}: {column.words}" in explained for key, column in sheet.columns.items())
    assert [(row["item"], row["amount"], row["price"], row["lot"]) for row in read["order_lines"]] == [
        ("Shea butter", "5000", "61.25", ""), ("Folding box", "96", "", ""),
    ]  # fmt: skip
    with demo.reading() as session:
        runs = {run.number: run for run in session.scalars(select(PackingRun))}
        assert {row["number"]: int(row["units_filled"]) for row in read["packing_runs"]} == {
            number: run.units_filled for number, run in runs.items()
        }
        weights = [Decimal(row["grams"]) for row in read["fill_weights"] if row["run"] == "HC-2026-001-P1"]
        assert weights == [one.grams for one in runs["HC-2026-001-P1"].weights]
        sent = session.scalars(select(Dispatch).order_by(Dispatch.id)).all()
        assert [(row["batch"], int(row["units"]), row["sent_on"]) for row in read["dispatches"]] == [
            (one.batch.number, one.units, one.sent_on.isoformat()) for one in sent
        ]
        names = [one.receiver.name for one in sent if one.receiver]
        for run in runs.values():
            used = {row["lot"]: Decimal(row["used"]) for row in read["packaging_used"] if row["run"] == run.number}
            assert used == {one.lot.code: one.used for one in run.lots}
    assert names
    assert not any(name in text for name in names for text in texts.values())
    assert "barcode" in next(row for row in read["labels"] if row["label"] == "Wrap")["shows"]
