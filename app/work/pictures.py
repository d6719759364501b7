"""Pictures as they come from a camera: read, turned upright, stripped of where they were taken, and made smaller."""

import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps

from app.science.errors import Invalid

LARGEST_BYTES = 7 * 1024 * 1024
MOST_PIXELS = 60_000_000
KEPT_EDGE = 1600  # pixels of the longer edge that is kept
KEPT_QUALITY = 85
KINDS = ("JPEG", "PNG")
# What is tried, largest first, until a picture fits its room on a page.
EDGES = (1200, 960, 720, 560, 420, 320, 240, 160)
QUALITIES = (82, 70, 58, 45)


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as JPEG without any metadata, with its size in pixels."""

    content: bytes
    width: int
    height: int


def read_picture(data: bytes) -> Picture:
    """Return a JPEG or PNG upright, at most 1600 pixels long, without metadata.

    Raises:
        Invalid: at ``picture``, when it is no such picture, damaged or too large.
    """
    if not data:
        raise Invalid("picture", "Choose a picture that is not empty.")
    if len(data) > LARGEST_BYTES:
        raise Invalid("picture", "A picture can have 7 MB; make it smaller.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=KINDS) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    raise Invalid("picture", "This picture has more than 60 million points; make it smaller.")
                upright = ImageOps.exif_transpose(opened)
                return _saved(_on_white(upright), KEPT_EDGE, KEPT_QUALITY)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise Invalid("picture", "This is no picture that can be read; choose a JPEG or a PNG.") from error


def _on_white(image: Image.Image) -> Image.Image:
    """Return a picture without transparency, in red, green and blue."""
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        clear = image.convert("RGBA")
        white = Image.new("RGBA", clear.size, "white")
        return Image.alpha_composite(white, clear).convert("RGB")
    return image.convert("RGB")


def _saved(image: Image.Image, edge: int, quality: int) -> Picture:
    small = image.copy()
    small.thumbnail((edge, edge), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    small.save(out, "JPEG", quality=quality, optimize=True)
    return Picture(out.getvalue(), small.width, small.height)


def fitted(content: bytes, most_bytes: int) -> Picture:
    """Return a kept picture as large and as good as so many bytes allow; the smallest that is tried when none fits."""
    with Image.open(io.BytesIO(content)) as opened:
        image = opened.convert("RGB")
    found = _saved(image, EDGES[-1], QUALITIES[-1])
    for edge in EDGES:
        if edge > max(image.size) and edge != EDGES[-1]:
            continue
        for quality in QUALITIES:
            tried = _saved(image, edge, quality)
            if len(tried.content) <= most_bytes:
                return tried
    return found
