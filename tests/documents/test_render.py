"""The press: our own files only, a time limit, and a name for every file."""

import io
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from fontTools.pens.recordingPen import RecordingPen
from fontTools.ttLib import TTFont
from hypothesis import example, given
from hypothesis import strategies as st
from pypdf import PdfReader

from app.documents.drawings.titration import ticks
from app.documents.paper import file_name
from app.documents.render import LONG_PAGE, LONGEST_PAGE, Lane, PaperFault, PdfWorker, StillPrintingError, to_pdf
from app.documents.worker import STATIC, UNPRINTABLE_HERE, inside_static, lay_out, unpacked

PAGE = "<!doctype html><html lang='en'><head><title>Sheet</title>{head}</head><body><p>Text</p>{body}</body></html>"
FOREIGN = [
    ("", '<img src="file:///etc/hostname">'),
    ("", '<img src="http://169.254.169.254/latest">'),
    ("", '<img src="https://127.0.0.1:1/x.png">'),
    ("", '<img src="../../../../../../etc/hostname">'),
    ("", '<img src="ftp://127.0.0.1/x">'),
    ('<style>@import "file:///etc/hostname";</style>', ""),
    ('<link rel="stylesheet" href="file:///etc/hostname">', ""),
    ('<link rel="attachment" href="file:///etc/hostname">', ""),
    ("<style>p { background: url(file:///etc/hostname) }</style>", ""),
]


@pytest.mark.paper
@pytest.mark.parametrize(("head", "body"), FOREIGN, ids=lambda text: text[:40])
def test_a_sheet_that_asks_for_anything_else_is_not_made(head: str, body: str) -> None:
    with pytest.raises(PaperFault, match="outside"):
        to_pdf(PAGE.format(head=head, body=body))


@pytest.mark.paper
def test_a_sheet_with_our_own_style_is_made_and_the_press_goes_on_after_a_refusal() -> None:
    assert to_pdf(PAGE.format(head='<link rel="stylesheet" href="css/pdf.css">', body="")).startswith(b"%PDF")


@pytest.mark.paper
def test_a_sheet_that_takes_too_long_is_stopped_and_the_next_one_is_made() -> None:
    slow = PAGE.format(head="", body="<p>word </p>" * 30_000)
    with pytest.raises(PaperFault, match="took longer"):
        to_pdf(slow, seconds=0.3)
    assert to_pdf(PAGE.format(head="", body="")).startswith(b"%PDF")


@pytest.mark.paper
def test_two_papers_print_or_wait_and_a_third_is_told_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    printing, go_on = threading.Semaphore(0), threading.Event()

    def held(_worker: PdfWorker, html: str, _seconds: float) -> bytes:
        printing.release()
        assert go_on.wait(10)
        return html.encode()

    monkeypatch.setattr(PdfWorker, "_print_in_turn", held)
    long = "x" * (LONG_PAGE + 1)
    with ThreadPoolExecutor() as pool:
        papers = [pool.submit(to_pdf, html) for html in ("a", "b", long, long)]
        for _ in papers:
            assert printing.acquire(timeout=10)
        # A long document takes no place from a sheet, and the other way round; a third of a kind does not wait.
        for html in ("c", long):
            with pytest.raises(StillPrintingError, match="try again in a moment"):
                to_pdf(html)
        go_on.set()
        assert [len(paper.result()) for paper in papers] == [1, 1, len(long), len(long)]
    assert to_pdf("d") == b"d"


@pytest.mark.paper
def test_a_sheet_is_printed_while_a_long_document_still_runs() -> None:
    to_pdf(PAGE.format(head="", body=""))
    slow = PAGE.format(head="", body="<p>word </p>" * 1500)
    with ThreadPoolExecutor() as pool:
        long = pool.submit(to_pdf, slow, lane=Lane.LONG)
        assert to_pdf(PAGE.format(head="", body="")).startswith(b"%PDF")
        assert not long.done()
        assert long.result().startswith(b"%PDF")


@pytest.mark.paper
def test_a_sheet_that_is_too_long_is_refused_at_once() -> None:
    with pytest.raises(PaperFault, match="too long"):
        to_pdf("x" * (LONGEST_PAGE + 1))


@pytest.mark.parametrize(
    ("address", "ours"),
    [
        ((STATIC / "css" / "paper.css").as_uri(), True),
        ((STATIC / ".." / "README.md").as_uri(), False),
        (STATIC.as_uri() + "/../app/__init__.py", False),
        (STATIC.as_uri() + "/%2e%2e/pyproject.toml", False),
        ("file://server/share/x", False),
        ("data:image/png;base64,AAAA", True),
        ("http://127.0.0.1/static/css/paper.css", False),
    ],
)
def test_only_the_static_folder_is_ours(address: str, ours: bool) -> None:
    assert inside_static(address) is ours


