"""Words and codes put on a label: the largest type that fits, never below what the law asks. All lengths in mm."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

Width = Callable[[str, bool], float]  # width of a text at size 1, bold or not
LEADING = 1.22
GAP = 0.45  # between blocks, in sizes of the type that follows
MARGIN_MM = 2.0  # a desktop printer shifts by up to 1 mm (common practice)
SMALL_MARGIN_MM = 1.5
SMALL_MM = 25.0
CODE_GAP_MM = 1.5
LEAST_SHARE = 0.35  # of the width that texts beside the codes must have
MOST_LOW_LINES = 2
STEPS = 24


@dataclass(frozen=True, slots=True)
class Block:
    """A text with the type size it must have at least and the one it would like, em in mm; ``bottom`` stands lowest."""

    kind: str
    text: str
    least_mm: float
    best_mm: float
    bold: bool = False
    bottom: bool = False


@dataclass(frozen=True, slots=True)
class Code:
    """A picture of fixed size, such as a bar code with its quiet zones."""

    kind: str
    value: str
    width_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line of a text: the left end of its baseline, its size (em in mm)."""

    kind: str
    text: str
    x_mm: float
    baseline_mm: float
    size_mm: float
    bold: bool


@dataclass(frozen=True, slots=True)
class PlacedCode:
    """A code with its upper left corner."""

    code: Code
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class Laid:
    """A label as it will be printed. ``missing_mm`` is the height that is lacking, 0 when everything fits.

    ``ease`` is 1 with every text at the size it would like, 0 with every text at its least.
    """

    width_mm: float
    height_mm: float
    is_round: bool
    lines: tuple[TextLine, ...]
    codes: tuple[PlacedCode, ...]
    missing_mm: float
    ease: float

    def size_of(self, kind: str) -> float | None:
        """Return the type size (em in mm) a kind of text is printed at; None when there is none of it."""
        return min((line.size_mm for line in self.lines if line.kind == kind), default=None)


@dataclass(frozen=True, slots=True)
class Label:
    """The space of a label."""

    width_mm: float
    height_mm: float
    is_round: bool = False

    @property
    def inner(self) -> tuple[float, float, float, float]:
        """Left, top, width and height in mm of what may be printed on; in a round label the square inside it."""
        margin = SMALL_MARGIN_MM if min(self.width_mm, self.height_mm) < SMALL_MM else MARGIN_MM
        if self.is_round:
            side = (self.width_mm - 2 * margin) / 2**0.5
            return (self.width_mm - side) / 2, (self.height_mm - side) / 2, side, side
        return margin, margin, self.width_mm - 2 * margin, self.height_mm - 2 * margin


def lay_out(label: Label, blocks: Sequence[Block], codes: Sequence[Code], width_of: Width) -> Laid:
    """Lay a label out at the largest sizes that fit; all texts give way together, each to its least and no further.

    The codes stand side by side at the lower right, texts marked ``bottom`` beside them at the lower left (or below
    them, where that is too narrow), the others above from the top. What does not fit even at the least sizes is laid
    out at those, and ``missing_mm`` says how much height is lacking.
    """
    left, top, width, height = label.inner
    eases = [step / STEPS for step in range(STEPS, -1, -1)]
    for ease in eases:
        lines, placed, needed = _arrange((left, top, width, height), blocks, codes, width_of, ease)
        if needed <= height + 1e-6 or ease == 0:
            missing = max(needed - height, 0.0) if needed > height + 1e-6 else 0.0
            return Laid(label.width_mm, label.height_mm, label.is_round, lines, placed, missing, ease)
    raise AssertionError("the last step is ease 0")


def _arrange(
    box: tuple[float, float, float, float],
    blocks: Sequence[Block],
    codes: Sequence[Code],
    width_of: Width,
    ease: float,
) -> tuple[tuple[TextLine, ...], tuple[PlacedCode, ...], float]:
    left, top, width, height = box
    codes_width = sum(code.width_mm for code in codes) + CODE_GAP_MM * max(len(codes) - 1, 0)
    codes_height = max((code.height_mm for code in codes), default=0.0)
    beside = width - codes_width - CODE_GAP_MM if codes else width
    low = [block for block in blocks if block.bottom]
    low_lines = _set(low, beside, width_of, ease)
    # Too narrow beside the codes: the low texts stand below them, across the label.
    stacked = bool(codes) and bool(low) and (beside < LEAST_SHARE * width or len(low_lines) > MOST_LOW_LINES * len(low))
    if stacked:
        low_lines = _set(low, width, width_of, ease)
    low_height = _height(low_lines)
    foot = codes_height + low_height + CODE_GAP_MM if stacked else max(codes_height, low_height)
    upper_lines = _set([block for block in blocks if not block.bottom], width, width_of, ease)
    upper_height = _height(upper_lines)
    gap = CODE_GAP_MM if foot and upper_height else 0.0
    needed = upper_height + gap + foot
    over = max(codes_width - width, 0.0)
    bottom = top + max(height, needed)
    code_bottom = bottom - low_height - CODE_GAP_MM if stacked else bottom
    lines = (*_down(upper_lines, left, top), *_down(low_lines, left, bottom - low_height))
    placed, x = [], left + width - codes_width
    for code in codes:
        placed.append(PlacedCode(code, x, code_bottom - code.height_mm))
        x += code.width_mm + CODE_GAP_MM
    return lines, tuple(placed), needed + over


_Set = tuple[Block, str, float, float]  # block, text of the line, size, space above the line


def _set(blocks: Sequence[Block], width: float, width_of: Width, ease: float) -> list[_Set]:
    found: list[_Set] = []
    for block in blocks:
        size = block.least_mm + ease * max(block.best_mm - block.least_mm, 0.0)
        for place, text in enumerate(_wrap(block.text, max(width, 1.0) / size, block.bold, width_of)):
            found.append((block, text, size, GAP * size if place == 0 and found else 0.0))
    return found


def _height(lines: Sequence[_Set]) -> float:
    return sum(size * LEADING + above for _, _, size, above in lines)


def _down(lines: Sequence[_Set], left: float, top: float) -> list[TextLine]:
    found, y = [], top
    for block, text, size, above in lines:
        y += above + size * LEADING
        # The descent of the face lies below the baseline: a quarter of the line.
        found.append(TextLine(block.kind, text, left, y - size * (LEADING - 0.97), size, block.bold))
    return found


def _wrap(text: str, width: float, bold: bool, width_of: Width) -> list[str]:
    """Break a text into lines of at most a width (in sizes); a word too long anywhere, a no-break space never."""
    lines: list[str] = []
    for paragraph in text.splitlines() or [""]:
        line = ""
        for word in filter(None, paragraph.split(" ")):
            tried = f"{line} {word}" if line else word
            if width_of(tried, bold) <= width:
                line = tried
                continue
            if line:
                lines.append(line)
            line = word
            while width_of(line, bold) > width and len(line) > 1:
                cut = next((n for n in range(len(line) - 1, 0, -1) if width_of(line[:n], bold) <= width), 1)
                lines.append(line[:cut])
                line = line[cut:]
        if line:
            lines.append(line)
    return lines
