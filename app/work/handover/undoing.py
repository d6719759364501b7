"""The imports, and one undone as a whole: all that came with it goes, unless something later stands on any of it."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from sqlalchemy import bindparam, delete, func, literal, select
from sqlalchemy.orm import Session

from app.store.base import Base
from app.store.batches import Batch
from app.store.errors import Conflict, NotFound
from app.store.formulas import DraftMaterial, FormulaRow, FormulaVersion
from app.store.handover import FormulaImport, ImportedRecord
from app.store.materials import MaterialRow, PackagingRow
from app.store.products import Product
from app.store.stock import Lot, Supplier
from app.work.action import action
from app.work.clock import now
from app.work.formulas.draft import Draft
from app.work.formulas.steps import add_step

# What an import writes, with the word for one of them and the field that names it.
KINDS: Mapping[str, tuple[type[Base], str, str]] = {
    "batches": (Batch, "batch", "number"),
    "lots": (Lot, "lot", "code"),
    "versions": (FormulaVersion, "version of", "name"),
    "products": (Product, "product", "name"),
    "formulas": (FormulaRow, "formula", "name"),
    "materials": (MaterialRow, "material", "name"),
    "packaging": (PackagingRow, "packaging", "name"),
    "suppliers": (Supplier, "supplier", "name"),
}
RECORDS = ("versions", "lots", "batches")
# The rows that belong to another: they came with it and go with it, as far as they are not younger than the import.
PARTS = {
    "draft_step": "formula_id", "draft_material": "formula_id", "version_line": "version_id",
    "material_part": "material_id", "part_allergen": "part_id", "price": "material_id packaging_id",
    "product_packaging": "product_id", "stock_move": "lot_id", "lot_event": "lot_id", "batch_line": "batch_id",
    "ph_session": "batch_id", "batch_heating": "line_id", "batch_weighing": "line_id", "batch_reading": "batch_id",
    "batch_tick": "batch_id", "batch_deviation": "batch_id", "batch_event": "batch_id",
}  # fmt: skip
MOST_NAMED = 12
# What may stand on something that came with an import, in words.
LATER = {
    "formula_version": "a version was saved", "draft_step": "it was changed", "draft_material": "a formula uses it",
    "version_line": "a version uses it", "branch": "a formula was branched off", "batch": "a batch was planned",
    "batch_line": "a batch uses it", "batch_weighing": "something was weighed from it", "stock_move": "stock was moved",
    "lot": "a lot was received or made", "lot_event": "its particulars were changed", "price": "a price was noted",
    "packing_run": "a packing run started", "document_link": "a document is linked", "label_design": "it has a label",
    "purchase_line": "it is on an order", "purchase": "it has an order", "product": "a product was added",
    "product_packaging": "a product uses it", "recipe_notes": "its recipe has notes", "recall_lot": "a recall names it",
    "recall_batch": "a recall names it", "dispatch": "units of it were dispatched", "case_file": "a complaint names it",
    "drop_weight": "a drop of it was weighed", "started_formula": "it was started from a printed list",
    "worked_time": "time that was worked is noted for it",
}  # fmt: skip
AT_ONCE = 5_000
MOST_NAMES = 4
Own = Mapping[str, set[int]]


@action()
def undo_import(session: Session, import_id: int) -> None:
    """Take back everything that came with an import: it leaves nothing behind but its line in the list.

    Raises:
        NotFound: when there is no such import, or it was undone already.
        Conflict: when something later stands on it, naming what; nothing is undone then.
    """
    row = session.get(FormulaImport, import_id)
    if row is None or row.undone_at is not None:
        raise NotFound("There is no such import to undo.")
    content = json.loads(row.content)
    own = _own_rows(session, content)
    reasons = _standing_on(session, own)
    reasons.setdefault("it was changed", []).extend(_changed(session, content))
    words = "; ".join(f"{_listed(names)}: {why}" for why, names in reasons.items() if names)
    if words:
        raise Conflict(f"Nothing is undone, because something later stands on this import. {words}.")
    for formula_id, step in content["steps"]:
        formula = session.get_one(FormulaRow, formula_id)
        before = next(one for one in formula.steps if one.step == step - 1)
        add_step(session, formula, Draft.from_json(before.content), change="Import undone")
    row.undone_at = now()
    session.flush()
    session.expunge_all()
    # What refers to others goes before what it refers to, and of one table the youngest first.
    for ids in _portions(own["formula"]):
        session.execute(delete(DraftMaterial).where(DraftMaterial.formula_id.in_(ids)))
    for table in reversed(Base.metadata.sorted_tables):
        ids = sorted(own.get(table.name, ()), reverse=True)
        if ids:
            session.execute(delete(table).where(table.c.id == bindparam("row")), [{"row": one} for one in ids])
    session.execute(delete(ImportedRecord).where(ImportedRecord.import_id == import_id))


def list_imports(session: Session) -> list[tuple[FormulaImport, list[FormulaRow]]]:
    """Return the imports, newest first, each with the first of the formulas that came with it and are still here."""
    imports = list(session.scalars(select(FormulaImport).order_by(FormulaImport.id.desc()).limit(20)))
    came = {row.id: json.loads(row.content).get("formulas", [])[:MOST_NAMED] for row in imports if not row.undone_at}
    asked = select(FormulaRow).where(FormulaRow.id.in_({one for ids in came.values() for one in ids}))
    here = {formula.id: formula for formula in session.scalars(asked)}
    return [(row, [here[one] for one in came.get(row.id, ()) if one in here]) for row in imports]


def mark(
    session: Session, row: FormulaImport, written: Mapping[str, list[int]], steps: Sequence[tuple[int, int]] = ()
) -> None:
    """Note at an import what it wrote, and how far each table of parts reached, so that what is younger is told.

    ``steps`` are the formulas whose draft was put over, each with the step that did it.
    """
    last = {name: session.scalar(select(func.max(key))) or 0 for name, key in _numbered_parts()}
    row.content = json.dumps({**written, "steps": steps, "last": last})
    for kind in RECORDS:
        name = KINDS[kind][0].__tablename__
        session.add_all(ImportedRecord(kind=name, record_id=one, import_id=row.id) for one in written.get(kind, ()))
    session.flush()


def _numbered_parts() -> Iterator[tuple[str, Any]]:
    """Return the tables of parts whose rows have an id, with that column."""
    tables = ((name, Base.metadata.tables[name]) for name in PARTS)
    return ((name, table.c.id) for name, table in tables if "id" in table.c)


def _own_rows(session: Session, content: Mapping[str, Any]) -> dict[str, set[int]]:
    """Return the ids of all rows that came with an import, by table."""
    own = {model.__tablename__: set(content.get(kind, ())) for kind, (model, _, _) in KINDS.items()}
    last = content.get("last", {})
    for name, key in _numbered_parts():
        own[name] = set()
        for owner in PARTS[name].split():
            column = Base.metadata.tables[name].c[owner]
            (target,) = column.foreign_keys
            for ids in _portions(own[target.column.table.name]):
                found = select(key).where(column.in_(ids))
                own[name] |= set(session.scalars(found.where(key <= last[name]) if name in last else found))
    return own


def _portions(ids: Iterable[int]) -> Iterator[list[int]]:
    listed = sorted(ids)
    return (listed[start : start + AT_ONCE] for start in range(0, len(listed), AT_ONCE))


def _changed(session: Session, content: Mapping[str, Any]) -> Iterator[str]:
    """Yield the formulas somebody worked on since, those that were added and those whose draft was put over."""
    for formula_id, step in [*content["steps"], *((one, 1) for one in content["formulas"])]:
        formula = session.get(FormulaRow, formula_id)
        if formula is not None and formula.draft_step != step:
            yield f"formula {formula.name}"


def _standing_on(session: Session, own: Own) -> dict[str, list[str]]:
    """Return what rows of anybody else refer to of what came with the import, by the words for such a row."""
    found: dict[str, dict[str, None]] = {}
    for name, table in Base.metadata.tables.items():
        if name == ImportedRecord.__tablename__:
            continue
        # A row without an id is told by the formula that it belongs to.
        identity = next((table.c[one] for one in ("id", "formula_id") if one in table.c), None)
        mine = own.get(name, own["formula"] if name in PARTS else set())
        for link in table.foreign_keys:
            target = link.column.table.name
            for ids in _portions(own.get(target, ())):
                asked = select(link.parent, literal(0) if identity is None else identity).where(link.parent.in_(ids))
                strange = [referred for referred, row_id in session.execute(asked) if row_id not in mine]
                words = LATER.get(name, f"it is in use ({name.replace('_', ' ')})")
                found.setdefault(words, {}).update(dict.fromkeys(_named(session, target, one) for one in strange))
    return {words: list(names) for words, names in found.items() if names}


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more


def _named(session: Session, table: str, row_id: int) -> str:
    """Return what a row that came with an import is called."""
    for model, word, field in KINDS.values():
        if model.__tablename__ == table:
            return f"{word} {getattr(session.get_one(model, row_id), field)}"
    return "a part of it"
