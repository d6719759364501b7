"""Where finished units went: receivers, what was sent out or came back, and the files it was typed from."""

from datetime import date, datetime
from enum import StrEnum

from sqlalchemy import CheckConstraint, Index, case
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import STRICT, Base, Key, MaybeMoment, Words, enum_check, reference
from app.store.batches import Batch
from app.store.errors import NotFound
from app.store.packing import PackingRun
from app.store.products import Product
from app.store.types import IsoDay, Word


class ReceiverKind(StrEnum):
    """Who receives: somebody who uses it, or a shop that sells it on."""

    PERSON = "person"
    SHOP = "shop"


class DispatchKind(StrEnum):
    """Why units went out; ``returned`` is what came back."""

    SALE = "sale"
    GIFT = "gift"
    SAMPLE = "sample"
    RETURNED = "returned"


class Receiver(Base):
    """Who received units, with no more than is needed to reach them.

    Who asks to be forgotten loses name and contact; the row stays, so that the units still lead somewhere.
    """

    __tablename__ = "receiver"
    __table_args__ = (
        enum_check("kind", ReceiverKind),
        CheckConstraint(
            "(forgotten_at IS NULL AND length(trim(name)) > 0) OR "
            "(forgotten_at IS NOT NULL AND length(name) = 0 AND length(contact) = 0)",
            name="named_or_forgotten",
        ),
        Index("ix_receiver_name", "name"),
        STRICT,
    )

    id: Mapped[Key]
    kind: Mapped[ReceiverKind] = mapped_column(Word(ReceiverKind), default=ReceiverKind.PERSON)
    name: Mapped[Words]
    contact: Mapped[Words]
    created_at: Mapped[datetime]
    forgotten_at: Mapped[MaybeMoment]
    import_id: Mapped[int | None] = reference("dispatch_import.id", nullable=True)
    row_version: Mapped[int] = mapped_column(default=1)

    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once

    @property
    def words(self) -> str:
        """Who it is; of one who was forgotten, that and a number."""
        return self.name or f"forgotten receiver {self.id}"


class DispatchImport(Base):
    """A file of dispatches that was taken; what it wrote names it, so that it can be taken back as a whole."""

    __tablename__ = "dispatch_import"
    __table_args__ = (CheckConstraint("lines >= 1", name="lines_from_one"), STRICT)

    id: Mapped[Key]
    taken_at: Mapped[datetime]
    taken_by: Mapped[Words]
    file_name: Mapped[Words]
    lines: Mapped[int]
    undone_at: Mapped[MaybeMoment]


class Dispatch(Base):
    """Units of a batch that went out or came back; a line stays as it is, and a wrong one is cancelled with a reason.

    ``product_name`` is what the units were packed as; ``run_id`` is the packing run where it is known; ``recall_id``
    the recall that units came back for.
    """

    __tablename__ = "dispatch"
    __table_args__ = (
        enum_check("kind", DispatchKind),
        CheckConstraint("units >= 1", name="units_from_one"),
        CheckConstraint("recall_id IS NULL OR kind = 'returned'", name="recall_brings_back"),
        CheckConstraint("(cancelled_at IS NULL) = (length(trim(cancelled_why)) = 0)", name="cancelled_with_reason"),
        STRICT,
    )

    id: Mapped[Key]
    kind: Mapped[DispatchKind] = mapped_column(Word(DispatchKind), default=DispatchKind.SALE)
    batch_id: Mapped[int] = reference("batch.id")
    product_id: Mapped[int] = reference("product.id")
    product_name: Mapped[Words]
    run_id: Mapped[int | None] = reference("packing_run.id", nullable=True)
    receiver_id: Mapped[int | None] = reference("receiver.id", nullable=True)
    units: Mapped[int]
    sent_on: Mapped[date] = mapped_column(IsoDay, index=True)
    order_number: Mapped[Words]
    by: Mapped[Words]
    created_at: Mapped[datetime]
    import_id: Mapped[int | None] = reference("dispatch_import.id", nullable=True)
    recall_id: Mapped[int | None] = reference("recall.id", nullable=True)
    cancelled_at: Mapped[MaybeMoment]
    cancelled_by: Mapped[Words]
    cancelled_why: Mapped[Words]

    batch: Mapped[Batch] = relationship(lazy="selectin")
    product: Mapped[Product] = relationship(lazy="selectin")
    run: Mapped[PackingRun | None] = relationship(lazy="select")
    receiver: Mapped[Receiver | None] = relationship(lazy="selectin")

    @property
    def signed_units(self) -> int:
        """The units that left; below zero for what came back."""
        return -self.units if self.kind is DispatchKind.RETURNED else self.units


STANDS = Dispatch.cancelled_at.is_(None)
# The units that left; below zero for what came back.
SIGNED = case((Dispatch.kind == DispatchKind.RETURNED, -Dispatch.units), else_=Dispatch.units)


def get_receiver(session: Session, receiver_id: int) -> Receiver:
    """Return one receiver.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(Receiver, receiver_id)
    if found is None:
        raise NotFound("There is no such receiver.")
    return found


def get_dispatch(session: Session, dispatch_id: int) -> Dispatch:
    """Return one dispatch.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(Dispatch, dispatch_id)
    if found is None:
        raise NotFound("There is no such dispatch.")
    return found
