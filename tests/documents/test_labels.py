"""Labels on paper: measured by pdfplumber, codes read back by zxing-cpp from the rendered page."""

import io
import math
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pdfplumber
import pytest
import zxingcpp
from PIL import Image
from sqlalchemy import select

from app.documents.codes import bar_code, qr_code
from app.documents.label_papers import bench_drawing, bench_paper, calibration_paper, label_paper
from app.documents.labels import all_obstacles, drawings_of
from app.documents.papers import PageSetup
from app.documents.render import PaperFault
from app.documents.type_metrics import cap_height, text_width, x_height
from app.science.jurisdiction import Jurisdiction
from app.science.net_content import Panel, PanelShape, net_content
from app.science.quantities import parse_quantity
from app.store.batches import Batch, BatchState
from app.store.labels import LabelDesign, PanelKind, designs_of
from app.store.stock import Lot, LotState
from app.store.workshop import the_workshop
from app.work.batches.planning import Plan, plan_batch
from app.work.clock import now, today
from app.work.form import Faults
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import SaveOrigin, create, open_draft, save_draft
from app.work.labels.bench_labels import BenchLabel, bench_label_of_batch, bench_label_of_lot
from app.work.labels.content import label_set
from app.work.labels.design import DesignForm, add_design
from app.work.labels.label_sheets import SHEETS, add_common_sheet
from app.work.labels.round_jar import RoundJarForm, add_round_jar
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.products.product_form import ProductForm
from app.work.products.products import add_product

MM = 72 / 25.4
SHEET = "A4, 24 labels of 70 x 37 mm"
TALL = "A4, 8 labels of 99.1 x 67.7 mm"


def product(store, law="EU", sheet=TALL, more=None, **changes):
    """Put a hand cream with one label on the shelf and return the id of the product; ``more`` is a part of its own."""
    for name in ("Aqua", "Glycerin", "Phenoxyethanol"):
        add_material(store, MaterialForm(name=name, parts=(PartForm(inci=name, percent="100"),)))
    lines = (
        DraftLine("w", "a", "Aqua", qs=True),
        DraftLine("g", "a", "Glycerin", None, "5"),
        DraftLine("p", "a", "Phenoxyethanol", None, "0.9"),
    )
    if more:
        add_material(store, MaterialForm(name="More", parts=(PartForm(percent="100", **more),)))
        lines = (*lines, DraftLine("m", "a", "More", None, "0.2"))
    draft = Draft(phases=(DraftPhase("a", "Water"),), lines=lines, product_type="hand cream", exposure="leave-on")
    formula = create(store, "Hand cream", content=draft)
    values = {
        "name": "Oat hand cream", "jurisdiction": law, "fill": "50 g", "currency": "EUR", "price": "12.50",
        "open_months": "12", "responsible_person": "Muster Workshop\nHauptweg 1\n12345 Musterort",
        "barcode": "4006381333931", "origin": "Germany",
    }  # fmt: skip
    made = add_product(store, formula, ProductForm(**(values | changes)))
    add_common_sheet(store, sheet)
    with store.reading() as session:
        sheet_id = next(one.id for one in SHEETS.rows(session) if one.name == sheet)
    words = {"directions": "Massage in.", "qr_text": "https://example.org/oat"}
    form = DesignForm(sheet=str(sheet_id), qr="yes", origin="yes", **words)
    add_design(store, made, form)
    return made


def read(store, product_id, batch_id=None):
    with store.reading() as session:
        found = label_set(session, product_id, batch_id)
        drawings = drawings_of(found)
        return found, drawings, PageSetup(the_workshop(session), today())


@pytest.fixture(scope="module")
def _pdf_tools():
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not on this machine")