@pytest.mark.parametrize("font", sorted((STATIC / "fonts").glob("*.woff2")), ids=lambda font: font.stem)
def test_an_unpacked_font_draws_the_same_letters(font: Path) -> None:
    packed, plain = TTFont(font), TTFont(io.BytesIO(unpacked(font)))
    assert (packed.flavor, plain.flavor) == ("woff2", None)
    assert packed.getBestCmap() == plain.getBestCmap()
    for name in packed.getGlyphOrder()[:40]:
        drawn = []
        for one in (packed, plain):
            pen = RecordingPen()
            one.getGlyphSet()[name].draw(pen)
            drawn.append((pen.value, one["hmtx"][name]))
        assert drawn[0] == drawn[1], name


@pytest.mark.paper
def test_a_font_is_unpacked_once_for_all_sheets(monkeypatch: pytest.MonkeyPatch) -> None:
    unpacked.cache_clear()
    read = []
    real = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda path: (read.append(path.name), real(path))[1])
    page = PAGE.format(
        head='<link rel="stylesheet" href="css/faces.css">', body="<p style='font-family: Plex Sans'>A</p>"
    )
    first, second = lay_out(page), lay_out(page)
    fonts = [name for name in read if name.endswith(".woff2")]
    assert len(fonts) == len(set(fonts)) == len(list((STATIC / "fonts").glob("*.woff2")))
    assert first == second


@given(st.lists(st.text(max_size=80), max_size=4))
@example(["0..0"])
@example(["0" * 59 + ".0"])
@example(["..", "a/../b"])
def test_a_file_name_holds_nothing_that_could_be_a_path(pieces: list[str]) -> None:
    name = file_name(*pieces)
    assert name.endswith(".pdf")
    assert not set(name) - set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_.")
    assert ".." not in name


@given(st.floats(-5, 5), st.floats(0.01, 500))
def test_an_axis_has_a_handful_of_round_ticks_inside_its_limits(low: float, width: float) -> None:
    found = ticks(low, low + width)
    assert 1 <= len(found) <= 13
    assert all(low - 1e-6 <= tick <= low + width + 1e-6 for tick in found)


@pytest.mark.paper
def test_a_sheet_says_which_letters_no_font_has() -> None:
    """U+E000 is for private use: no font that is shipped here or by a system draws it."""
    pdf = to_pdf(PAGE.format(head="", body=f"{UNPRINTABLE_HERE}<p>Oil \ue000</p>"))
    assert "U+E000" in PdfReader(io.BytesIO(pdf)).pages[0].extract_text().replace("\0", "")


@pytest.mark.paper
def test_the_total_of_a_long_table_stands_once() -> None:
    css = "".join(f'<link rel="stylesheet" href="css/{name}.css">' for name in ("faces", "paper", "pdf", "pdf-A4"))
    rows = "".join(f"<tr><td>Row {n}</td></tr>" for n in range(90))
    table = f"<div class='paper'><table><tbody>{rows}</tbody><tfoot><tr><td>Total</td></tr></tfoot></table></div>"
    pages = PdfReader(io.BytesIO(to_pdf(PAGE.format(head=css, body=table)))).pages
    assert len(pages) > 1
    assert ["Total" in page.extract_text() for page in pages] == [False] * (len(pages) - 1) + [True]


@pytest.mark.paper
def test_a_total_takes_the_last_row_along_to_its_page() -> None:
    """A page of A4 has 268 mm of room here: below 247 mm there is some for two rows, and none for the total."""
    css = "".join(f'<link rel="stylesheet" href="css/{name}.css">' for name in ("faces", "paper", "pdf", "pdf-A4"))
    rows = "<tbody><tr><td>First</td></tr><tr><td>Second</td></tr></tbody><tfoot><tr><td>Total</td></tr></tfoot>"
    body = f"<div class='paper'><div style='height: 247mm'></div><table>{rows}</table></div>"
    page = f'<!doctype html><html lang="en"><head><title>Sheet</title>{css}</head><body>{body}</body></html>'
    first, last = PdfReader(io.BytesIO(to_pdf(page))).pages
    assert "First" in first.extract_text()
    assert [words in last.extract_text() for words in ("Second", "Total")] == [True, True]
