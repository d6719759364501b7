"""The areas of the workshop and their pages, as the head of every page names them."""

from dataclasses import dataclass

from app.web.neighbours import neighbours


@dataclass(frozen=True, slots=True)
class Page:
    """A page that an area names under the head; it is the one shown when the address begins with its path."""

    path: str
    words: str


@dataclass(frozen=True, slots=True)
class HeadArea:
    """An area of the head, with the pages below it.

    ``everywhere`` keeps the pages in sight on every page of the area, not only on those it names.
    """

    path: str
    words: str
    pages: tuple[Page, ...] = ()
    everywhere: bool = False


DEMONSTRATION = Page("/demonstration", "Demonstration")
AREAS = (
    HeadArea("/", "Bench"),
    HeadArea("/formulas", "Formulas", (Page("/formulas", "Formulas"), Page("/formulas/file", "Import and export"))),
    HeadArea("/read-a-label", "Read a label"),
    HeadArea("/products", "Products", (Page("/products", "Products"), Page("/products/price-list", "Price list"))),
    HeadArea(
        "/materials",
        "Materials",
        (
            Page("/materials", "On the shelf"),
            Page("/library", "Library"),
            Page("/materials/transfer", "Import and export"),
        ),
    ),
    HeadArea(
        "/stock",
        "Stock",
        (
            Page("/stock", "On hand"),
            Page("/stock/count", "Stock-take"),
            Page("/stock/to-buy", "To buy"),
            Page("/stock/orders", "Orders"),
            Page("/stock/suppliers", "Suppliers"),
            Page("/stock/documents", "Documents needed"),
        ),
        everywhere=True,
    ),
    HeadArea(
        "/batches",
        "Batches",
        (
            Page("/batches", "Batches"),
            Page("/packing", "Packing runs"),
            Page("/packing/finished", "Finished units"),
            Page("/packing/samples", "Samples kept"),
        ),
    ),
    HeadArea(
        "/trace",
        "Trace",
        (
            Page("/trace", "Find"),
            Page("/trace/sent", "Sent out"),
            Page("/trace/receivers", "Receivers"),
            Page("/trace/cases", "Cases"),
            Page("/trace/recalls", "Recalls"),
        ),
        everywhere=True,
    ),
    HeadArea("/rules", "Rules", (Page("/rules", "Tables"), Page("/rules/from-memory", "Values from memory"))),
    HeadArea(
        "/workshop",
        "Workshop",
        (
            Page("/workshop", "Settings"),
            Page("/workshop/scales", "Scales"),
            Page("/workshop/vessels", "Pots and beakers"),
            Page("/workshop/packaging", "Packaging"),
            Page("/workshop/people", "People"),
            Page("/workshop/gear", "Equipment checks"),
            Page("/label-sheets", "Label sheets"),
            Page("/workshop/backups", "Backups"),
            DEMONSTRATION,
        ),
    ),
    HeadArea("/help", "Help"),
)


@dataclass(frozen=True, slots=True)
class Place:
    """Where an address is: its area, the pages to name under the head, and which of them it is or belongs to."""

    area: HeadArea | None
    pages: tuple[Page, ...]
    page: Page | None


def place_of(path: str) -> Place:
    """Return where an address is.

    Args:
        path: the path of an address, such as ``/stock/orders/3``.
    """
    found = [
        (len(start), area, page)
        for area in AREAS
        for start, page in [(area.path, None), *((page.path, page) for page in area.pages)]
        if path == start or (start != "/" and path.startswith(f"{start}/"))
    ]
    if not found:
        return Place(None, (), None)
    length = max(long for long, _, _ in found)
    area, page = next((area, page) for long, area, page in reversed(found) if long == length)
    named = page is not None and page.path == path
    shown = area.pages if named or area.everywhere else ()
    if not neighbours():
        shown = tuple(one for one in shown if one is not DEMONSTRATION)
    return Place(area, shown, page)