@pytest.mark.paper
def test_labels_lie_within_a_fifth_of_a_millimetre_and_the_type_is_as_high_as_asked(store):
    found, drawings, setting = read(store, product(store))
    design = found.designs[0]
    drawing = drawings[design.id]
    paper = label_paper(found, design, drawing, (8, 1, True), setting)
    with pdfplumber.open(io.BytesIO(paper.content)) as pdf:
        assert len(pdf.pages) == 1
        page = pdf.pages[0]
        assert (page.width / MM, page.height / MM) == (pytest.approx(210, abs=0.1), pytest.approx(297, abs=0.1))
        words = [w for w in page.extract_words(x_tolerance=1) if w["text"] == "Oat"]
        first = next(line for line in drawing.laid.lines if line.kind == "identity")
        grid_x, grid_y = (4.65, 4.65 + 101.6), [13.1 + row * 67.7 for row in range(4)]
        lefts = sorted({round(w["x0"] / MM - first.x_mm, 2) for w in words})
        assert len(words) == 8
        assert lefts == [pytest.approx(grid_x[0], abs=0.02), pytest.approx(grid_x[1], abs=0.02)]
        firsts = sorted({round(w["x0"], 3) for w in words})
        assert (firsts[1] - firsts[0]) / MM == pytest.approx(101.6, abs=0.05)
        baselines = sorted({round(float(page.height - c["matrix"][5]) / MM, 2) for c in page.chars if c["text"] == "O"})
        assert baselines == [pytest.approx(top + first.baseline_mm, abs=0.02) for top in grid_y]
        tops = sorted({round(w["top"], 2) for w in words})
        assert [(b - a) / MM for a, b in pairwise(tops)] == pytest.approx([67.7] * 3, abs=0.05)
        assert grid_y[0] < tops[0] / MM < grid_y[0] + 10
        sizes = [c["size"] / MM for c in page.chars if c["text"].isalpha() and "not for sale" not in c["text"]]
        assert min(sizes) * x_height() >= 0.9 - 1e-3


@pytest.mark.paper
def test_the_net_content_is_as_high_as_the_directive_asks(store):
    found, drawings, _ = read(store, product(store))
    laid = drawings[found.designs[0].id].laid
    assert laid.size_of("content") * cap_height() >= 2.0 - 1e-6
    assert any(line.kind == "content" and line.text == "50\u00a0g" for line in laid.lines)


def test_a_us_label_has_both_systems_in_its_lowest_third_and_sixteenths_of_an_inch(store):
    found, drawings, _ = read(store, product(store, law="US", barcode="036000291452"))
    drawing = drawings[found.designs[0].id]
    content = [line for line in drawing.laid.lines if line.kind == "content"]
    assert " ".join(line.text for line in content).replace("\u00a0", " ") == "Net Wt 1.76 oz (50 g)"
    assert content[0].size_mm * x_height() >= 25.4 / 8 - 1e-6  # 10.4 square inches of panel
    assert content[0].baseline_mm - content[0].size_mm >= 0.7 * 67.7
    small = min(line.size_mm for line in drawing.laid.lines)
    assert small * x_height() >= 25.4 / 32 - 1e-6


@pytest.mark.paper
@pytest.mark.usefixtures("_pdf_tools")
def test_codes_are_read_back_from_the_printed_sheet(store, tmp_path: Path):
    found, drawings, setting = read(store, product(store))
    design = found.designs[0]
    paper = label_paper(found, design, drawings[design.id], (1, 1, True), setting)
    (tmp_path / "label.pdf").write_bytes(paper.content)
    subprocess.run(["pdftoppm", "-r", "300", "-png", "label.pdf", "page"], cwd=tmp_path, check=True)
    picture = Image.open(next(tmp_path.glob("page*.png")))
    read_back = {code.text for code in zxingcpp.read_barcodes(picture)}
    assert {"4006381333931", "https://example.org/oat"} <= read_back


def test_a_bar_code_has_the_size_of_the_standard():
    """GS1 General Specifications: 37.29 mm with quiet zones at 100 %, 29.83 mm at the least 80 %."""
    assert bar_code("4006381333931", 1.0).width_mm == pytest.approx(37.29)
    assert bar_code("036000291452").width_mm == pytest.approx(29.83, abs=0.01)
    assert qr_code("x").width_mm == pytest.approx((21 + 8) * 0.35)


@pytest.mark.paper
def test_a_proof_always_says_that_it_is_not_for_sale(store):
    found, drawings, setting = read(store, product(store))
    design = found.designs[0]
    with pdfplumber.open(
        io.BytesIO(label_paper(found, design, drawings[design.id], (2, 8, True), setting).content)
    ) as pdf:
        assert len(pdf.pages) == 2
        assert all("not for sale" in page.extract_text() for page in pdf.pages)


def obstacles(store, **changes):
    found, drawings, _ = read(store, product(store, **changes))
    return " ".join(one.words for one in all_obstacles(found, list(drawings.values())))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"responsible_person": "Muster Workshop"}, "no address"),
        ({"open_months": "", "shelf_months": ""}, "Missing: a date or a period after opening"),
        ({"fill": ""}, "Missing: the net content"),
        ({"law": "US", "front_words": "Cures eczema"}, "make it a drug"),
        ({"sheet": "Roll, 62 x 29 mm"}, "mm of height are missing"),
        ({"barcode": "04006381333931"}, "14 digits"),
        ({}, "No batch is chosen"),
        ({"more": {"inci": "Hydroquinone"}}, "A stop stands unanswered"),
        ({"more": {"inci": "Lavandula Angustifolia Oil"}}, "no allergen sheet for this essential oil"),
        ({"more": {"inci": "Parfum", "kind": "perfume"}}, "no allergen sheet for this perfume"),
        (
            {"more": {"inci": "Parfum", "kind": "perfume", "allergens": '"Coumarine" 2'}},
            "An allergen name is unknown",
        ),
    ],
)
def test_what_keeps_a_label_from_sale_is_named(store, changes, words):
    assert words in obstacles(store, **changes)


