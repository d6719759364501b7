"""Labels of two products of the demo workshop, and documents about what it buys and sells."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store.engine import Store
from app.store.labels import label_sheets
from app.store.materials import MaterialRow
from app.store.products import Product
from app.store.stock import Lot
from app.work.labels.design import DesignForm, add_design
from app.work.labels.label_sheets import add_common_sheet
from app.work.labels.round_jar import RoundJarForm, add_round_jar
from app.work.stock.documents import DocumentForm, add_document


def load_papers(store: Store, told: Mapping[str, Any], ids: Mapping[str, int]) -> None:
    """Put labels and documents into the demo workshop; one without a folder for files goes without documents."""
    add_common_sheet(store, told["sheet"])
    with store.reading() as session:
        sheet_id = next(one.id for one in label_sheets(session) if one.name == told["sheet"])
        jar, tube = (_of(session, told[one]["formula"], ids) for one in ("jar", "tube"))
        about = [_about(session, row["about"], ids) for row in told["documents"]]
    add_round_jar(store, jar, RoundJarForm(**told["jar"]["texts"]))
    add_design(store, tube, DesignForm(sheet=str(sheet_id), **told["tube"]["texts"]))
    if store.files is not None:
        for row, what in zip(told["documents"], about, strict=True):
            text = "\n".join(row["lines"]) + "\n"
            add_document(store, DocumentForm(**row["texts"]), row["file"], text.encode("utf-8"), what)


def _of(session: Session, code: str, ids: Mapping[str, int]) -> int:
    """Return the first product of a formula."""
    first = select(Product.id).where(Product.formula_id == ids[code]).order_by(Product.id).limit(1)
    return session.scalars(first).one()


def _about(session: Session, about: Mapping[str, str], ids: Mapping[str, int]) -> dict[str, int]:
    """Return what a document is about as the column of a link: a product by its formula, the rest by its name."""
    ((kind, name),) = about.items()
    if kind == "product":
        return {"product_id": _of(session, name, ids)}
    found = {
        "material": select(MaterialRow.id).where(MaterialRow.name == name),
        "lot": select(Lot.id).where(Lot.supplier_lot == name).order_by(Lot.id),
    }[kind]
    return {f"{kind}_id": session.scalars(found.limit(1)).one()}
