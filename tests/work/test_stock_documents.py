"""Which papers of materials and lots are wanted, and how a file is kept by its content and given back."""

from datetime import timedelta

import pytest

from app.store.engine import Store
from app.store.errors import NotFound, Unusable
from app.store.stock import DocumentKind
from app.work.clock import today
from app.work.form import Faults
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.stock.documents import (
    MOST_BYTES,
    DocumentForm,
    WhyWanted,
    add_document,
    content_of,
    documents_about,
    download_name,
    get_document,
    keep_file,
    name_of,
    path_of,
    retire_document,
    wanted_documents,
)
from app.work.stock.lots import CountForm, ReceiveForm, count_by_hand, receive

SHEET, CERTIFICATE, ALLERGENS = DocumentKind.DATA_SHEET, DocumentKind.CERTIFICATE, DocumentKind.ALLERGENS


def keep(store: Store, kind: DocumentKind, about: dict[str, int], *, file: str = "a.pdf", **texts: str) -> int:
    return add_document(store, DocumentForm(**{"kind": kind.value, "by": "Ines", **texts}), file, b"%PDF-1", about)


def wanted(store: Store) -> list[tuple[str, str, str]]:
    with store.reading() as session:
        return [(why.value, one.about, one.path) for why in WhyWanted for one in wanted_documents(session, why)]


def bought(store: Store, material_id: int, supplier: str = "Quay Oils") -> int:
    form = ReceiveForm(amount="1 kg", by="I", supplier=supplier, received_on="2026-11-02")
    return receive(store, form, material_id=material_id)


def test_a_sheet_is_wanted_of_what_is_on_hand_until_there_is_one_of_three_years_at_most(store: Store) -> None:
    oil = add_material(store, MaterialForm("Oil", parts=(PartForm("Helianthus Annuus Seed Oil"),)))
    add_material(store, MaterialForm("Not here", parts=(PartForm("Glycerin"),)))
    assert wanted(store) == []
    lot = bought(store, oil)
    missing = ("safety data sheet", "Oil", f"/stock/documents/about/material/{oil}")
    certificate = ("certificate of analysis", "Oil, lot 26-306-1", f"/stock/documents/about/lot/{lot}")
    assert wanted(store) == [missing, certificate]
    keep(store, CERTIFICATE, {"lot_id": lot})
    assert wanted(store) == [missing]
    keep(store, CERTIFICATE, {"material_id": oil})
    assert wanted(store) == [missing]
    old = keep(store, SHEET, {"material_id": oil}, dated_on=(today() - timedelta(3 * 366)).isoformat())
    assert wanted(store) == [
        ("safety data sheet older than three years", "Oil", f"/stock/documents/about/material/{oil}")
    ]
    keep(store, SHEET, {"material_id": oil}, dated_on=(today() - timedelta(3 * 365 - 2)).isoformat())
    assert wanted(store) == []
    retire_document(store, old)
    assert wanted(store) == []
    own = bought(store, oil, supplier="")
    assert wanted(store) == []
    for one in (lot, own):
        count_by_hand(store, one, CountForm(amount="0", by="I"))
    assert wanted(store) == []


def test_a_paper_past_its_day_is_wanted_anew_until_it_is_put_away(store: Store) -> None:
    oil = add_material(store, MaterialForm("Oil", parts=(PartForm("Glycerin"),)))
    dates = {"dated_on": "2020-01-01", "valid_until": today().isoformat()}
    keep(store, CERTIFICATE, {"material_id": oil}, **dates)
    assert wanted(store) == []
    yesterday = (today() - timedelta(1)).isoformat()
    past = keep(store, CERTIFICATE, {"material_id": oil}, **{**dates, "valid_until": yesterday})
    assert wanted(store) == [("no longer valid", "a.pdf", f"/stock/documents/about/material/{oil}")]
    retire_document(store, past)
    assert wanted(store) == []
    retire_document(store, past, back=True)
    assert len(wanted(store)) == 1


