"""Documents: files held by the hash of their content, what they are about, and which are wanted.

The bytes lie in the folder ``files`` beside the workshop, two letters of the hash a folder. A file is written under
another name, flushed and then given its own, so that a name always stands for the whole content.
"""

import contextlib
import hashlib
import os
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path, PurePath
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.reference.allergens import allergen_index
from app.science.composition import PartKind
from app.science.errors import Invalid
from app.store.batches import Batch
from app.store.engine import Store
from app.store.errors import NotFound, Unusable
from app.store.materials import Material, MaterialPart, PartAllergen
from app.store.products import Product
from app.store.stock import LINKED, Document, DocumentKind, DocumentLink, Lot, Supplier
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults, Form, rule
from app.work.form_fields import Line, MaybeDay, Name, OneOf

MOST_BYTES = 7 * 1024 * 1024
AGED = timedelta(days=3 * 365)
# What a browser may be told a file is; everything is sent to be saved, never to be shown in a page of ours.
MEDIA_TYPES = {
    ".pdf": "application/pdf", ".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".txt": "text/plain",
    ".csv": "text/csv", ".webp": "image/webp",
    ".docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}  # fmt: skip
UNKNOWN_TYPE = "application/octet-stream"


class DocumentForm(Form):
    """What is said of a document."""

    name = Line("Title", hint="Leave empty to use the file name.", width="w20")
    kind = OneOf(
        "Kind of document", DocumentKind, "Choose what kind of document it is.", default=DocumentKind.OTHER.value
    )
    dated_on = MaybeDay("Dated")
    valid_until = MaybeDay("Valid until")
    note = Line("Note", longest=500, width="w20")
    by = Name("Added by", "Give your name or initials.", longest=80, width="w8")

    @rule
    def dates_in_order(self) -> None:
        """Refuse an end before the beginning."""
        if self.dated_on and self.valid_until and self.valid_until < self.dated_on:
            raise Invalid("valid_until", "It would expire before its own date; check both.")


def path_of(files: Path, sha256: str) -> Path:
    """Return where the content with this hash lies."""
    return files / sha256[:2] / sha256


def keep_file(files: Path, data: bytes) -> str:
    """Write content into the folder of files and return its hash; content that is there already stays.

    Raises:
        Unusable: when the folder cannot be written.
    """
    sha256 = hashlib.sha256(data).hexdigest()
    target = path_of(files, sha256)
    draft = target.with_name(f"{sha256}.{secrets.token_hex(4)}.part")
    try:
        if target.exists() and hashlib.sha256(target.read_bytes()).hexdigest() == sha256:
            return sha256
        target.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with draft.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(target)
    except OSError as error:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)
        raise Unusable(f"the document cannot be kept in {files}: {error.strerror}") from error
    return sha256


def add_document(
    store: Store, typed: DocumentForm, file_name: str, data: bytes, about: dict[str, int], key: str = ""
) -> int:
    """Keep a file with what it is about and return the document's id; the same form sent twice keeps it once.

    Args:
        about: one of the columns of a link with its id, such as ``{"lot_id": 3}``.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Unusable: when the workshop has no folder for files, or it cannot be written.
    """
    faults = typed.faults()
    if not data:
        faults.append(Invalid("file", "Choose a file that is not empty."))
    elif len(data) > MOST_BYTES:
        faults.append(Invalid("file", "A document can be at most 7 MB; make it smaller."))
    if faults:
        raise Faults(faults)
    sha256 = keep_file(files_folder(store), data)
    return _add(store, typed.checked(), _plain_name(file_name), sha256, len(data), about, key=key)


def files_folder(store: Store) -> Path:
    """Return the folder of the files.

    Raises:
        Unusable: when the workshop has none.
    """
    if store.files is None:
        raise Unusable("this workshop has no folder for documents; name one with --data or TAREBOOK_HOME")
    return store.files


def _plain_name(name: str) -> str:
    bare = PurePath(name.replace("\\", "/")).name
    return "".join(sign for sign in bare if sign.isprintable())[:120].strip() or "document"


@action(once="document {sha256} {about}")
def _add(
    session: Session, form: DocumentForm, file_name: str, sha256: str, size: int, about: dict[str, int], *, key: str
) -> int:
    document = Document(
        sha256=sha256,
        size=size,
        media_type=MEDIA_TYPES.get(PurePath(file_name).suffix.lower(), UNKNOWN_TYPE),
        name=form.name or file_name,
        kind=form.kind,
        dated_on=form.dated_on,
        valid_until=form.valid_until,
        note=form.note,
        added_by=form.by,
        added_at=now(),
        links=[_link(about)],
    )
    session.add(document)
    session.flush()
    return document.id


def _link(about: dict[str, int]) -> DocumentLink:
    if len(about) != 1 or not set(about) <= set(LINKED):
        raise NotFound("There is nothing here to attach a document to.")
    return DocumentLink(**about)