def test_a_whole_label_lacks_nothing_but_its_batch(store):
    found, drawings, _ = read(store, product(store))
    assert [one.words for one in all_obstacles(found, list(drawings.values()))] == [
        "No batch is chosen: without its number and date a label is a proof."
    ]


def test_the_width_of_a_text_is_that_of_its_letters():
    assert text_width("ii") == pytest.approx(2 * text_width("i"))
    assert text_width("W", True) > text_width("i", True)


@pytest.mark.paper
def test_the_calibration_page_has_a_cross_in_the_middle_of_each_corner_label(store):
    product(store, sheet=SHEET)
    with store.reading() as session:
        sheet, setting = SHEETS.rows(session)[0], PageSetup(the_workshop(session), today())
        paper = calibration_paper(sheet, setting)
    with pdfplumber.open(io.BytesIO(paper.content)) as pdf:
        page = pdf.pages[0]
        drawn = [*page.lines, *page.curves, *page.rects]
        flat = [one for one in drawn if abs(one["height"]) < 0.01 and one["width"] / MM == pytest.approx(8, abs=0.05)]
        middles = {(round((o["x0"] + o["x1"]) / 2 / MM, 1), round(o["top"] / MM, 1)) for o in flat}
    assert middles == {(35.0, 19.0), (175.0, 19.0), (35.0, 278.0), (175.0, 278.0)}


@pytest.mark.paper
@pytest.mark.usefixtures("_pdf_tools")
def test_a_small_label_of_the_bench_opens_its_batch(store, tmp_path: Path):
    with store.reading() as session:
        setting = PageSetup(the_workshop(session), today())
    label = BenchLabel("Hand cream", "HC-2026-001", "quarantine", ("made 2026-11-25", "500 g"))
    address = "http://127.0.0.1:8520/scan?code=HC-2026-001"
    (tmp_path / "label.pdf").write_bytes(bench_paper(label, address, setting).content)
    subprocess.run(["pdftoppm", "-r", "300", "-png", "label.pdf", "page"], cwd=tmp_path, check=True)
    picture = Image.open(next(tmp_path.glob("page*.png")))
    assert [code.text for code in zxingcpp.read_barcodes(picture)] == [address]
    with pdfplumber.open(tmp_path / "label.pdf") as pdf:
        assert "QUARANTINE" in pdf.pages[0].extract_text()


def released(store, product_id, started=None):
    """Make a batch of the formula of a product and release it, and return its id."""
    with store.reading() as session:
        formula_id = label_set(session, product_id).product.formula_id
    number = plan_batch(store, Plan(formula_id, None, "1000 g", made_by="Ines", planned_on="2026-11-25"))
    with store.transaction() as session:
        batch = session.get(Batch, number)
        batch.started_at = started
        batch.state, batch.decided_at, batch.decided_by = BatchState.RELEASED, now(), "Ines"
    return number


@pytest.mark.paper
def test_a_label_of_a_released_batch_prints_for_sale_with_its_number_and_no_such_words(store):
    made = product(store)
    found, drawings, setting = read(store, made, released(store, made))
    assert all_obstacles(found, list(drawings.values())) == ()
    design = found.designs[0]
    paper = label_paper(found, design, drawings[design.id], (2, 1, False), setting)
    with pdfplumber.open(io.BytesIO(paper.content)) as pdf:
        text = " ".join(pdf.pages[0].extract_text(x_tolerance=1).split())
    assert "not for sale" not in text
    assert text.count(f"Batch {found.batch.number}") == 2


def test_the_printed_month_never_promises_more_than_the_months_of_the_product(store):
    """Made on 25 November 2026 with 18 months: 25 May 2028, so the end of April."""
    made = product(store, shelf_months="18", open_months="")
    found, drawings, _ = read(store, made, released(store, made))
    text = " ".join(line.text for line in drawings[found.designs[0].id].laid.lines)
    assert "Best used before the end of 04/2028" in text


