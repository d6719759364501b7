"""Names off the picture of a label, all on this machine: the optional part ``photo-reading``."""

import base64
import io
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from app.reference.label_mending import mend
from app.reference.label_names import LabelNames
from app.science.errors import Invalid
from app.science.label_list.naming import known
from app.science.label_list.pieces import pieces_of

if TYPE_CHECKING:
    from PIL.Image import Image

HOW_TO_ADD = "Photo reading is an optional part: stop Tarebook, run python3 -m app add photo-reading, start it again."
MOST_PIXELS = 40_000_000
LONGEST_SIDE, SHORTEST_SIDE = 2400, 40
SURE_FROM = 0.9
COLUMN_GAP = 0.03  # of the width: a gap no line crosses parts two columns
CROP_SIDE = 700
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, slots=True)
class PhotoLine:
    """A line of the picture: its text, how sure the reading is (0 to 1), and its box in pixels."""

    text: str
    score: float
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, slots=True)
class DoubtfulPiece:
    """A piece to look at: as read, as mended, and the line of the picture as an address that holds it."""

    read: str
    mended: str
    picture: str


@dataclass(frozen=True, slots=True)
class PhotoList:
    """The list off a picture, ready to correct, with the pieces that are not sure."""

    text: str
    doubtful: tuple[DoubtfulPiece, ...]


def photo_reading_trouble() -> str:
    """Return why photos cannot be read here, and what to do; empty when they can."""
    if find_spec("rapidocr_onnxruntime") is None:
        return HOW_TO_ADD
    try:
        _engine()
    except (ImportError, OSError) as error:
        return f"The part for photos cannot be loaded ({error}). On Debian or Ubuntu install libgl1 and libglib2.0-0."
    return ""


def photo_reading_here() -> bool:
    """Return whether the part is installed, without loading it."""
    return find_spec("rapidocr_onnxruntime") is not None


@cache
def _engine() -> Any:
    # Lines on a bottle are bent; their boxes hold much background, which the usual threshold takes for no text.
    return import_module("rapidocr_onnxruntime").RapidOCR(det_box_thresh=0.2)


def read_photo(data: bytes) -> PhotoList:
    """Read the ingredient list off a photograph or screenshot.

    Raises:
        Invalid: at ``photo``, when the part is missing, the file is no picture, too large, or holds no text.
    """
    trouble = photo_reading_trouble()
    if trouble:
        raise Invalid("photo", trouble)
    picture = open_picture(data)
    lines = in_reading_order(_lines(picture), picture.width)
    if not lines:
        raise Invalid("photo", "No text was found in this picture; take it closer, sharp and straight.")
    return _listed(lines, picture)


def open_picture(data: bytes) -> "Image":
    """Open a picture of a usual kind, upright and not larger than needed.

    Raises:
        Invalid: at ``photo``.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "WEBP", "BMP", "TIFF")) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                raise Invalid("photo", f"Send a picture of at most {MOST_PIXELS // 1_000_000} million pixels.")
            picture = ImageOps.exif_transpose(opened).convert("RGB")
    except Invalid:
        raise
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise Invalid("photo", "This picture cannot be opened; send a JPEG, PNG or WebP file.") from error
    if min(picture.size) < SHORTEST_SIDE:
        raise Invalid("photo", f"Send a picture of at least {SHORTEST_SIDE} pixels on each side.")
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    return picture


def _lines(picture: "Image") -> list[PhotoLine]:
    import numpy as np

    with _ONE_AT_A_TIME:
        found, _ = _engine()(np.asarray(picture))
    lines = []
    for box, text, score in found or ():
        across, down = [float(point[0]) for point in box], [float(point[1]) for point in box]
        lines.append(PhotoLine(text, float(str(score)), min(across), min(down), max(across), max(down)))
    return lines


def in_reading_order(lines: Sequence[PhotoLine], width: float) -> list[PhotoLine]:
    """Order lines as they are read: columns from left to right, each from top to bottom.

    A gap that no line crosses, with two lines or more on either side that stand beside each other, parts columns.
    """
    cut = _column_cut(lines, width)
    if cut is None:
        # By rows, boxes of one row from left to right.
        rows: list[list[PhotoLine]] = []
        for line in sorted(lines, key=lambda one: one.top + one.bottom):
            last = rows[-1][-1] if rows else None
            same = last is not None and (line.top + line.bottom) / 2 < last.top + 0.7 * (last.bottom - last.top)
            if same:
                rows[-1].append(line)
            else:
                rows.append([line])
        return [line for row in rows for line in sorted(row, key=lambda one: one.left)]
    left = [line for line in lines if line.right <= cut]
    right = [line for line in lines if line.left >= cut]
    return [*in_reading_order(left, width), *in_reading_order(right, width)]


def _column_cut(lines: Sequence[PhotoLine], width: float) -> float | None:
    edges = sorted(lines, key=lambda line: line.left)
    reach = 0.0
    for number, line in enumerate(edges):
        enough = number >= 2 and len(edges) - number >= 2
        if enough and line.left - reach >= COLUMN_GAP * width:
            left, right = edges[:number], edges[number:]
            beside = min(max(one.bottom for one in side) for side in (left, right)) - max(
                min(one.top for one in side) for side in (left, right)
            )
            if beside > 0:
                return (line.left + reach) / 2
        reach = max(reach, line.right)
    return None


def _listed(lines: Sequence[PhotoLine], picture: "Image") -> PhotoList:
    """Cut the lines into names, mend each, and keep what is doubtful with its line of the picture."""
    starts, text = [], ""
    for line in lines:
        starts.append(len(text))
        text += line.text + "\n"
    names: list[str] = []
    doubtful = []
    for piece in pieces_of(text.replace("，", ",").replace("；", ";")):
        places = [n for n, start in enumerate(starts) if start < piece.end and start + len(lines[n].text) > piece.start]
        score = min((lines[n].score for n in places), default=0.0)
        mended, sure = _names(piece.text)
        names += mended
        if not sure or (score < SURE_FROM and not _plainly_known(piece.text)):
            crop = _crop(picture, [lines[n] for n in places])
            doubtful.append(DoubtfulPiece(" ".join(piece.text.split()), ", ".join(mended), crop))
    return PhotoList(", ".join(names), tuple(doubtful))


def _plainly_known(text: str) -> bool:
    return known(text, LabelNames()) is not None


def _names(text: str) -> tuple[list[str], bool]:
    """Return a piece as it stands where it is known as printed, else mended."""
    if _plainly_known(text):
        return [" ".join(text.split())], True
    whole = mend(text)
    if whole.sure or "/" not in text:
        return list(whole.names), whole.sure
    parts = [mend(part) for part in text.split("/")]  # several languages, of which one may be clear
    sure = [part for part in parts if part.sure]
    return (list(sure[0].names), True) if sure else (list(whole.names), False)


def _crop(picture: "Image", lines: Sequence[PhotoLine]) -> str:
    """Return the piece of the picture that holds some lines, as an address with the picture in it."""
    if not lines:
        return ""
    margin = 6
    box = (
        max(0, int(min(line.left for line in lines)) - margin),
        max(0, int(min(line.top for line in lines)) - margin),
        min(picture.width, int(max(line.right for line in lines)) + margin),
        min(picture.height, int(max(line.bottom for line in lines)) + margin),
    )
    piece = picture.crop(box)
    piece.thumbnail((CROP_SIDE, CROP_SIDE))
    held = io.BytesIO()
    piece.save(held, "JPEG", quality=80)
    return "data:image/jpeg;base64," + base64.b64encode(held.getvalue()).decode("ascii")
