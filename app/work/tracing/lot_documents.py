"""The documents that stand behind lots: of the lot itself, of its material and of its supplier."""

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from app.store.stock import Document, DocumentLink
from app.store.tracing import LotNode


@dataclass(frozen=True, slots=True)
class LotPaper:
    """A document behind a lot: its id, what it is, and its title."""

    id: int
    kind: str
    name: str


def papers_of(session: Session, lots: Collection[LotNode]) -> dict[int, tuple[LotPaper, ...]]:
    """Return the documents of lots by the id of the lot: its own first, then those of its material and supplier."""
    if not lots:
        return {}
    asked = (
        select(
            DocumentLink.lot_id, DocumentLink.material_id, DocumentLink.supplier_id, Document.id, Document.kind,
            Document.name,
        )
        .join(Document, Document.id == DocumentLink.document_id)
        .where(
            Document.retired_at.is_(None),
            or_(
                DocumentLink.lot_id.in_({lot.id for lot in lots}),
                DocumentLink.material_id.in_({lot.material_id for lot in lots if lot.material_id}),
                DocumentLink.supplier_id.in_({lot.supplier_id for lot in lots if lot.supplier_id}),
            ),
        )
        .order_by(DocumentLink.lot_id.is_(None), Document.id)
    )  # fmt: skip
    rows = session.execute(asked).all()
    return {
        lot.id: tuple(
            LotPaper(key, kind.value, name)
            for of_lot, of_material, of_supplier, key, kind, name in rows
            if lot.id == of_lot
            or (of_material is not None and lot.material_id == of_material)
            or (of_supplier is not None and lot.supplier_id == of_supplier)
        )
        for lot in lots
    }
