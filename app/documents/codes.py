"""Bar codes and QR codes as dark rectangles in millimetres, by kept libraries.

Sizes: GS1 General Specifications (from memory): module 0.330 mm at 100 %, 0.264 mm (80 %) at the least; quiet zones of
11 and 7 modules for EAN-13, 9 and 9 for UPC-A, 7 and 7 for EAN-8; bars 22.85 mm high at 100 %. QR: ISO/IEC 18004, quiet
zone 4 modules.
"""

from dataclasses import dataclass
from functools import lru_cache

MODULE_MM = 0.33
LEAST_SCALE = 0.8
BARS_HIGH_MM = 22.85
FIGURES_MM = 3.0
QUIET = {13: (11, 7), 12: (9, 9), 8: (7, 7)}
KINDS = {13: "ean13", 12: "upca", 8: "ean8"}
QR_MODULE_MM = 0.35
QR_QUIET = 4


@dataclass(frozen=True, slots=True)
class Drawn:
    """A code drawn: its size with quiet zones, its dark rectangles (x, y, width, height) and the figures below."""

    width_mm: float
    height_mm: float
    bars: tuple[tuple[float, float, float, float], ...]
    figures: str = ""
    figures_mm: float = 0.0


def can_draw(number: str) -> bool:
    """Return whether a number can be a bar code on a unit: EAN-13, UPC-A or EAN-8."""
    return len(number) in KINDS


@lru_cache(maxsize=256)
def bar_code(number: str, scale: float = LEAST_SCALE) -> Drawn:
    """Return an EAN-13, UPC-A or EAN-8 with its quiet zones, at 80 to 200 % of its size."""
    import barcode

    modules = barcode.get(KINDS[len(number)], number).build()[0].replace("G", "1")
    module = MODULE_MM * scale
    before, after = QUIET[len(number)]
    high = BARS_HIGH_MM * scale
    bars = tuple(
        ((before + start) * module, 0.0, length * module, high) for start, length in _runs([m == "1" for m in modules])
    )
    size = FIGURES_MM * scale
    return Drawn((before + len(modules) + after) * module, high + size * 1.1, bars, number, size)


@lru_cache(maxsize=256)
def qr_code(text: str, module_mm: float = QR_MODULE_MM) -> Drawn:
    """Return a QR code of a text, error correction M or better, with its quiet zone."""
    import segno

    matrix = [list(row) for row in segno.make(text, error="m", micro=False).matrix]
    bars = [
        ((QR_QUIET + start) * module_mm, (QR_QUIET + y) * module_mm, length * module_mm, module_mm)
        for y, row in enumerate(matrix)
        for start, length in _runs([bool(cell) for cell in row])
    ]
    side = (len(matrix) + 2 * QR_QUIET) * module_mm
    return Drawn(side, side, tuple(bars))


def _runs(dark: list[bool]) -> list[tuple[int, int]]:
    """Return start and length of each run of dark modules."""
    runs: list[tuple[int, int]] = []
    for place, is_dark in enumerate(dark):
        if is_dark and runs and sum(runs[-1]) == place:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        elif is_dark:
            runs.append((place, 1))
    return runs
