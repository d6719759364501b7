"""The process that lays out paper, apart from the pages, so that a slow sheet never holds them up."""

import importlib
from multiprocessing.connection import Connection
from pathlib import Path
from urllib.parse import unquote, urlsplit
from urllib.request import url2pathname

STATIC = (Path(__file__).resolve().parents[2] / "static").resolve()


def inside_static(address: str) -> bool:
    """Tell whether an address is a file of our own static folder, or data carried in the address itself."""
    parts = urlsplit(address)
    if parts.scheme == "data":
        return True
    if parts.scheme != "file" or parts.netloc not in {"", "localhost"}:
        return False
    return Path(url2pathname(unquote(parts.path))).resolve().is_relative_to(STATIC)


def lay_out(html: str) -> bytes:
    """Turn a page into a tagged PDF.

    Raises:
        PermissionError: when the page asks for anything outside the static folder.
    """
    from weasyprint import HTML
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class OwnFilesOnly(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: dict[str, str] | None = None) -> URLFetcherResponse:
            if not inside_static(url):
                raise FatalURLFetchingError(f"a sheet may not load {url[:200]}")
            return super().fetch(url, headers)

    fetcher = OwnFilesOnly(allowed_protocols={"file", "data"}, allow_redirects=False)
    try:
        document = HTML(string=html, base_url=STATIC.as_uri() + "/", url_fetcher=fetcher)
        return bytes(document.write_pdf(pdf_variant="pdf/ua-1", pdf_tags=True))
    except FatalURLFetchingError as error:
        raise PermissionError(str(error)) from error


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
            pipe.send((True, lay_out(html)))
        except Exception as error:
            pipe.send((False, f"{type(error).__name__}: {error}"))
