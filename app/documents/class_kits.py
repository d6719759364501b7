"""The papers of a class as one PDF: what to weigh, what to buy, the handout, and a label for every pot and jar."""

from dataclasses import dataclass
from decimal import Decimal

from app.documents.labels import LabelDrawing, SheetPage
from app.documents.papers import PageSetup, PdfFile, pdf_named
from app.documents.recipes import card_phases
from app.documents.type_metrics import text_width, x_height
from app.reference.label_sheets import common_sheets
from app.science.label_layout import Block, Label, Laid, lay_out
from app.science.label_sheets import SheetGrid
from app.store.labels import LabelSheet
from app.work.class_kits import ClassKits, KitLine
from app.work.labels.label_sheets import grid_of

# Labels of a class are cut from these where the workshop chose none of its own sheets.
USUAL_SHEET = {"A4": "A4, 24 labels of 70 x 37 mm", "Letter": "Letter, 30 labels of 2 5/8 x 1 in"}
LEAST_X_MM = 0.9  # of x-height, as on labels for sale (common practice)
NOT_FOR_SALE = "Made in a class, not for sale."


@dataclass(frozen=True, slots=True)
class ClassLabels:
    """The labels of a class on their sheets; ``without_list`` where a jar has no room for its ingredient list."""

    grid: SheetGrid
    pages: tuple[SheetPage, ...]
    count: int
    without_list: bool


def usual_grid(paper: str) -> SheetGrid:
    """Return the grid of the common sheet for a paper."""
    name = USUAL_SHEET[paper]
    return grid_of(LabelSheet(name=name, shift_x_mm=Decimal(0), shift_y_mm=Decimal(0), **common_sheets()[name]))


def class_labels(kits: ClassKits, grid: SheetGrid) -> ClassLabels:
    """Return a label for each pot of each kit, kit by kit, and one for each jar."""
    pots = [_pot(kits, line, grid) for line in kits.lines if line.line.grams]
    jar, without_list = _jar(kits, grid)
    drawings = [drawing for _ in range(kits.participants) for drawing in (*pots, jar)]
    pages: dict[int, list[tuple[float, float, LabelDrawing]]] = {}
    for drawing, (page, x, y) in zip(drawings, grid.places(len(drawings)), strict=True):
        pages.setdefault(page, []).append((x, y, drawing))
    sheets = tuple(SheetPage(tuple(labels)) for _, labels in sorted(pages.items()))
    return ClassLabels(grid, sheets, len(drawings), without_list)


def _laid(grid: SheetGrid, blocks: list[Block]) -> Laid:
    label = Label(grid.label_width_mm, grid.label_height_mm, grid.is_round)
    return lay_out(label, [block for block in blocks if block.text], [], text_width)


def _pot(kits: ClassKits, line: KitLine, grid: SheetGrid) -> LabelDrawing:
    least = LEAST_X_MM / x_height()
    grams = f"{line.line.grams:.{kits.recipe.places}f} g"
    blocks = [
        Block("name", line.line.name, least, 3.6, bold=True),
        Block("grams", grams, least, 4.6, bold=True),
        Block("phase", f"Phase {line.phase}, {kits.recipe.formula.name}", least, 2.6),
        Block("caution", "▲ Caution: read the handout first." if line.line.cautions else "", least, 2.4),
    ]
    return LabelDrawing(_laid(grid, blocks), (), ())


def _jar(kits: ClassKits, grid: SheetGrid) -> tuple[LabelDrawing, bool]:
    least = LEAST_X_MM / x_height()
    blocks = [
        Block("name", kits.recipe.formula.name, least, 3.6, bold=True),
        Block("made", "Made by __________ on __________", least, 2.4),
        Block("sale", NOT_FOR_SALE, least, 2.2),
        Block("list", f"Ingredients: {kits.listed.text}" if kits.listed.text else "", least, 2.2),
    ]
    laid = _laid(grid, blocks)
    no_room = bool(laid.missing_mm)
    laid = _laid(grid, blocks[:-1]) if no_room else laid
    return LabelDrawing(laid, (), ()), no_room or not kits.listed.text


def class_paper(kits: ClassKits, grid: SheetGrid, setting: PageSetup) -> PdfFile:
    """Return everything of a class as one PDF.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    formula = kits.recipe.formula
    return pdf_named(
        "class",
        (formula.code or formula.name, str(kits.participants)),
        setting,
        is_long=True,
        kits=kits,
        labels=class_labels(kits, grid),
        recipe=kits.recipe,
        phases=card_phases(kits.recipe),
        pictures=(),
    )
