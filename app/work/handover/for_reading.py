"""Tables of the archive that are for reading elsewhere: orders, packing, what was sent, labels and documents.

They stand beside the tables that can be imported and stay where they are when the archive comes in: what was packed and
sent is a record of the workshop that did it. Whom it was sent to is not in them, so an archive can be passed on.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store.base import Base
from app.store.batches import Batch
from app.store.distribution import Dispatch
from app.store.labels import LabelDesign
from app.store.materials import MaterialRow
from app.store.packing import PackingRun
from app.store.products import Product
from app.store.stock import Document, Lot, Purchase, Supplier
from app.work.handover.records import Sheet, SheetColumn, cell
from app.work.labels.design import ELEMENTS, shown_on


def _every(model: type[Base]) -> Callable[[Session], Iterable[Any]]:
    return lambda session: session.scalars(select(model).order_by(model.id))  # type: ignore[attr-defined]


def _parts(model: type[Base], name: str) -> Callable[[Session], Iterable[tuple[Any, Any]]]:
    """Give each row of a kind with each of its parts."""
    return lambda session: ((one, part) for one in _every(model)(session) for part in getattr(one, name))


def _about(session: Session) -> Iterable[tuple[Document, str]]:
    """Give each document with what it is about, in words that mean the same anywhere."""
    kinds = (
        ("material", MaterialRow, "name"), ("lot", Lot, "code"), ("supplier", Supplier, "name"),
        ("batch", Batch, "number"), ("product", Product, "name"),
    )  # fmt: skip
    for document in _every(Document)(session):
        for link in document.links:
            kind, model, field = next(one for one in kinds if getattr(link, f"{one[0]}_id") is not None)
            yield document, f"{kind} {getattr(session.get_one(model, getattr(link, f'{kind}_id')), field)}"


def _of(words: str, path: str) -> SheetColumn:
    """Return the column of what a row holds under a path of names, empty where nothing is on the way."""

    def read(row: Any) -> object:
        for name in path.split("."):
            row = row[int(name)] if name.isdigit() else None if row is None else getattr(row, name)
        return row

    return SheetColumn(words, read)


FOR_READING: Mapping[str, Sheet] = {
    "orders": Sheet(
        "Every order to a supplier.",
        _every(Purchase),
        {
            "number": _of("number of the order", "number"),
            "supplier": _of("name of the supplier", "supplier.name"),
            "state": _of("open, received or cancelled", "state"),
            "ordered_on": _of("day of the order", "ordered_on"),
            "expected_on": _of("day it is expected", "expected_on"),
            "currency": _of("currency of its prices, empty for that of the workshop", "currency"),
            "made_by": _of("who ordered", "made_by"),
            "note": _of("note", "note"),
        },
    ),
    "order_lines": Sheet(
        "What was ordered, line by line.",
        _parts(Purchase, "lines"),
        {
            "order": _of("number of the order", "0.number"),
            "item": _of("name of the material or the packaging", "1.name"),
            "amount": _of("how much, in grams or pieces", "1.amount"),
            "as_typed": _of("how much, in the words of the order", "1.amount_text"),
            "price": _of("price of the line", "1.price"),
            "lot": _of("code of the lot that came", "1.lot.code"),
        },
    ),
    "packing_runs": Sheet(
        "Every packing run with its units and its bulk.",
        _every(PackingRun),
        {
            "number": _of("number of the run", "number"),
            "batch": _of("number of the batch", "batch.number"),
            "product": _of("name of the product", "product.name"),
            "state": _of("open, closed or cancelled", "state"),
            "packed_on": _of("day of packing", "packed_on"),
            "place": _of("line or bench", "place"),
            "fill": _of("net content of a unit", "fill_amount"),
            "fill_unit": _of("its unit", "fill_unit"),
            "units_filled": _of("units filled", "units_filled"),
            "units_spoilt": _of("of these spoilt", "units_spoilt"),
            "units_sampled": _of("of these kept as samples", "units_sampled"),
            "bulk_g": _of("bulk taken, g", "bulk_g"),
            "rest_g": _of("left over, g", "rest_g"),
            "waste_g": _of("waste, g", "waste_g"),
            "label": _of("label and its version", "artwork"),
            "code_printed": _of("code printed on the pack", "code_printed"),
            "best_before": _of("date of durability printed", "best_before"),
            "open_months": _of("months after opening printed", "open_months"),
            "by": _of("who started it", "by"),
            "closed_at": _of("when it was closed, UTC", "closed_at"),
            "closed_by": _of("who closed it", "closed_by"),
        },
    ),
    "packaging_used": Sheet(
        "What a run took of each lot of packaging, in pieces.",
        _parts(PackingRun, "lots"),
        {
            "run": _of("number of the run", "0.number"),
            "lot": _of("code of the lot", "1.lot.code"),
            "packaging": _of("name of the packaging", "1.lot.name"),
            "issued": _of("issued", "1.issued"),
            "used": _of("used", "1.used"),
            "spoilt": _of("spoilt", "1.spoilt"),
            "returned": _of("returned to stock", "1.returned"),
            "by": _of("who", "1.by"),
        },
    ),
    "fill_weights": Sheet(
        "Net weights of units as they were filled; a later row of the same place corrects an earlier one.",
        _parts(PackingRun, "weights"),
        {
            "run": _of("number of the run", "0.number"),
            "place": _of("place in the sample, from 1", "1.n"),
            "grams": _of("net weight, g; empty where it was taken back", "1.grams"),
            "by": _of("who", "1.by"),
            "at": _of("when, UTC", "1.at"),
            "reason": _of("reason of a correction", "1.reason"),
        },
    ),
    "samples": Sheet(
        "Units kept of a run.",
        _parts(PackingRun, "samples"),
        {
            "run": _of("number of the run", "0.number"),
            "units": _of("units kept", "1.units"),
            "place": _of("place", "1.place"),
            "kept_on": _of("kept on", "1.kept_on"),
            "keep_until": _of("keep until", "1.keep_until"),
            "discarded_on": _of("discarded on", "1.discarded_on"),
        },
    ),
    "dispatches": Sheet(
        "Units that went out or were returned; to whom is not in this file.",
        _every(Dispatch),
        {
            "kind": _of("sale, gift, sample or returned", "kind"),
            "batch": _of("number of the batch", "batch.number"),
            "product": _of("name of the product", "product.name"),
            "run": _of("number of the packing run", "run.number"),
            "units": _of("units", "units"),
            "sent_on": _of("day", "sent_on"),
            "receiver_number": _of("number of the receiver in the workshop", "receiver_id"),
            "order_number": _of("order number of the receiver", "order_number"),
            "by": _of("who", "by"),
            "cancelled_at": _of("when the line was cancelled, UTC", "cancelled_at"),
            "cancelled_why": _of("why", "cancelled_why"),
        },
    ),
    "labels": Sheet(
        "The labels of every product: what stands on them, and the sheet they are cut from.",
        _every(LabelDesign),
        {
            "product": _of("name of the product", "product.name"),
            "label": _of("which label", "name"),
            "where": _of("where it is stuck", "panel"),
            "width_mm": _of("width, mm", "sheet.label_width_mm"),
            "height_mm": _of("height, mm", "sheet.label_height_mm"),
            "sheet": _of("name of the label sheet", "sheet.name"),
            "shows": SheetColumn(
                "what stands on it", lambda one: ", ".join(name for name in ELEMENTS if name in shown_on(one))
            ),
            "function": _of("what it is for", "function_words"),
            "directions": _of("directions", "directions"),
            "cautions": _of("cautions of its own", "cautions"),
            "qr_text": _of("text of the QR code", "qr_text"),
        },
    ),
    "documents": Sheet(
        "Every document with what it is about, a row for each; the files themselves are in a backup.",
        _about,
        {
            "title": _of("title", "0.name"),
            "kind": _of("what it is", "0.kind"),
            "about": _of("what it is about", "1"),
            "dated_on": _of("dated", "0.dated_on"),
            "valid_until": _of("valid until", "0.valid_until"),
            "sha256": _of("SHA-256 of the file", "0.sha256"),
            "added_by": _of("who added it", "0.added_by"),
            "note": _of("note", "0.note"),
        },
    ),
}


def read_only_out(session: Session) -> dict[str, list[dict[str, str]]]:
    """Return the tables that are for reading elsewhere."""
    return {
        name: [{key: cell(column.read(row)) for key, column in sheet.columns.items()} for row in sheet.rows(session)]
        for name, sheet in FOR_READING.items()
    }
