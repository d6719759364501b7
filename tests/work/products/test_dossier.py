"""The dossier of a product: what it holds, and what it says is missing."""

import io
import zipfile
from datetime import date
from decimal import Decimal

import pytest
from sqlalchemy import select

from app.documents.dossier import dossier_archive
from app.documents.papers import PdfFile
from app.store.batches import Batch, BatchState
from app.store.engine import Store
from app.store.formulas import FormulaRow
from app.store.materials import MaterialRow
from app.store.products import Product
from app.store.quality import CaseFile, CaseKind
from app.store.workshop import Jurisdiction
from app.work.batches.planning import Plan, plan_batch
from app.work.clock import now
from app.work.formulas.draft import Draft
from app.work.formulas.editing import create
from app.work.formulas.faults import IncompleteFormula
from app.work.products.annex import headings
from app.work.products.dossier import Dossier, dossier
from app.work.products.product_form import ProductForm
from app.work.products.products import add_product
from app.work.stock.documents import DocumentForm, add_document, content_of


def of_code(store: Store, code: str) -> tuple[Dossier, int]:
    with store.reading() as session:
        wanted = select(Product.id).join(FormulaRow).where(FormulaRow.code == code).order_by(Product.id)
        product_id = session.scalars(wanted).first()
        assert product_id is not None
        return dossier(session, product_id), product_id


def missing(found: Dossier, number: int) -> str:
    return " ".join(headings(found)[number - 1].missing)


def test_the_substances_are_the_whole_product_with_their_registry_numbers(demo: Store) -> None:
    found, _ = of_code(demo, "HG")
    assert sum(row.total.percent for row in found.substances) == Decimal(100)
    # CAS Registry Numbers of common substances.
    known = {"Aqua": "7732-18-5", "Glycerin": "56-81-5", "Phenoxyethanol": "122-99-6", "Sodium Hydroxide": "1310-73-2"}
    assert {row.total.inci: row.cas for row in found.substances if row.total.inci in known} == known
    water = next(row for row in found.substances if row.total.inci == "Aqua")
    assert {one.material for one in water.total.contributions} >= {"Water, purified", "Sodium hydroxide 10 %"}
    assert sum(row.line.percent for row in found.materials) == Decimal(100)


def test_every_heading_of_part_a_is_there_and_an_assessor_is_always_needed(demo: Store) -> None:
    found, _ = of_code(demo, "HG")
    assert [one.number for one in headings(found)] == list(range(1, 11))
    assert "margin of safety" in missing(found, 8)
    assert "EC numbers" in missing(found, 1)


def test_the_last_ten_batches_stand_there_newest_first_and_planned_ones_do_not(demo: Store) -> None:
    with demo.reading() as session:
        formula_id = session.scalars(select(FormulaRow.id).where(FormulaRow.code == "HG")).one()
    made = [
        plan_batch(demo, Plan(formula_id, None, "500 g", made_by="Ines", planned_on="2026-11-25")) for _ in range(11)
    ]
    with demo.transaction() as session:
        for batch_id in made[:-1]:
            session.get_one(Batch, batch_id).state = BatchState.QUARANTINE
    found, _ = of_code(demo, "HG")
    assert [row.batch.id for row in found.batches] == made[-2::-1]
    assert [one.check.what for one in found.batches[0].results] == ["pH"]
    assert "readings of pH" in missing(found, 2)


def test_a_linked_document_is_missing_no_more(demo: Store) -> None:
    found, product_id = of_code(demo, "HG")
    with demo.reading() as session:
        carbomer = session.scalars(select(MaterialRow.id).where(MaterialRow.name == "Carbomer")).one()
    assert "Safety data sheets: Water, purified, Carbomer" in missing(found, 4)
    assert "No test report" in missing(found, 3)
    sheet = DocumentForm(kind="safety data sheet", by="Ines", dated_on="2026-01-02")
    add_document(demo, sheet, "carbomer.pdf", b"sheet", {"material_id": carbomer})
    add_document(demo, DocumentForm(kind="test report", by="Ines"), "test.pdf", b"report", {"product_id": product_id})
    found, _ = of_code(demo, "HG")
    assert "Carbomer" not in missing(found, 4)
    assert "No test report" not in missing(found, 2) + missing(found, 3)
    assert {one.about for one in found.documents} == {("Carbomer",), (found.product.name,)}


def test_the_archive_holds_every_document_and_names_one_that_is_gone(demo: Store) -> None:
    _, product_id = of_code(demo, "HG")
    for name, data in (("../Prüfbericht.pdf", b"report"), ("lost.pdf", b"lost")):
        add_document(demo, DocumentForm(kind="test report", by="Ines"), name, data, {"product_id": product_id})
    found, _ = of_code(demo, "HG")
    lost = next(one.document for one in found.documents if one.document.name == "lost.pdf")
    assert demo.files is not None
    (demo.files / lost.sha256[:2] / lost.sha256).unlink()
    packed = dossier_archive(found, PdfFile("dossier.pdf", b"%PDF"), lambda document: content_of(demo, document))
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        names = archive.namelist()
        inside = [name for name in names if name.startswith("documents/")]
        assert [archive.read(name) for name in inside] == [b"report"]
        assert not any(".." in name or name.startswith("/") for name in names)
        contents = archive.read("contents.csv").decode("utf-8")
        composition = archive.read("composition.csv").decode("utf-8")
    assert "is missing; restore it from a backup" in contents
    assert "Glycerin,4,56-81-5" in composition


def test_an_oil_without_an_allergen_sheet_is_named_at_toxicology(demo: Store) -> None:
    found, _ = of_code(demo, "HC")
    assert any("Lavandula" in name for names in found.unsheeted.values() for name in names)
    assert "Allergen sheets" in missing(found, 8)


def test_a_formula_that_does_not_add_up_has_no_dossier(store: Store) -> None:
    formula_id = create(store, "Empty", content=Draft())
    product_id = add_product(store, formula_id, ProductForm(name="Empty 50 ml"))
    with store.reading() as session, pytest.raises(IncompleteFormula):
        dossier(session, product_id)


def test_complaints_stand_against_the_units_and_an_open_case_is_missing_its_end(demo: Store) -> None:
    _, product_id = of_code(demo, "HG")
    with demo.transaction() as session:
        more = {"product_id": product_id, "market": Jurisdiction.EU, "opened_at": now(), "opened_by": "Ines"}
        session.add(CaseFile(number="C-1", known_on=date(2026, 11, 1), what="A lid that leaks.", **more))
        effect = {"kind": CaseKind.EFFECT, "is_serious": True, "closed_at": now(), "closed_by": "Ines"}
        session.add(
            CaseFile(number="C-2", known_on=date(2026, 11, 2), what="Redness.", conclusion="Gone.", **effect, **more)
        )
    found, _ = of_code(demo, "HG")
    assert [one.number for one in found.complaints.cases] == ["C-2", "C-1"]
    rate = found.complaints.rate
    assert rate is not None
    assert (rate.complaints, rate.effects, rate.serious) == (1, 1, 1)
    assert missing(found, 9) == "The end of C-1: still open."
