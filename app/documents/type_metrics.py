"""How wide the shipped face runs and how high its letters stand, read from the font files themselves."""

from functools import cache
from pathlib import Path
from unicodedata import east_asian_width

FOLDER = Path(__file__).resolve().parents[2] / "static" / "fonts"
# em, for a sign the face lacks: Chinese, Japanese and Korean signs and emoji fill a square.
UNKNOWN, SQUARE = 0.6, 1.0


@cache
def _advances(bold: bool) -> dict[str, float]:
    from fontTools.ttLib import TTFont

    with TTFont(FOLDER / f"IBMPlexSans-{'SemiBold' if bold else 'Regular'}.woff2") as font:
        size, widths = font["head"].unitsPerEm, font["hmtx"].metrics
        return {chr(code): widths[glyph][0] / size for code, glyph in font.getBestCmap().items()}


@cache
def x_height() -> float:
    """Return the height of a lower-case letter without ascender, in em."""
    return _of_letters("sxHeight")


@cache
def cap_height() -> float:
    """Return the height of a capital, in em; figures stand as high."""
    return _of_letters("sCapHeight")


def _of_letters(name: str) -> float:
    from fontTools.ttLib import TTFont

    with TTFont(FOLDER / "IBMPlexSans-Regular.woff2") as font:
        return float(getattr(font["OS/2"], name) / font["head"].unitsPerEm)


def text_width(text: str, bold: bool = False) -> float:
    """Return the width of a text at size 1, without kerning, which only ever makes it narrower."""
    advances = _advances(bold)
    return sum(advances.get(sign) or (SQUARE if east_asian_width(sign) in "WF" else UNKNOWN) for sign in text)
