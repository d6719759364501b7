"""Lots and their ledger, suppliers, orders, and documents held by their content.

The ledger is only ever added to; the schema itself keeps ``lot.on_hand`` equal to the sum of a lot's moves and never
below zero. Amounts are grams, or pieces for packaging, kept as whole millionths so that they add up exactly in SQL.
"""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING

from sqlalchemy import CheckConstraint, Index, Select, column, or_, select, table, text
from sqlalchemy.orm import Mapped, Session, column_property, mapped_column, relationship

from app.store.base import (
    STRICT,
    Base,
    Key,
    MaybeAmount,
    MaybeMoment,
    Words,
    enum_check,
    not_blank,
    number_between,
    reference,
)
from app.store.batches import Batch
from app.store.errors import NotFound
from app.store.growing import EventColumns, WithHistory, event_rules
from app.store.materials import MaterialRow, PackagingRow
from app.store.types import IsoDay, Millionths, Word, day_text

HELD = text("on_hand > 0")
# The same as a condition of a query: written out, since a value that is bound lets no partial index serve.
HOLDS = text("(lot.on_hand > 0)")


class LotState(StrEnum):
    """Whether a lot may be used (ISO 22716, 6.4.3 and 6.5: kept apart until it is accepted)."""

    QUARANTINE = "quarantine"
    ACCEPTED = "accepted"
    REFUSED = "refused"

    @property
    def shown(self) -> str:
        """The state in the word of the standard: what is refused is called rejected."""
        return "rejected" if self is LotState.REFUSED else self.value


class MoveKind(StrEnum):
    """Why the amount of a lot changed."""

    RECEIVED = "received"
    MADE = "made"
    WEIGHED_OUT = "weighed out"
    USED = "used"
    RETURNED = "returned"
    COUNTED = "counted"
    SPILLED = "spilled"
    DISCARDED = "discarded"


class DocumentKind(StrEnum):
    """What a document is."""

    DATA_SHEET = "safety data sheet"
    CERTIFICATE = "certificate of analysis"
    ALLERGENS = "allergen sheet"
    SPECIFICATION = "specification"
    COMPOSITION = "composition"
    ARTWORK = "artwork"
    TEST = "test report"
    ORDER = "order or invoice"
    OTHER = "other"


class OrderState(StrEnum):
    """Where an order stands."""

    OPEN = "open"
    RECEIVED = "received"
    CANCELLED = "cancelled"


class Supplier(Base):
    """Who materials and packaging are bought from."""

    __tablename__ = "supplier"
    __table_args__ = (not_blank("name"), number_between("delivery_days", 0, 3650), STRICT)

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(unique=True)
    contact: Mapped[Words]
    address: Mapped[Words]
    delivery_days: Mapped[MaybeAmount]
    notes: Mapped[Words]
    retired_at: Mapped[MaybeMoment]