def test_perfumes_and_essential_oils_want_an_allergen_sheet(store: Store) -> None:
    scents = {
        "Scent": PartForm("Parfum", kind="perfume"),
        "Lavender": PartForm("Lavandula Angustifolia Oil"),
        "Glycerin": PartForm("Glycerin"),
    }
    ids = {name: add_material(store, MaterialForm(name, parts=(part,))) for name, part in scents.items()}
    assert [about for what, about, _ in wanted(store) if what == "allergen sheet"] == ["Lavender", "Scent"]
    keep(store, SHEET, {"material_id": ids["Scent"]})
    keep(store, ALLERGENS, {"material_id": ids["Lavender"]})
    assert [about for what, about, _ in wanted(store)] == ["Scent"]


def test_a_file_is_kept_once_under_its_hash_and_proved_when_it_is_given_back(store: Store) -> None:
    oil = add_material(store, MaterialForm("Oil", parts=(PartForm("Glycerin"),)))
    first = keep(store, CERTIFICATE, {"material_id": oil}, file="C:\\scans\\sheet.PDF", note="page 1")
    second = keep(store, CERTIFICATE, {"material_id": oil}, file="../x")
    with store.reading() as session:
        one, two = get_document(session, first), get_document(session, second)
        assert (one.name, one.media_type, one.size) == ("sheet.PDF", "application/pdf", 6)
        assert (one.note, one.added_by) == ("page 1", "Ines")
        assert (two.name, two.media_type, two.sha256) == ("x", "application/octet-stream", one.sha256)
        assert [document.id for document in documents_about(session, material_id=oil)] == [second, first]
        assert (name_of(session, "material", oil), download_name(one), download_name(two)) == ("Oil", "sheet.PDF", "x")
        with pytest.raises(NotFound):
            name_of(session, "lot", 9)
        with pytest.raises(NotFound):
            get_document(session, 9)
    assert content_of(store, one) == b"%PDF-1"
    assert store.files
    file = path_of(store.files, one.sha256)
    assert [path for path in store.files.rglob("*") if path.is_file()] == [file]
    file.write_bytes(b"other")
    with pytest.raises(Unusable, match="damaged"):
        content_of(store, one)
    assert keep_file(store.files, b"%PDF-1") == one.sha256
    assert content_of(store, one) == b"%PDF-1"
    file.unlink()
    with pytest.raises(Unusable, match="missing"):
        content_of(store, one)


@pytest.mark.parametrize(
    ("file", "title", "saved"),
    [
        ("a.pdf", "Certificate", "Certificate.pdf"),
        ("a.XLSX", "Figures", "Figures.xlsx"),
        ("a.docx", "Letter", "Letter.docx"),
        ("a.pdf", "Certificate.pdf", "Certificate.pdf"),
        ("a.jpg", "", "a.jpg"),
        ("scan.heic", "", "scan.heic"),
        ("noending", "Letter", "Letter"),
    ],
)
def test_a_file_is_saved_with_the_ending_of_what_it_is(store: Store, file: str, title: str, saved: str) -> None:
    oil = add_material(store, MaterialForm("Oil", parts=(PartForm("Glycerin"),)))
    kept = keep(store, CERTIFICATE, {"material_id": oil}, file=file, name=title)
    with store.reading() as session:
        assert download_name(get_document(session, kept)) == saved


@pytest.mark.parametrize(
    ("data", "texts", "field"),
    [
        (b"", {}, "file"),
        (b"x" * (MOST_BYTES + 1), {}, "file"),
        (b"x", {"by": ""}, "by"),
        (b"x", {"dated_on": "2026-01-02", "valid_until": "2026-01-01"}, "valid_until"),
    ],
)
def test_a_paper_that_cannot_be_kept_says_so_at_its_field(store: Store, data: bytes, texts: dict, field: str) -> None:
    oil = add_material(store, MaterialForm("Oil", parts=(PartForm("Glycerin"),)))
    form = DocumentForm(**{"kind": CERTIFICATE.value, "by": "Ines", **texts})
    with pytest.raises(Faults) as wrong:
        add_document(store, form, "a.pdf", data, {"material_id": oil})
    assert list(wrong.value.by_field) == [field]
    for about in ({}, {"material_id": oil, "lot_id": 1}, {"recipe_id": 1}):
        with pytest.raises(NotFound):
            add_document(store, DocumentForm(kind=CERTIFICATE.value, by="Ines"), "a.pdf", b"x", about)