def get_document(session: Session, document_id: int) -> Document:
    """Return one document.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(Document, document_id, options=[selectinload(Document.links)])
    if found is None:
        raise NotFound("There is no such document.")
    return found


def content_of(store: Store, document: Document) -> bytes:
    """Return the content of a document, proved by its hash.

    Raises:
        Unusable: when the file is gone or is not what was kept.
    """
    return content_of_hash(store, document.sha256, f"document {document.name}")


def content_of_hash(store: Store, sha256: str, what: str) -> bytes:
    """Return the content that has a hash, proved by it; ``what`` names it in the fault.

    Raises:
        Unusable: when the file is gone or is not what was kept.
    """
    try:
        data = path_of(files_folder(store), sha256).read_bytes()
    except OSError as error:
        raise Unusable(f"the file of the {what} is missing; restore it from a backup") from error
    if hashlib.sha256(data).hexdigest() != sha256:
        raise Unusable(f"the file of the {what} is damaged; restore it from a backup")
    return data


def documents_about(session: Session, **about: int) -> Sequence[Document]:
    """Return the documents of one thing that are not retired, newest first; ``lot_id=3`` and so on."""
    ((column, value),) = about.items()
    linked = select(DocumentLink.document_id).where(getattr(DocumentLink, column) == value)
    asked = select(Document).where(Document.id.in_(linked), Document.retired_at.is_(None))
    return session.scalars(asked.order_by(Document.id.desc())).all()


@action()
def retire_document(session: Session, document_id: int, *, back: bool = False) -> str:
    """Put a document away, or bring it back, and return its title; its content stays.

    Raises:
        NotFound: when there is none.
    """
    document = get_document(session, document_id)
    document.retired_at = None if back else document.retired_at or now()
    return document.name


@dataclass(frozen=True, slots=True)
class WantedDocument:
    """A document that is missing or out of date, and the page where it is added."""

    what: str
    about: str
    path: str


def wanted_documents(session: Session) -> list[WantedDocument]:
    """Return which documents are wanted for what is on hand and on the shelf.

    An allergen sheet for every perfume and essential oil; a safety data sheet, not older than three years (common
    practice), for every material with lots on hand; a certificate for every lot on hand that was bought; and whatever
    says of itself that it is no longer valid.
    """
    kinds = _kinds_by_thing(session)
    held = set(session.scalars(select(Lot.material_id).where(Lot.on_hand > Decimal(0)).distinct()))
    found = _wanted_of_materials(session, kinds, held)
    bought = (
        select(Lot.id, Lot.code, Material.name)
        .join(Material, Material.id == Lot.material_id)
        .where(Lot.on_hand > Decimal(0), Lot.from_batch_id.is_(None), Lot.supplier_id.is_not(None))
        .order_by(Material.name_key, Lot.id)
    )
    for lot_id, code, name in session.execute(bought):
        if DocumentKind.CERTIFICATE not in kinds.get(("lot_id", lot_id), {}):
            path = f"/stock/lots/{lot_id}"
            found.append(WantedDocument("certificate of analysis", f"{name}, lot {code}", path))
    old = select(Document).where(Document.valid_until < today(), Document.retired_at.is_(None)).order_by(Document.id)
    found += [WantedDocument("no longer valid", one.name, f"/stock/documents/{one.id}") for one in session.scalars(old)]
    return found


Kinds = dict[tuple[str, int], dict[DocumentKind, date]]


def _wanted_of_materials(session: Session, kinds: Kinds, held: set[int | None]) -> list[WantedDocument]:
    found: list[WantedDocument] = []
    fragrant = _without_allergens(session)
    named = select(Material.id, Material.name).where(Material.retired_at.is_(None)).order_by(Material.name_key)
    for material_id, name in session.execute(named):
        have, path = kinds.get(("material_id", material_id), {}), f"/materials/{material_id}"
        if material_id in fragrant and DocumentKind.ALLERGENS not in have:
            found.append(WantedDocument("allergen sheet", name, path))
        if material_id in held:
            newest = have.get(DocumentKind.DATA_SHEET)
            if newest is None:
                found.append(WantedDocument("safety data sheet", name, path))
            elif newest < today() - AGED:
                found.append(WantedDocument("safety data sheet older than three years", name, path))
    return found


def _without_allergens(session: Session) -> set[int]:
    """Return the materials that a supplier gives an allergen sheet for, and none was typed in."""
    index = allergen_index("EU")
    sheets = set(session.scalars(select(MaterialPart.material_id).join(PartAllergen).distinct()))
    fragrant = {
        material_id
        for material_id, inci, kind in session.execute(
            select(MaterialPart.material_id, MaterialPart.inci, MaterialPart.kind)
        )
        if kind in (PartKind.PERFUME, PartKind.FLAVOUR) or index.kind_of(inci) in ("perfume", "essential oil")
    }
    return fragrant - sheets


def _kinds_by_thing(session: Session) -> Kinds:
    """Return which kinds of document each material and lot has, with the newest date of each."""
    found: Kinds = {}
    rows: Any = session.execute(
        select(DocumentLink.material_id, DocumentLink.lot_id, Document.kind, Document.dated_on, Document.added_at)
        .join(Document, Document.id == DocumentLink.document_id)
        .where(Document.retired_at.is_(None))
    )
    for material_id, lot_id, kind, dated_on, added_at in rows:
        thing = ("material_id", material_id) if material_id else ("lot_id", lot_id or 0)
        day = dated_on or added_at.date()
        kinds = found.setdefault(thing, {})
        kinds[kind] = max(day, kinds.get(kind) or day)
    return found


NAMES: dict[str, tuple[Any, str]] = {
    "material": (Material, "name"),
    "lot": (Lot, "code"),
    "supplier": (Supplier, "name"),
    "batch": (Batch, "number"),
    "product": (Product, "name"),
}


def name_of(session: Session, kind: str, thing_id: int) -> str:
    """Return what a thing is called that documents are about.

    Raises:
        NotFound: when there is none.
    """
    model, attribute = NAMES[kind]
    found = session.get(model, thing_id)
    if found is None:
        raise NotFound(f"There is no such {kind}.")
    return str(getattr(found, attribute))


def download_name(document: Document) -> str:
    """Return a plain name for saving a document, with the ending of what it is; none is added where that is unknown."""
    ending = next((end for end, media in MEDIA_TYPES.items() if media == document.media_type), "")
    name = _plain_name(document.name)
    return name if PurePath(name).suffix.lower() in MEDIA_TYPES else f"{name}{ending}"