class Lot(WithHistory, Base):
    """One delivery of a material or of packaging, or what a batch made; a batch's output may be a material too."""

    __tablename__ = "lot"
    __table_args__ = (
        not_blank("code"),
        enum_check("state", LotState),
        number_between("paid", 0, 1e12),
        CheckConstraint("on_hand >= 0", name="on_hand_not_negative"),
        CheckConstraint(
            "(packaging_id IS NOT NULL AND material_id IS NULL AND from_batch_id IS NULL) OR "
            "(packaging_id IS NULL AND (material_id IS NOT NULL OR from_batch_id IS NOT NULL))",
            name="of_one_thing",
        ),
        CheckConstraint("(state = 'quarantine') = (decided_at IS NULL)", name="decision_is_dated"),
        Index("ix_lot_due", "expires_on", "retest_on"),
        Index("ix_lot_held", "material_id", "packaging_id", sqlite_where=HELD, postgresql_where=HELD),
        Index("ix_lot_held_due", "state", "expires_on", "retest_on", sqlite_where=HELD, postgresql_where=HELD),
        Index("ix_lot_supplier_lot", "supplier_lot"),
        STRICT,
    )

    id: Mapped[Key]
    code: Mapped[str] = mapped_column(unique=True)
    material_id: Mapped[int | None] = reference("material.id", nullable=True)
    packaging_id: Mapped[int | None] = reference("packaging.id", nullable=True)
    from_batch_id: Mapped[int | None] = reference("batch.id", nullable=True)
    supplier_id: Mapped[int | None] = reference("supplier.id", nullable=True)
    supplier_lot: Mapped[Words]
    received_on: Mapped[date] = mapped_column(IsoDay)
    amount_text: Mapped[Words]
    paid: Mapped[MaybeAmount]
    currency: Mapped[Words]
    opened_on: Mapped[date | None] = mapped_column(IsoDay)
    expires_on: Mapped[date | None] = mapped_column(IsoDay)
    retest_on: Mapped[date | None] = mapped_column(IsoDay)
    place: Mapped[Words]
    notes: Mapped[Words]
    composition: Mapped[Words]
    state: Mapped[LotState] = mapped_column(Word(LotState), default=LotState.QUARANTINE)
    decided_by: Mapped[Words]
    decided_at: Mapped[MaybeMoment]
    decided_why: Mapped[Words]
    on_hand: Mapped[Decimal] = mapped_column(Millionths, default=Decimal(0))
    created_at: Mapped[datetime]
    row_version: Mapped[int] = mapped_column(default=1)

    material: Mapped[MaterialRow | None] = relationship(lazy="selectin")
    packaging: Mapped[PackagingRow | None] = relationship(lazy="selectin")
    from_batch: Mapped[Batch | None] = relationship(lazy="selectin")
    supplier: Mapped[Supplier | None] = relationship(lazy="selectin")
    moves: Mapped[list["StockMove"]] = relationship(order_by="StockMove.id", passive_deletes="all")
    history: Mapped[list["LotEvent"]] = relationship(order_by="LotEvent.id", passive_deletes="all")
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once
    if TYPE_CHECKING:
        # The number of an open recall that the lot belongs to; mapped below.
        recalled_in: Mapped[str | None]

    @property
    def unit(self) -> str:
        """What its amounts are counted in: ``g``, or ``pieces`` for packaging."""
        return "g" if self.packaging_id is None else "pieces"

    @property
    def name(self) -> str:
        """What is in it."""
        if self.material is not None:
            return self.material.name
        if self.packaging is not None:
            return self.packaging.name
        return f"Bulk of batch {self.from_batch.number}" if self.from_batch else ""

    def decide(self, state: LotState, *, by: str, at: datetime, why: str = "") -> None:
        """Accept or reject the lot, or put it back into quarantine; the history keeps what was decided before."""
        self.log("state", by=by, at=at, old=self.state.value, new=state.value, why=why)
        open_again = state is LotState.QUARANTINE
        self.state, self.decided_by, self.decided_why = state, "" if open_again else by.strip(), why.strip()
        self.decided_at = None if open_again else at

    @property
    def good_until(self) -> date | None:
        """The earlier of its expiry and its re-test date."""
        return min((day for day in (self.expires_on, self.retest_on) if day), default=None)

    def why_not(self, today: date) -> str:
        """Return what speaks against using the lot today, in words; empty when nothing does."""
        if self.state is not LotState.ACCEPTED:
            return "in quarantine" if self.state is LotState.QUARANTINE else self.state.shown
        if self.recalled_in:
            return f"under recall {self.recalled_in}"
        if self.expires_on and self.expires_on < today:
            return f"expired on {day_text(self.expires_on)}"
        if self.retest_on and self.retest_on < today:
            return f"to be re-tested since {day_text(self.retest_on)}"
        return ""


