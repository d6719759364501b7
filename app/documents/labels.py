"""Labels drawn: the words of a label laid out in the shipped face, its codes, sheets of them, and the calibration page.

Type heights: 21 CFR 701.3(b), (p) and 740.2 (1/16 in, 1/32 in on less than 12 square inches; measured here by the
lower-case o), 701.13 and Directive 76/211/EEC for the content. The EU has no height for the rest: 0.9 mm of x-height,
1.2 mm from 80 cm2, are those of food labels (Regulation (EU) 1169/2011 Art. 13; common practice here).
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.documents.codes import Drawn, bar_code, can_draw, qr_code
from app.documents.type_metrics import cap_height, text_width, x_height
from app.science.jurisdiction import Jurisdiction
from app.science.label_layout import Block, Code, Label, Laid, lay_out
from app.science.label_sheets import SheetGrid
from app.science.net_content import Panel, PanelShape, net_content
from app.store.labels import LabelDesign, PanelKind
from app.work.labels.content import LabelSet, Obstacle, Words
from app.work.labels.design import shown_on, shown_on_back, wrap_of
from app.work.labels.label_sheets import grid_of

NUMBER_WITH_UNIT = re.compile(r"(\d) (?=\S)")
SIXTEENTH_MM = 25.4 / 16
TWELVE_SQUARE_INCHES = 12 * 25.4**2
EU_X_MM, EU_X_LARGE_MM, EU_LARGE_MM2 = 0.9, 1.2, 8000.0
OPEN_JAR_MM = 9.0
LOWEST_THIRD = 0.7  # the content stands in the lowest 30 % of a US panel above 5 square inches
FIVE_SQUARE_INCHES = 5 * 25.4**2
ORDER = (
    "identity", "front", "directions", "warnings", "ingredients", "responsible", "origin", "keeping", "batch", "price",
    "content",
)  # fmt: skip
BOLD = frozenset({"identity", "content", "warnings"})
HELP = (
    "A higher or second label, a leaflet or tag for the ingredient list (Art. 19(2); 21 CFR 701.3(b)), or leaving out "
    "what no law asks for would help."
)


@dataclass(frozen=True, slots=True)
class LabelPicture:
    """A code on a label: where it lies and what it looks like; an open jar has its months in ``figures``."""

    kind: str
    x_mm: float
    y_mm: float
    drawn: Drawn


@dataclass(frozen=True, slots=True)
class LabelDrawing:
    """A label ready to be drawn, with what is wrong with it; at ``folds`` the back and the overlap of a wrap begin."""

    laid: Laid
    pictures: tuple[LabelPicture, ...]
    problems: tuple[Obstacle, ...]
    heights: "TypeHeights | None" = None
    folds: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Space:
    """A part of a label that is laid out by itself: from where on along the label, how wide, and what stands there."""

    x_mm: float
    width_mm: float
    shown: frozenset[str]


def draw_label(design: LabelDesign, words: Words) -> LabelDrawing:
    """Lay one label out, each text at least as high as the law of its market asks; a wrap its front and its back."""
    sheet = design.sheet
    width, height = float(sheet.label_width_mm), float(sheet.label_height_mm)
    panel, surface = _panel(design), _surface(design)
    least = _least_x_mm(words.law, surface)
    content = 0.0 if words.nominal is None else float(net_content(words.nominal, panel, words.law).min_type_mm)
    type_heights = TypeHeights(least, SIXTEENTH_MM if words.law is Jurisdiction.US else least, content, words.law)
    laid, pictures, problems = [], [], []
    for space in _spaces(design):
        blocks = [_block(kind, words, type_heights) for kind in ORDER if kind in space.shown]
        codes, drawn, wrong = _codes(space.shown, words)
        label = Label(space.width_mm, height, sheet.is_round)
        one = lay_out(label, [block for block in blocks if block], codes, text_width)
        laid.append(replace(one, lines=tuple(replace(line, x_mm=line.x_mm + space.x_mm) for line in one.lines)))
        pictures += [LabelPicture(p.code.kind, p.x_mm + space.x_mm, p.y_mm, drawn[p.code.kind]) for p in one.codes]
        problems += wrong
    whole = Laid(
        width,
        height,
        sheet.is_round,
        tuple(line for one in laid for line in one.lines),
        tuple(code for one in laid for code in one.codes),
        max(one.missing_mm for one in laid),
        min(one.ease for one in laid),
    )
    faults = _faults(whole, words, float(panel.area_mm2), design)
    wrap = wrap_of(design)
    folds = () if wrap is None else (wrap.front_mm, wrap.circumference_mm)
    return LabelDrawing(whole, tuple(pictures), (*problems, *faults), type_heights, folds)


def _spaces(design: LabelDesign) -> tuple[Space, ...]:
    wrap, shown, back = wrap_of(design), shown_on(design), shown_on_back(design)
    if wrap is None:
        return (Space(0.0, float(design.sheet.label_width_mm), shown),)
    return (Space(0.0, wrap.front_mm, shown - back), Space(wrap.front_mm, wrap.back_mm, back))


def _panel(design: LabelDesign) -> Panel:
    """Return the principal display panel: of a wrap 40 % of the way round, else the label itself."""
    height = design.sheet.label_height_mm
    if design.diameter_mm is not None:
        return Panel(PanelShape.CYLINDER, design.diameter_mm, height)
    shape = PanelShape.ROUND if design.sheet.is_round else PanelShape.RECTANGLE
    return Panel(shape, design.sheet.label_width_mm, height)


def _surface(design: LabelDesign) -> float:
    """Return the area there is for labelling, mm2."""
    wrap = wrap_of(design)
    if wrap is not None:
        return wrap.circumference_mm * float(design.sheet.label_height_mm)
    return float(_panel(design).area_mm2)


@dataclass(frozen=True, slots=True)
class TypeHeights:
    """How high type has to be at least on a panel, mm: the lower-case x, that of US warnings, and the content.

    ``content_mm`` is the height of figures in the EU and of the lower-case o in the US, 0 while no content is set.
    """

    x_mm: float
    warning_x_mm: float
    content_mm: float
    law: Jurisdiction

    @property
    def content_em(self) -> float:
        """The em of a content statement."""
        return self.content_mm / (x_height() if self.law is Jurisdiction.US else cap_height())


def _least_x_mm(law: Jurisdiction, area_mm2: float) -> float:
    if law is Jurisdiction.US:
        return SIXTEENTH_MM if area_mm2 >= TWELVE_SQUARE_INCHES else SIXTEENTH_MM / 2
    return EU_X_LARGE_MM if area_mm2 >= EU_LARGE_MM2 else EU_X_MM


def _block(kind: str, words: Words, heights: TypeHeights) -> Block | None:
    text = words.keeping if kind == "keeping" else words.of(kind)
    if not text:
        return None
    if kind == "content":
        text = NUMBER_WITH_UNIT.sub("\\1\u00a0", text)
    least = (heights.warning_x_mm if kind == "warnings" else heights.x_mm) / x_height()
    if kind == "content":
        least = max(least, heights.content_em)
    best = least * {"identity": 2.2, "front": 1.5, "content": 1.15}.get(kind, 1.35)
    return Block(kind, text, least, best, kind in BOLD, bottom=kind == "content")


def _codes(shown: frozenset[str], words: Words) -> tuple[list[Code], dict[str, Drawn], list[Obstacle]]:
    codes: list[Code] = []
    drawn: dict[str, Drawn] = {}
    problems: list[Obstacle] = []
    if "keeping" in shown and words.open_jar:
        drawn["open-jar"] = Drawn(OPEN_JAR_MM, OPEN_JAR_MM, (), words.open_jar, OPEN_JAR_MM * 0.3)
    if "qr" in shown and words.qr:
        drawn["qr"] = qr_code(words.qr)
    if "barcode" in shown and words.barcode:
        if can_draw(words.barcode):
            drawn["barcode"] = bar_code(words.barcode)
        else:
            problems.append(Obstacle("The bar code number has 14 digits: that is of a case, not of a unit."))
    for kind, one in drawn.items():
        codes.append(Code(kind, one.figures, one.width_mm, one.height_mm))
    return codes, drawn, problems


def _faults(laid: Laid, words: Words, area_mm2: float, design: LabelDesign) -> list[Obstacle]:
    found, name = [], design.name
    if laid.missing_mm:
        found.append(
            Obstacle(f"{name}: {laid.missing_mm:.1f} mm of height are missing at the smallest type allowed. {HELP}")
        )
    content = [line for line in laid.lines if line.kind == "content"]
    if words.law is not Jurisdiction.US or not content:
        return found
    if design.panel in (PanelKind.BACK, PanelKind.BASE) or "content" in shown_on_back(design):
        found.append(Obstacle(f"{name}: the net content has to stand on the front.", "21 CFR 701.13(f)"))
    elif area_mm2 > FIVE_SQUARE_INCHES and content[0].baseline_mm - content[0].size_mm < LOWEST_THIRD * laid.height_mm:
        found.append(Obstacle(f"{name}: the net content is not in the lowest 30 % of the label.", "21 CFR 701.13(f)"))
    return found


@dataclass(frozen=True, slots=True)
class SheetPage:
    """A page of a sheet: each drawing with its upper left corner."""

    labels: tuple[tuple[float, float, LabelDrawing], ...]


def sheet_pages(grid: SheetGrid, drawing: LabelDrawing, count: int, start: int = 1) -> tuple[SheetPage, ...]:
    """Return the pages of so many labels, the first at place ``start`` of the first page."""
    pages: dict[int, list[tuple[float, float, LabelDrawing]]] = {}
    for page, x, y in grid.places(count, start):
        pages.setdefault(page, []).append((x, y, drawing))
    return tuple(SheetPage(tuple(labels)) for _, labels in sorted(pages.items()))


def all_obstacles(found: LabelSet, drawings: Sequence[LabelDrawing]) -> tuple[Obstacle, ...]:
    """Return everything that keeps the labels of a product from being printed for sale."""
    return tuple(dict.fromkeys((*found.obstacles, *(p for drawing in drawings for p in drawing.problems))))


def drawings_of(found: LabelSet) -> dict[int, LabelDrawing]:
    """Return every label of a product drawn, by the id of its design."""
    return {design.id: draw_label(design, found.words[design.id]) for design in found.designs}


def grid_of_design(design: LabelDesign) -> SheetGrid:
    """Return the grid of the sheet a label is cut from."""
    return grid_of(design.sheet)
