"""Labels as PDFs: sheets of a product's label, the calibration page, and small labels of the bench."""

from app.documents.codes import qr_code
from app.documents.labels import LabelDrawing, LabelPicture, SheetPage, grid_of_design, sheet_pages
from app.documents.paper import file_name, paper_html
from app.documents.papers import PageSetup, PdfFile
from app.documents.render import to_pdf
from app.documents.type_metrics import text_width
from app.science.label_layout import Block, Code, Label, lay_out
from app.science.label_sheets import SheetGrid
from app.store.labels import LabelDesign, LabelSheet
from app.work.labels.bench_labels import BenchLabel
from app.work.labels.content import LabelSet
from app.work.labels.label_sheets import grid_of

# Small labels of the bench: common practice for a label printer, 62 x 29 mm.
BENCH_WIDTH_MM, BENCH_HEIGHT_MM = 62.0, 29.0
BENCH_MODULE_MM = 0.4
LEAST_NAME = 24  # letters of a name that are kept


def label_paper(
    found: LabelSet, design: LabelDesign, drawing: LabelDrawing, how: tuple[int, int, bool], setting: PageSetup
) -> PdfFile:
    """Return a label as sheets; ``how`` is the number of labels, the first place from 1, and whether it is a proof.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    count, start, proof = how
    grid = grid_of_design(design)
    pages = sheet_pages(grid, drawing, count, min(start, grid.per_page))
    kind = "proof" if proof else "label"
    language = (found.product.languages or "en").split(",")[0].strip()
    title = f"{'Proof, not for sale: ' if proof else ''}{found.product.name}, {design.name}"
    html = _html(setting, grid, pages, title=title, proof=proof, language=language)
    which = found.batch.number if found.batch else "draft"
    return PdfFile(file_name(kind, found.product.name, design.name, which), to_pdf(html))


def calibration_paper(sheet: LabelSheet, setting: PageSetup) -> PdfFile:
    """Return the calibration page of a sheet: the outlines, and a cross in the middle of each corner label.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    grid = grid_of(sheet)
    half = grid.label_width_mm / 2, grid.label_height_mm / 2
    corners = [grid.corner(place) for place in range(grid.per_page)]
    last_row = grid.columns * (grid.rows - 1)
    ends = dict.fromkeys((0, grid.columns - 1, last_row, last_row + grid.columns - 1))
    crosses = [(corners[place][0] + half[0], corners[place][1] + half[1]) for place in ends]
    html = paper_html(
        "labels/calibration_pdf.html", workshop=setting.workshop, printed_on=setting.printed_on, sheet=sheet,
        grid=grid, corners=corners, crosses=crosses, words_mm=min(2.4, grid.label_width_mm / 24),
    )  # fmt: skip
    return PdfFile(file_name("calibration", sheet.name), to_pdf(html))


def bench_paper(label: BenchLabel, address: str, setting: PageSetup) -> PdfFile:
    """Return the small label of a batch or lot with its code as QR.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    drawing = bench_drawing(label, address)
    grid = SheetGrid(
        BENCH_WIDTH_MM, BENCH_HEIGHT_MM, 1, 1, BENCH_WIDTH_MM, BENCH_HEIGHT_MM, 0, 0, BENCH_WIDTH_MM, BENCH_HEIGHT_MM
    )
    html = _html(setting, grid, (SheetPage(((0.0, 0.0, drawing),)),), title=f"{label.code} {label.name}")
    return PdfFile(file_name("bench-label", label.code), to_pdf(html))


def bench_drawing(label: BenchLabel, address: str) -> LabelDrawing:
    """Lay out the small label: the state large, the code, the name, the dates, the QR code beside them.

    Where not everything fits, the name gives way from its end, then the longest line: state, code and dates are what
    the bench acts on.
    """
    drawn = qr_code(address, BENCH_MODULE_MM)
    width = BENCH_WIDTH_MM - drawn.width_mm
    texts = [label.name, *label.lines]
    while True:
        blocks = [
            Block("state", label.state.upper(), 3.0, 4.2, bold=True),
            Block("code", label.code, 2.6, 3.6, bold=True),
            Block("name", texts[0], 2.0, 3.0),
            *(Block("line", line, 1.8, 2.6) for line in texts[1:]),
        ]
        laid = lay_out(Label(width, BENCH_HEIGHT_MM), blocks, [], text_width)
        longest = 0 if len(texts[0]) > LEAST_NAME else max(range(len(texts)), key=lambda place: len(texts[place]))
        if not laid.missing_mm or len(texts[longest]) <= LEAST_NAME:
            break
        texts[longest] = f"{texts[longest][:-4].rstrip(' …')}…"
    place = Code("qr", address, drawn.width_mm, drawn.height_mm)
    picture = LabelPicture(place.kind, width, (BENCH_HEIGHT_MM - drawn.height_mm) / 2, drawn)
    return LabelDrawing(laid, (picture,), ())


def _html(
    setting: PageSetup,
    grid: SheetGrid,
    pages: tuple[SheetPage, ...],
    *,
    title: str,
    proof: bool = False,
    language: str = "en",
) -> str:
    return paper_html(
        "labels/pdf.html", workshop=setting.workshop, printed_on=setting.printed_on, grid=grid, pages=pages,
        title=title, proof=proof, language=language,
    )  # fmt: skip
