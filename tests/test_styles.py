"""The look holds together: one scale of type and spacing, three steps of width, and a glyph for every sign."""

import html
import re
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont

ROOT = Path(__file__).resolve().parents[1]
SHEETS = sorted((ROOT / "static" / "css").glob("*.css"))
PAPER = {
    "paper.css",
    "pdf.css",
    "pdf-A4.css",
    "pdf-Letter.css",
    "faces.css",
    "record.css",
    "recipe_page.css",
    "class.css",
    "dossier.css",
}
SCREEN = [path for path in SHEETS if path.name not in PAPER]
PARTS = (ROOT / "static" / "css" / "parts.css").read_text(encoding="utf-8")
SIZES = re.compile(r"(?:font-size:|font:(?: \d{3})?) *([^;}]+)")
SPACES = re.compile(r"(?<![\w-])(?:margin|padding)(?:-[a-z-]+)?:([^;}]*)|(?<![\w-])(?:row-|column-)?gap:([^;}]*)")
LENGTH = re.compile(r"(?<![\w-])-?(\d*\.?\d+)(rem|em|px)")
SIZE = re.compile(r"var\(--text-[1-5]\)|inherit|12px|0\.75em|0$")
STEPS = {"40rem", "48rem", "60rem"}


@pytest.mark.parametrize("path", SCREEN, ids=lambda path: path.name)
def test_type_and_spacing_come_from_the_scale(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    sizes = [found for found in SIZES.findall(text) if not SIZE.match(found.strip())]
    assert sizes == []
    spaces = [
        value
        for groups in SPACES.findall(text)
        for value in groups
        for number, unit in LENGTH.findall(value)
        if float(number) > (3 if unit == "px" else 0.05)
    ]
    assert spaces == []


def test_pages_change_at_three_widths_of_their_room() -> None:
    text = "\n".join(path.read_text(encoding="utf-8") for path in SCREEN)
    assert "max-width:" not in "".join(re.findall(r"@media[^{]*", text))
    assert set(re.findall(r"@container[^{]*?(\d+(?:\.\d+)?rem)", text)) <= STEPS


def test_no_part_of_a_table_takes_a_class_that_lays_out_blocks() -> None:
    laid = set(re.findall(r"^\.([a-z-]+) \{[^}]*display: (?:inline-)?(?:grid|flex)", PARTS, re.MULTILINE))
    assert {"columns", "row", "field"} <= laid
    parts = re.compile(r'<(?:table|thead|tbody|tfoot|tr|td|th)\b[^>]*? class="([^"]*)"')
    wrong = {
        path.name: classes
        for path in (ROOT / "templates").rglob("*.html")
        if (
            classes := {one for found in parts.findall(path.read_text(encoding="utf-8")) for one in found.split()}
            & laid
        )
    }
    assert wrong == {}


def glyphs(*names: str) -> set[int]:
    return {code for name in names for code in TTFont(ROOT / "static" / "fonts" / name).getBestCmap()}


def written() -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for path in (*(ROOT / "templates").rglob("*.html"), *SHEETS, *(ROOT / "static" / "js").glob("*.js")):
        text = path.read_text(encoding="utf-8")
        text = html.unescape(text) if path.suffix == ".html" else text
        text = re.sub(r"\\(?:u)?([0-9A-Fa-f]{4})", lambda match: chr(int(match[1], 16)), text)
        for sign in text:
            found.setdefault(sign, set()).add(path.name)
    return found


def test_every_sign_on_pages_and_papers_is_in_a_face_that_ships() -> None:
    ours = glyphs("IBMPlexSans-Regular.woff2", "TarebookSigns.woff2") | {ord("\n"), ord("\t")}
    missing = {sign: names for sign, names in written().items() if ord(sign) not in ours}
    assert missing == {}


@pytest.mark.parametrize("name", ["Regular", "SemiBold", "Italic"])
def test_words_are_set_in_latin_greek_and_cyrillic(name: str) -> None:
    words = "Crème für Füße, žluť, Ångström, ẞ, œuvre, 5 €, −2 °C, α-Bisabolol, µm, крем для рук, κρέμα χεριών"
    assert {sign for sign in words if ord(sign) not in glyphs(f"IBMPlexSans-{name}.woff2")} == set()


def test_titles_are_set_in_latin_greek_and_cyrillic() -> None:
    ours = glyphs(*(f"SourceSerif4-SemiBold-{script}.woff2" for script in ("latin", "latin-ext", "greek", "cyrillic")))
    assert {sign for sign in "Crème, žluť, Łódź, крем, κρέμα" if ord(sign) not in ours} == set()


def test_templates_ask_for_static_files_by_their_digest() -> None:
    raw = [
        path.name for path in (ROOT / "templates").rglob("*.html") if '"/static/' in path.read_text(encoding="utf-8")
    ]
    assert raw == []
