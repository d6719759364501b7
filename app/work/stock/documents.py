"""Documents: files held by the hash of their content, what they are about, and which are wanted.

The bytes lie in the folder ``files`` beside the workshop, two letters of the hash a folder. A file is written under
another name, flushed and then given its own, so that a name always stands for the whole content.
"""

import contextlib
import hashlib
import os
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from enum import StrEnum
from pathlib import Path, PurePath
from typing import Any

from sqlalchemy import ColumnElement, Exists, Select, Unicode, and_, case, cast, func, literal, or_, select
from sqlalchemy.orm import Session, selectinload

from app.reference.allergens import allergen_index
from app.science.composition import PartKind
from app.science.errors import Invalid
from app.store.batches import Batch
from app.store.engine import Store
from app.store.errors import NotFound, Unusable
from app.store.materials import MaterialPart, MaterialRow, PartAllergen
from app.store.products import Product
from app.store.stock import HOLDS, LINKED, Document, DocumentKind, DocumentLink, Lot, Supplier
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults, Form, rule
from app.work.form_fields import MaybeDay, Name, OneOf, ShortText

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

    name = ShortText("Title", hint="Leave empty to use the file name.", width="w20")
    kind = OneOf(
        "Kind of document", DocumentKind, "Choose what kind of document it is.", default=DocumentKind.OTHER.value
    )
    dated_on = MaybeDay("Dated")
    valid_until = MaybeDay("Valid until")
    note = ShortText("Note", longest=500, width="w20")
    by = Name("Added by", "Enter your name or initials.", longest=80, width="w8")

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
    if len(about) != 1 or not set(about) <= set(LINKED):
        raise NotFound("There is nothing here to attach a document to.")
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
        links=[DocumentLink(**about)],
    )
    session.add(document)
    session.flush()
    return document.id


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
    """What a document that is missing or out of date is about, and the page where it is added."""

    about: str
    path: str


class WhyWanted(StrEnum):
    """Why a document is wanted."""

    ALLERGENS = "allergen sheet"
    DATA_SHEET = "safety data sheet"
    OLD_DATA_SHEET = "safety data sheet older than three years"
    CERTIFICATE = "certificate of analysis"
    PAST = "no longer valid"


def wanted_documents(session: Session, why: WhyWanted, skip: int = 0, most: int | None = None) -> list[WantedDocument]:
    """Return which documents of one sort are wanted for what is on hand and on the shelf, by name, a page of them.

    An allergen sheet for every perfume and essential oil; a safety data sheet, not older than three years (common
    practice), for every material with lots on hand; a certificate for every lot on hand that was bought; and whatever
    says of itself that it is no longer valid.
    """
    return [WantedDocument(*row) for row in session.execute(_QUERIES[why](session).offset(skip).limit(most))]


# The line and the address of what is wanted.
Query = Select[str, str]


def _page_of(kind: str, thing_id: Any) -> ColumnElement[str]:
    return literal(f"/stock/documents/about/{kind}/") + cast(thing_id, Unicode)


def _of_materials(*conditions: ColumnElement[bool], page: ColumnElement[str] | None = None) -> Query:
    path = _page_of("material", MaterialRow.id) if page is None else page
    return (
        select(MaterialRow.name, path)
        .where(MaterialRow.retired_at.is_(None), *conditions)
        .order_by(MaterialRow.name_key)
    )


def _has_document(thing: ColumnElement[bool], kind: DocumentKind, *conditions: ColumnElement[bool]) -> Exists:
    """Return whether a thing has a document of a kind that is not put away."""
    linked = select(DocumentLink.id).join(Document, Document.id == DocumentLink.document_id)
    return linked.where(thing, Document.kind == kind, Document.retired_at.is_(None), *conditions).exists()


LINK_COLUMNS = {column: getattr(DocumentLink, column) for column in LINKED}
OF_MATERIAL = DocumentLink.material_id == MaterialRow.id
IS_HELD = select(Lot.id).where(HOLDS, Lot.material_id == MaterialRow.id).exists()


def _wanted_allergens(session: Session) -> Query:
    """Ask for materials that a supplier gives an allergen sheet for, and none was typed in or kept."""
    index = allergen_index("EU")
    names = session.scalars(select(MaterialPart.inci).distinct())
    oils = [inci for inci in names if index.kind_of(inci) in ("perfume", "essential oil")]
    of_kind = MaterialPart.kind.in_((PartKind.PERFUME, PartKind.FLAVOUR))
    fragrant = select(MaterialPart.material_id).where(or_(of_kind, MaterialPart.inci.in_(oils)))
    typed = select(PartAllergen.id).join(MaterialPart).where(MaterialPart.material_id == MaterialRow.id)
    has_sheet = _has_document(OF_MATERIAL, DocumentKind.ALLERGENS)
    # On the page of the material itself a sheet is typed in, and kept.
    page = literal("/materials/") + cast(MaterialRow.id, Unicode)
    return _of_materials(MaterialRow.id.in_(fragrant), ~typed.exists(), ~has_sheet, page=page)


def _wanted_data_sheets(_session: Session) -> Query:
    return _of_materials(IS_HELD, ~_has_document(OF_MATERIAL, DocumentKind.DATA_SHEET))


def _old_data_sheets(_session: Session) -> Query:
    since = today() - AGED
    midnight = datetime.combine(since, time()).astimezone(UTC)
    is_new = or_(Document.dated_on >= since, and_(Document.dated_on.is_(None), Document.added_at >= midnight))
    kept = _has_document(OF_MATERIAL, DocumentKind.DATA_SHEET)
    return _of_materials(kept, IS_HELD, ~_has_document(OF_MATERIAL, DocumentKind.DATA_SHEET, is_new))


def _wanted_certificates(_session: Session) -> Query:
    # Not asked of the columns bare, so that lots are looked up by material and the first page is all that is read.
    bought = (HOLDS, func.coalesce(Lot.from_batch_id, 0) == 0, func.coalesce(Lot.supplier_id, 0) != 0)
    has = _has_document(DocumentLink.lot_id == Lot.id, DocumentKind.CERTIFICATE)
    asked = select(MaterialRow.name + ", lot " + Lot.code, _page_of("lot", Lot.id))
    asked = asked.join_from(MaterialRow, Lot, Lot.material_id == MaterialRow.id)
    return asked.where(MaterialRow.retired_at.is_(None), *bought, ~has).order_by(MaterialRow.name_key, Lot.id)


def _past_documents(_session: Session) -> Query:
    # The page of the first thing it is about, where a new one is added and this one put away.
    pages = [(of.is_not(None), _page_of(column.removesuffix("_id"), of)) for column, of in LINK_COLUMNS.items()]
    first = select(case(*pages)).where(DocumentLink.document_id == Document.id).order_by(DocumentLink.id).limit(1)
    asked = select(Document.name, func.coalesce(first.scalar_subquery(), "/stock/documents"))
    past = asked.where(Document.valid_until < today(), Document.retired_at.is_(None))
    return past.order_by(Document.valid_until, Document.id)


_QUERIES: dict[WhyWanted, Callable[[Session], Query]] = {
    WhyWanted.ALLERGENS: _wanted_allergens,
    WhyWanted.DATA_SHEET: _wanted_data_sheets,
    WhyWanted.OLD_DATA_SHEET: _old_data_sheets,
    WhyWanted.CERTIFICATE: _wanted_certificates,
    WhyWanted.PAST: _past_documents,
}


NAMES: dict[str, tuple[Any, str]] = {
    "material": (MaterialRow, "name"),
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