# The tables of `store.quality`, which knows lots and cannot be known here. A recall that is open speaks against the
# lots it began from and against what its batches made; a mock one against none.
_RECALL = table("recall", column("id"), column("number"), column("closed_at"), column("is_mock"))
_RECALL_LOT = table("recall_lot", column("recall_id"), column("lot_id"))
_RECALL_BATCH = table("recall_batch", column("recall_id"), column("batch_id"))
_OF_LOT = select(_RECALL_LOT.c.recall_id).where(_RECALL_LOT.c.lot_id == Lot.id).correlate(Lot)
_OF_BATCH = select(_RECALL_BATCH.c.recall_id).where(_RECALL_BATCH.c.batch_id == Lot.from_batch_id).correlate(Lot)


def open_recall(*of: Select[int]) -> Select[str]:
    """Select the number of the first recall that is open and no mock one, of those whose ids ``of`` selects."""
    asked = select(_RECALL.c.number).where(_RECALL.c.closed_at.is_(None), _RECALL.c.is_mock == 0)
    return asked.where(or_(*(_RECALL.c.id.in_(ids) for ids in of))).order_by(_RECALL.c.id).limit(1)


Lot.recalled_in = column_property(open_recall(_OF_LOT, _OF_BATCH).correlate(Lot).scalar_subquery())


class StockMove(Base):
    """A line of the ledger: how much came to a lot or left it, why, who and when. Never altered."""

    __tablename__ = "stock_move"
    __table_args__ = (
        enum_check("kind", MoveKind),
        CheckConstraint("amount <> 0 OR kind = 'counted'", name="something_moved"),
        STRICT,
    )

    id: Mapped[Key]
    lot_id: Mapped[int] = reference("lot.id")
    kind: Mapped[MoveKind] = mapped_column(Word(MoveKind))
    amount: Mapped[Decimal] = mapped_column(Millionths)
    at: Mapped[datetime]
    by: Mapped[Words]
    why: Mapped[Words]
    batch_id: Mapped[int | None] = reference("batch.id", nullable=True)
    batch_line_id: Mapped[int | None] = reference("batch_line.id", nullable=True)
    packing_run_id: Mapped[int | None] = reference("packing_run.id", nullable=True)

    batch: Mapped[Batch | None] = relationship(lazy="selectin")


class LotEvent(EventColumns, Base):
    """A line of a lot's history: what changed from what to what, who, when and why. Never altered."""

    __tablename__ = "lot_event"
    __table_args__ = event_rules()

    id: Mapped[Key]
    lot_id: Mapped[int] = reference("lot.id")


class Purchase(Base):
    """An order to a supplier, in the currency the supplier is paid in."""

    __tablename__ = "purchase"
    __table_args__ = (not_blank("number"), enum_check("state", OrderState), STRICT)

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(unique=True)
    supplier_id: Mapped[int] = reference("supplier.id")
    state: Mapped[OrderState] = mapped_column(Word(OrderState), default=OrderState.OPEN)
    ordered_on: Mapped[date] = mapped_column(IsoDay)
    expected_on: Mapped[date | None] = mapped_column(IsoDay)
    note: Mapped[Words]
    made_by: Mapped[Words]
    currency: Mapped[Words]
    created_at: Mapped[datetime]
    row_version: Mapped[int] = mapped_column(default=1)

    supplier: Mapped[Supplier] = relationship(lazy="selectin")
    lines: Mapped[list["PurchaseLine"]] = relationship(
        order_by="PurchaseLine.position", cascade="all, delete-orphan", passive_deletes=True, lazy="selectin"
    )
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once


