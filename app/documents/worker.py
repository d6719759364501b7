"""The process that lays out paper, apart from the pages, so that a slow sheet never holds them up."""

import importlib
from functools import cache
from io import BytesIO
from multiprocessing.connection import Connection
from pathlib import Path
from urllib.parse import unquote, urlsplit
from urllib.request import url2pathname

STATIC = (Path(__file__).resolve().parents[2] / "static").resolve()


def inside_static(address: str) -> bool:
    """Return whether an address is a file of our own static folder, or data carried in the address itself."""
    parts = urlsplit(address)
    if parts.scheme == "data":
        return True
    return parts.scheme == "file" and parts.netloc in {"", "localhost"} and _file_at(address).is_relative_to(STATIC)


def _file_at(address: str) -> Path:
    return Path(url2pathname(unquote(urlsplit(address).path))).resolve()


@cache
def unpacked(font: Path) -> bytes:
    """Return a font as it was before it was packed for browsers: a sheet has eight, and unpacking them every time took
    longer than laying it out.
    """
    from fontTools.ttLib import woff2

    plain = BytesIO()
    woff2.decompress(BytesIO(font.read_bytes()), plain)
    return plain.getvalue()


# Where a sheet says which of its signs no font here has; a page without this mark, such as a label, is refused then.
UNPRINTABLE_HERE = "<!-- what no font has -->"
MOST_SIGNS = 12


class NoFontError(ValueError):
    """No font of this computer has some signs of a page; the message says which, for whoever prints it."""


def lay_out(html: str) -> bytes:
    """Turn a page into a tagged PDF; a sheet names the signs that no font of this computer has.

    Raises:
        PermissionError: when the page asks for anything outside the static folder.
        NoFontError: when signs would be printed as empty boxes, and the page has no place to say so.
    """
    made, signs = _made(html)
    if not signs:
        return made
    more = " and more" if len(signs) > MOST_SIGNS else ""
    if UNPRINTABLE_HERE not in html:
        shown = "".join(signs[:MOST_SIGNS])
        raise NoFontError(f"No font on this computer has {shown}{more}: install one, such as Noto, and print again.")
    codes = ", ".join(f"U+{ord(sign):04X}" for sign in signs[:MOST_SIGNS])
    words = (
        f"Empty boxes stand for letters that no font on this computer has ({codes}{more}); install one, such as Noto."
    )
    note = f'<p class="paper-care"><strong>Caution.</strong> {words}</p>'
    return _made(html.replace(UNPRINTABLE_HERE, note, 1))[0]


def _made(html: str) -> tuple[bytes, list[str]]:
    """Return a page as a PDF, and the signs that are empty boxes in it."""
    from weasyprint import HTML
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class OwnFilesOnly(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
            if not inside_static(url):
                raise FatalURLFetchingError(f"a sheet may not load {url[:200]}")
            if url.startswith("file:") and url.endswith(".woff2"):
                return URLFetcherResponse(url, body=unpacked(_file_at(url)))
            return super().fetch(url, headers)

    fetcher = OwnFilesOnly(allowed_protocols={"file", "data"}, allow_redirects=False)
    how = {"pdf_variant": "pdf/ua-1", "pdf_tags": True}
    try:
        document = HTML(string=html, base_url=STATIC.as_uri() + "/", url_fetcher=fetcher).render(**how)
        made = bytes(document.write_pdf(**how))
    except FatalURLFetchingError as error:
        raise PermissionError(str(error)) from error
    return made, sorted({chr(code) for font in document.fonts.values() for code in font.missing})


def serve(pipe: Connection) -> None:
    """Say that the libraries are loaded, then answer pages with papers until the other end closes."""
    importlib.import_module("weasyprint")
    pipe.send("ready")
    while True:
        try:
            html = pipe.recv()
        except EOFError:
            return
        try:
            pipe.send(("made", lay_out(html)))
        except NoFontError as error:
            pipe.send(("refused", str(error)))
        except Exception as error:
            pipe.send(("failed", f"{type(error).__name__}: {error}"))