def test_a_label_of_a_batch_says_when_and_of_what_it_was_made_whatever_became_of_the_formula(store):
    """Begun on 24 October with 18 months: 24 April 2028, so the end of March; planned for the month after."""
    made = product(store, shelf_months="18", open_months="")
    batch_id = released(store, made, datetime(2026, 10, 24, 12, tzinfo=UTC))
    with store.reading() as session:
        current = open_draft(session, label_set(session, made).product.formula_id)
    line = next(one for one in current.draft.lines if one.typed == "Glycerin")
    changed = current.draft.with_line(replace(line, amount="0.5"))
    save_draft(store, current.formula_id, changed, SaveOrigin(current.row_version, "test"))
    with store.reading() as session:
        (of_batch,), (proof,) = (label_set(session, made, one).words.values() for one in (batch_id, None))
    assert of_batch.ingredients == "Ingredients: Aqua, Glycerin, Phenoxyethanol"
    assert proof.ingredients == "Ingredients: Aqua, Phenoxyethanol, Glycerin"
    assert (of_batch.keeping, of_batch.batch) == ("Best used before the end of 03/2028", "Batch HC-2026-1")
    assert (of_batch.price, of_batch.content, of_batch.barcode) == ("€12.50", "50 g", "4006381333931")


def jar(store, product_id, **changes):
    """Label a jar of 60 mm, 40 mm high, in place of the one label, and return the product read anew."""
    with store.transaction() as session:
        for design in designs_of(session, product_id):
            session.delete(design)
    typed = {"diameter": "60 mm", "height": "40 mm", "overlap": "4 mm", "base": "50 mm", "paper": "A4"}
    add_round_jar(store, product_id, RoundJarForm(**(typed | changes)))
    return read(store, product_id)


@pytest.mark.paper
def test_a_wrap_is_as_long_as_the_way_round_and_prints_nothing_on_its_overlap(store):
    found, drawings, setting = jar(store, product(store))
    wrap, base = found.designs
    assert float(wrap.sheet.label_width_mm) == pytest.approx(math.pi * 60 + 4, abs=0.05)
    assert (base.sheet.is_round, float(base.sheet.label_width_mm)) == (True, 50)
    paper = label_paper(found, wrap, drawings[wrap.id], (1, 1, False), setting)
    left, top = float(wrap.sheet.left_mm), float(wrap.sheet.top_mm)
    with pdfplumber.open(io.BytesIO(paper.content)) as pdf:
        page = pdf.pages[0]
        right = max(float(char["x1"]) for char in page.chars) / MM - left
        words = {word["text"]: word["x0"] / MM - left for word in page.extract_words(x_tolerance=1)}
        bars = [float(one["x1"]) / MM - left for one in (*page.rects, *page.curves)]
        assert max(float(char["bottom"]) for char in page.chars) / MM - top <= 40
    assert right <= math.pi * 60
    assert max(bars) <= math.pi * 60
    front = 0.4 * math.pi * 60
    assert words["Oat"] < front
    assert words["Ingredients:"] > front


def test_the_panel_of_a_wrap_is_two_fifths_of_the_way_round(store):
    """21 CFR 701.10(b): 0.4 x pi x 60 x 40 mm is 4.67 square inches, so 1/16 in; the flat label would need 1/8 in."""
    found, drawings, _ = jar(store, product(store, law="US", barcode="036000291452"))
    heights = drawings[found.designs[0].id].heights
    assert heights.content_mm == pytest.approx(25.4 / 16)
    flat = Panel(PanelShape.RECTANGLE, Decimal("192.5"), Decimal(40))
    assert float(net_content(parse_quantity("50 g", "fill"), flat, Jurisdiction.US).min_type_mm) == pytest.approx(
        25.4 / 8
    )


def test_the_labels_of_a_jar_say_together_what_one_label_says(store):
    found, drawings, _ = jar(store, product(store))
    assert [one.words for one in all_obstacles(found, list(drawings.values()))] == [
        "No batch is chosen: without its number and date a label is a proof."
    ]
    said = [{line.kind for line in drawings[one.id].laid.lines} for one in found.designs]
    assert "batch" in said[1] - said[0]


def test_the_net_content_of_a_us_pack_stands_on_its_front(store):
    found, drawings, _ = read(store, product(store, law="US", barcode=""))
    with store.transaction() as session:
        session.get(LabelDesign, found.designs[0].id).panel = PanelKind.BACK
    found, drawings, _ = read(store, found.product.id)
    assert "has to stand on the front" in " ".join(one.words for one in drawings[found.designs[0].id].problems)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"diameter": ""}, "diameter"),
        ({"base": "70 mm"}, "base"),
        ({"diameter": "120 mm"}, "paper"),
        ({"height": "x"}, "height"),
    ],
)
def test_a_jar_that_cannot_be_labelled_is_refused_at_its_field(store, changes, field):
    with pytest.raises(Faults) as wrong:
        jar(store, product(store), **changes)
    assert field in wrong.value.by_field