class PurchaseLine(Base):
    """What is ordered: an amount of one material or of one packaging, and the lot it became."""

    __tablename__ = "purchase_line"
    __table_args__ = (
        CheckConstraint("(material_id IS NULL) <> (packaging_id IS NULL)", name="of_one_thing"),
        CheckConstraint("amount > 0", name="amount_above_zero"),
        number_between("price", 0, 1e12),
        Index("uq_purchase_line_place", "purchase_id", "position", unique=True),
        STRICT,
    )

    id: Mapped[Key]
    purchase_id: Mapped[int] = reference("purchase.id", on_delete="CASCADE")
    position: Mapped[int]
    material_id: Mapped[int | None] = reference("material.id", nullable=True)
    packaging_id: Mapped[int | None] = reference("packaging.id", nullable=True)
    amount: Mapped[Decimal] = mapped_column(Millionths)
    amount_text: Mapped[Words]
    price: Mapped[MaybeAmount]
    lot_id: Mapped[int | None] = reference("lot.id", nullable=True)

    material: Mapped[MaterialRow | None] = relationship(lazy="selectin")
    packaging: Mapped[PackagingRow | None] = relationship(lazy="selectin")
    lot: Mapped[Lot | None] = relationship(lazy="selectin")

    @property
    def name(self) -> str:
        """What is ordered."""
        return self.material.name if self.material else self.packaging.name if self.packaging else ""

    @property
    def unit(self) -> str:
        """``g``, or ``pieces`` for packaging."""
        return "g" if self.packaging_id is None else "pieces"


class Document(Base):
    """A file held by the hash of its content; the bytes lie in the workshop's folder, never under a typed name."""

    __tablename__ = "document"
    __table_args__ = (
        not_blank("name"),
        enum_check("kind", DocumentKind),
        CheckConstraint("length(sha256) = 64", name="sha256_whole"),
        CheckConstraint("size >= 0", name="size_not_negative"),
        STRICT,
    )

    id: Mapped[Key]
    sha256: Mapped[str] = mapped_column(index=True)
    size: Mapped[int]
    media_type: Mapped[Words]
    name: Mapped[str]
    kind: Mapped[DocumentKind] = mapped_column(Word(DocumentKind), default=DocumentKind.OTHER)
    dated_on: Mapped[date | None] = mapped_column(IsoDay)
    valid_until: Mapped[date | None] = mapped_column(IsoDay, index=True)
    note: Mapped[Words]
    added_by: Mapped[Words]
    added_at: Mapped[datetime]
    retired_at: Mapped[MaybeMoment]

    links: Mapped[list["DocumentLink"]] = relationship(cascade="all, delete-orphan", passive_deletes=True)


LINKED = ("material_id", "lot_id", "supplier_id", "batch_id", "product_id")


class DocumentLink(Base):
    """What a document is about: one material, lot, supplier, batch or product a row."""

    __tablename__ = "document_link"
    __table_args__ = (
        CheckConstraint(
            " + ".join(f"(CASE WHEN {column} IS NULL THEN 0 ELSE 1 END)" for column in LINKED) + " = 1",
            name="to_one_thing",
        ),
        STRICT,
    )

    id: Mapped[Key]
    document_id: Mapped[int] = reference("document.id", on_delete="CASCADE")
    material_id: Mapped[int | None] = reference("material.id", nullable=True, on_delete="CASCADE")
    lot_id: Mapped[int | None] = reference("lot.id", nullable=True)
    supplier_id: Mapped[int | None] = reference("supplier.id", nullable=True)
    batch_id: Mapped[int | None] = reference("batch.id", nullable=True)
    product_id: Mapped[int | None] = reference("product.id", nullable=True)

    document: Mapped[Document] = relationship(back_populates="links")


def get_lot(session: Session, lot_id: int) -> Lot:
    """Return one lot.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(Lot, lot_id)
    if found is None:
        raise NotFound("There is no such lot.")
    return found


def lots_by_id(session: Session, ids: set[int]) -> dict[int, Lot]:
    """Return some lots by their ids, in a few statements however many; ids of none are left out."""
    return {lot.id: lot for lot in session.scalars(select(Lot).where(Lot.id.in_(sorted(ids))))}


def lot_of_code(session: Session, code: str) -> Lot | None:
    """Return the lot with this code of ours; None when there is none."""
    return session.scalar(select(Lot).where(Lot.code == code.strip())) if code.strip() else None
