"""Names off a picture: order of columns, mending, hostile files; and rendered labels where the part is installed."""

import io
import random
import textwrap
from importlib.util import find_spec

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from app.reference.label_mending import mend
from app.reference.label_names import LabelNames
from app.reference.library import substances
from app.science.errors import Invalid
from app.science.label_list.reading import read_list
from app.work.label_reading import photo
from app.work.label_reading.photo import PhotoLine, in_reading_order, open_picture, read_photo

needs_part = pytest.mark.skipif(
    find_spec("rapidocr_onnxruntime") is None,
    reason="the optional part photo-reading is not installed (python3 -m app add photo-reading)",
)
LABELS = (
    "Aqua, Glycerin, Caprylic/Capric Triglyceride, Cetearyl Alcohol, Butyrospermum Parkii Butter, Glyceryl Stearate, "
    "PEG-100 Stearate, Dimethicone, Phenoxyethanol, Carbomer, Ethylhexylglycerin, Disodium EDTA, Sodium Hydroxide, "
    "Parfum, Limonene, Linalool",
    "Aqua, Sodium Laureth Sulfate, Cocamidopropyl Betaine, Sodium Chloride, Coco-Glucoside, Glyceryl Oleate, "
    "Sodium Benzoate, Potassium Sorbate, Citric Acid, Panthenol, Parfum, Hexyl Cinnamal, CI 42090",
    "Prunus Amygdalus Dulcis Oil, Cera Alba, Butyrospermum Parkii Butter, Ricinus Communis Seed Oil, Tocopherol, "
    "Helianthus Annuus Seed Oil, Lavandula Angustifolia Oil, Citral, Geraniol, Linalool",
)


def font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """A face that Pillow brings along."""
    return ImageFont.load_default(size)


def label(text: str, *, size: int = 26, columns: int = 1, bend: float = 0.0, noise: float = 0.0) -> bytes:
    """Draw a label; bent as on a bottle, with the grain of a camera."""
    width = 900
    lines = textwrap.wrap(f"Ingredients: {text}", int(width / columns / size * 1.75))
    per_column = -(-len(lines) // columns)
    step = int(size * 1.45)
    picture = Image.new("RGB", (width, step * (per_column + 2) + int(40 * bend) + 20), "white")
    draw = ImageDraw.Draw(picture)
    for number, line in enumerate(lines):
        column, row = divmod(number, per_column)
        draw.text((20 + column * width // columns, 20 + row * step), line, fill="black", font=font(size))
    pixels = np.asarray(picture).astype(float)
    if bend:
        shift = (40 * bend * np.sin(np.linspace(0, np.pi, width))).astype(int)
        pixels = np.stack([np.roll(pixels[:, x], shift[x], axis=0) for x in range(width)], axis=1)
    if noise:
        pixels += np.random.default_rng(4).normal(0, noise, pixels.shape)
    held = io.BytesIO()
    Image.fromarray(pixels.clip(0, 255).astype("uint8")).filter(ImageFilter.GaussianBlur(0.4 if noise else 0)).save(
        held, "PNG"
    )
    return held.getvalue()


def share_right(text: str, picture: bytes) -> float:
    wanted = [name.key for name in read_list(text, LabelNames()).names]
    found = {name.key for name in read_list(read_photo(picture).text, LabelNames()).names}
    return sum(key in found for key in wanted) / len(wanted)


@needs_part
def test_rendered_labels_are_read_with_97_of_100_names_right() -> None:
    cases = [
        (LABELS[0], label(LABELS[0])),
        (LABELS[1], label(LABELS[1], size=20, noise=14)),
        (LABELS[2], label(LABELS[2], bend=0.5, noise=8)),
        (LABELS[0], label(LABELS[0], size=19, columns=2)),
    ]
    shares = [share_right(text, picture) for text, picture in cases]
    assert sum(shares) / len(shares) >= 0.97


@needs_part
def test_what_is_doubtful_comes_with_its_piece_of_the_picture() -> None:
    found = read_photo(label("Aqua, Glycerin, Zorbiumquat Kelpate, Parfum"))
    doubted = [one for one in found.doubtful if "orbium" in one.read]
    assert len(doubted) == 1
    assert doubted[0].picture.startswith("data:image/jpeg;base64,")


@needs_part
def test_a_picture_without_text_is_said_to_hold_none() -> None:
    held = io.BytesIO()
    Image.new("RGB", (300, 300), "white").save(held, "PNG")
    with pytest.raises(Invalid, match="No text"):
        read_photo(held.getvalue())


def test_without_the_part_the_way_to_add_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photo, "find_spec", lambda _name: None)
    with pytest.raises(Invalid, match="add photo-reading"):
        read_photo(b"")


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"\x89PNG\r\n\x1a\n" + b"\0" * 50, b"%PDF-1.7", b"<svg/>"])
def test_what_is_no_picture_gets_a_clear_answer(data: bytes) -> None:
    with pytest.raises(Invalid) as caught:
        open_picture(data)
    assert caught.value.field == "photo"


def test_a_picture_that_unpacks_to_too_much_is_refused() -> None:
    held = io.BytesIO()
    Image.new("1", (9000, 9000)).save(held, "PNG")
    assert len(held.getvalue()) < 100_000
    with pytest.raises(Invalid, match="million pixels"):
        open_picture(held.getvalue())


def test_columns_are_read_one_after_the_other() -> None:
    boxes = [("a", 0, 0), ("c", 500, 2), ("b", 0, 40), ("d", 500, 41)]
    lines = [PhotoLine(text, 1.0, x, y, x + 400, y + 30) for text, x, y in boxes]
    assert [line.text for line in in_reading_order(lines, 1000)] == ["a", "b", "c", "d"]


def test_boxes_of_one_row_are_read_from_left_to_right() -> None:
    lines = [
        PhotoLine("b", 1.0, 300, 0, 900, 30),
        PhotoLine("a", 1.0, 0, 3, 320, 33),
        PhotoLine("c", 1.0, 0, 40, 900, 70),
    ]
    assert [line.text for line in in_reading_order(lines, 1000)] == ["a", "b", "c"]


@pytest.mark.parametrize(
    ("read", "names"),
    [
        ("GlycerylStearate", ("Glyceryl Stearate",)),
        ("Phenoxyethano1", ("Phenoxyethanol",)),
        ("ParfumLimonene", ("Parfum", "Limonene")),
        ("S0dium Hydroxide", ("Sodium Hydroxide",)),
        ("Zorbiumquat", ("Zorbiumquat",)),
    ],
)
def test_lost_blanks_misread_letters_and_missed_commas_are_mended(read: str, names: tuple[str, ...]) -> None:
    assert mend(read).names == names


def test_every_name_of_the_library_survives_the_loss_of_its_blanks_and_one_misread_letter() -> None:
    chance = random.Random(1)  # noqa: S311 - picks names for a test
    names = chance.sample(sorted(s.inci for s in substances().values() if len(s.inci) > 9 and s.inci.isascii()), 60)
    closed = sum(mend(name.replace(" ", "")).names == (name,) for name in names)
    slipped = sum(mend(name[:5] + "q" + name[6:]).names == (name,) for name in names)
    assert closed >= 57
    assert slipped >= 54