def test_a_wrap_on_labels_of_another_length_is_refused(store):
    made = product(store)
    with store.reading() as session:
        sheet = SHEETS.rows(session)[0].id
    with pytest.raises(Faults, match=r"192\.5 mm long"):
        add_design(store, made, DesignForm(sheet=str(sheet), panel="wrap", diameter="60", overlap="4"))
    with pytest.raises(Faults, match="Only a wrap"):
        add_design(store, made, DesignForm(sheet=str(sheet), diameter="60"))
    with pytest.raises(Faults, match="is no element"):
        add_design(store, made, DesignForm(sheet=str(sheet), panel="wrap", diameter="60", on_back="lid"))


@pytest.mark.paper
def test_a_roll_printer_gets_a_label_a_page(store):
    found, drawings, setting = jar(store, product(store), paper="roll, a label a page")
    wrap = found.designs[0]
    paper = label_paper(found, wrap, drawings[wrap.id], (3, 1, True), setting)
    with pdfplumber.open(io.BytesIO(paper.content)) as pdf:
        sizes = [(float(page.width) / MM, float(page.height) / MM) for page in pdf.pages]
    assert sizes == [pytest.approx((192.5, 40), abs=0.1)] * 3


def small_label(name="Cream", code="HC-2026-001", *lines):
    return bench_drawing(BenchLabel(name, code, "rejected", lines), f"http://127.0.0.1:8520/scan?code={code}").laid


LOT = ("received 5 Jan 2026, opened 3 Feb 2026", "expires 31 Dec 2028, re-test by 31 Dec 2027")
SOLUTION = ("made 25 Nov 2026 by Ines, use by 31 Dec 2026", "\u25b2 Corrosive: wear goggles.")


@pytest.mark.parametrize(
    ("name", "first", "kept"),
    [
        ("Cream", "supplier's lot 1", LOT),
        ("Bis-Ethylhexyloxyphenol Methoxyphenyl Triazine " * 3, "supplier's lot 98765432109876543210", LOT),
        ("\u6912\u6cb9" * 60, "supplier's lot 1", LOT),
        ("Pre-mix", "Caprylic/Capric Triglyceride 50 %, " * 12, SOLUTION),
    ],
    ids=["short", "long name", "square letters", "long composition"],
)
def test_nothing_of_a_small_label_is_cut_off_and_its_dates_are_whole(name, first, kept):
    code = "01345678901234567890"
    laid = small_label(name, code, first, *kept)
    assert laid.missing_mm == 0
    text = " ".join(line.text for line in laid.lines)
    for whole in ("REJECTED", code, *kept):
        assert whole in text
    assert max(line.baseline_mm for line in laid.lines) < laid.height_mm
    assert all(line.x_mm + text_width(line.text, line.bold) * line.size_mm <= laid.width_mm for line in laid.lines)


def test_the_small_label_of_a_lot_says_rejected_as_its_page_does(demo):
    with demo.transaction() as session:
        lot = session.scalars(select(Lot).limit(1)).one()
        lot.state, lot.expires_on = LotState.REFUSED, date(2027, 3, 1)
        label = bench_label_of_lot(session, lot.id)
    assert label.state == "rejected"
    assert label.lines[-1] == "expires 1 Mar 2027"


def test_the_small_label_of_a_batch_is_made_on_a_day_only_once_it_is_begun(demo):
    with demo.reading() as session:
        planned, made = (
            session.scalars(select(Batch).where(Batch.state == state)).first() for state in ("planned", "released")
        )
        words = [bench_label_of_batch(session, one.id).lines[-1] for one in (planned, made)]
    assert words[0].startswith("planned for ")
    assert words[1].startswith("made ")


@pytest.mark.parametrize(
    ("typed", "printed"), [("Germany", "Made in Germany"), ("Made in the USA", "Made in the USA"), ("", "")]
)
def test_an_origin_is_printed_once_however_it_was_typed(store, typed, printed):
    found, _, _ = read(store, product(store, origin=typed))
    assert next(iter(found.words.values())).origin == printed


@pytest.mark.paper
def test_a_label_with_letters_that_no_font_has_is_refused_by_name_and_the_press_goes_on(store):
    with store.reading() as session:
        setting = PageSetup(the_workshop(session), today())
    with pytest.raises(PaperFault, match="No font on this computer has \ue000"):
        bench_paper(BenchLabel("\ue000", "A", "released", ()), "http://127.0.0.1/", setting)
