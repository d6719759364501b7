"""Recalls and cases: records beside batches that stay what they were, with histories that are only added to."""

from datetime import date, datetime
from enum import StrEnum

from sqlalchemy import CheckConstraint, Index
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import STRICT, Base, Key, MaybeMoment, Words, enum_check, not_blank, reference
from app.store.batches import Batch
from app.store.distribution import Receiver
from app.store.errors import NotFound
from app.store.products import Product
from app.store.stock import Lot
from app.store.types import IsoDay, Word
from app.store.workshop import Jurisdiction


class CaseKind(StrEnum):
    """What a case is about."""

    COMPLAINT = "complaint"
    EFFECT = "undesirable effect"
    RETURN = "return"


class NoticeWay(StrEnum):
    """How a receiver was told of a recall."""

    MAIL = "e-mail"
    PHONE = "telephone"
    LETTER = "letter"
    IN_PERSON = "in person"


class Recall(Base):
    """A recall, or a mock one: why, how far, when it began and ended, and what it brought back.

    ``listed_at`` is when the list of receivers was complete; the units are those counted when it was closed.
    """

    __tablename__ = "recall"
    __table_args__ = (
        not_blank("number"),
        not_blank("reason"),
        CheckConstraint("(closed_at IS NULL) = (length(trim(closed_by)) = 0)", name="closing_is_signed"),
        CheckConstraint("closed_at IS NULL OR units_sent IS NOT NULL", name="closed_with_figures"),
        STRICT,
    )

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(unique=True)
    is_mock: Mapped[bool] = mapped_column(default=False)
    reason: Mapped[str]
    scope: Mapped[Words]
    to_do: Mapped[Words]
    opened_at: Mapped[datetime]
    opened_by: Mapped[Words]
    listed_at: Mapped[MaybeMoment]
    listed_by: Mapped[Words]
    closed_at: Mapped[MaybeMoment]
    closed_by: Mapped[Words]
    conclusion: Mapped[Words]
    units_sent: Mapped[int | None]
    units_reached: Mapped[int | None]
    units_returned: Mapped[int | None]
    row_version: Mapped[int] = mapped_column(default=1)

    lots: Mapped[list["RecallLot"]] = relationship(order_by="RecallLot.lot_id", lazy="selectin")
    batches: Mapped[list["RecallBatch"]] = relationship(order_by="RecallBatch.batch_id")
    notices: Mapped[list["RecallNotice"]] = relationship(order_by="RecallNotice.id")
    history: Mapped[list["RecallEvent"]] = relationship(order_by="RecallEvent.id")
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once

    def log(self, what: str, *, by: str, at: datetime, new: str = "") -> None:
        """Add a line to the history."""
        self.history.append(RecallEvent(at=at, by=by.strip(), what=what, new=new))


class RecallLot(Base):
    """A lot that a recall began from."""

    __tablename__ = "recall_lot"
    __table_args__ = (Index("uq_recall_lot", "recall_id", "lot_id", unique=True), STRICT)

    id: Mapped[Key]
    recall_id: Mapped[int] = reference("recall.id")
    lot_id: Mapped[int] = reference("lot.id")

    lot: Mapped[Lot] = relationship(lazy="selectin")


class RecallBatch(Base):
    """A batch that is recalled, and whether it was named or found from a lot or an earlier batch."""

    __tablename__ = "recall_batch"
    __table_args__ = (Index("uq_recall_batch", "recall_id", "batch_id", unique=True), STRICT)

    id: Mapped[Key]
    recall_id: Mapped[int] = reference("recall.id")
    batch_id: Mapped[int] = reference("batch.id")
    named: Mapped[bool] = mapped_column(default=False)

    batch: Mapped[Batch] = relationship(lazy="select")


class RecallNotice(Base):
    """That a receiver was told of a recall: how, when, by whom, and whether they were reached."""

    __tablename__ = "recall_notice"
    __table_args__ = (enum_check("how", NoticeWay), STRICT)

    id: Mapped[Key]
    recall_id: Mapped[int] = reference("recall.id")
    receiver_id: Mapped[int] = reference("receiver.id")
    how: Mapped[NoticeWay] = mapped_column(Word(NoticeWay))
    reached: Mapped[bool] = mapped_column(default=False)
    at: Mapped[datetime]
    by: Mapped[Words]


class RecallEvent(Base):
    """A line of a recall's history. Never altered."""

    __tablename__ = "recall_event"
    __table_args__ = (not_blank("what"), STRICT)

    id: Mapped[Key]
    recall_id: Mapped[int] = reference("recall.id")
    at: Mapped[datetime]
    by: Mapped[Words]
    what: Mapped[str]
    new: Mapped[Words]


class CaseFile(Base):
    """A complaint, an undesirable effect or a return: what was told, what was done, and how it ended.

    ``known_on`` is the day the workshop learned of it, from which deadlines run. Who told it is a receiver or nobody:
    what is written here names no person.
    """

    __tablename__ = "case_file"
    __table_args__ = (
        not_blank("number"),
        enum_check("kind", CaseKind),
        enum_check("market", Jurisdiction),
        not_blank("what"),
        CheckConstraint("units IS NULL OR units >= 1", name="units_from_one"),
        CheckConstraint("(closed_at IS NULL) = (length(trim(closed_by)) = 0)", name="closing_is_signed"),
        Index("ix_case_file_known_on", "known_on"),
        STRICT,
    )

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(unique=True)
    kind: Mapped[CaseKind] = mapped_column(Word(CaseKind), default=CaseKind.COMPLAINT)
    known_on: Mapped[date] = mapped_column(IsoDay)
    happened_on: Mapped[date | None] = mapped_column(IsoDay)
    product_id: Mapped[int | None] = reference("product.id", nullable=True)
    product_name: Mapped[Words]
    batch_id: Mapped[int | None] = reference("batch.id", nullable=True)
    receiver_id: Mapped[int | None] = reference("receiver.id", nullable=True)
    market: Mapped[Jurisdiction] = mapped_column(Word(Jurisdiction), default=Jurisdiction.EU)
    units: Mapped[int | None]
    what: Mapped[str]
    person_hurt: Mapped[bool] = mapped_column(default=False)
    is_serious: Mapped[bool] = mapped_column(default=False)
    actions: Mapped[Words]
    reported_on: Mapped[date | None] = mapped_column(IsoDay)
    opened_at: Mapped[datetime]
    opened_by: Mapped[Words]
    closed_at: Mapped[MaybeMoment]
    closed_by: Mapped[Words]
    conclusion: Mapped[Words]
    row_version: Mapped[int] = mapped_column(default=1)

    product: Mapped[Product | None] = relationship(lazy="selectin")
    batch: Mapped[Batch | None] = relationship(lazy="selectin")
    receiver: Mapped[Receiver | None] = relationship(lazy="selectin")
    history: Mapped[list["CaseEvent"]] = relationship(order_by="CaseEvent.id")
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once

    def log(self, what: str, *, by: str, at: datetime, old: str = "", new: str = "") -> None:
        """Add a line to the history."""
        self.history.append(CaseEvent(at=at, by=by.strip(), what=what, old=old, new=new))


class CaseEvent(Base):
    """A line of a case's history. Never altered."""

    __tablename__ = "case_event"
    __table_args__ = (not_blank("what"), STRICT)

    id: Mapped[Key]
    case_id: Mapped[int] = reference("case_file.id")
    at: Mapped[datetime]
    by: Mapped[Words]
    what: Mapped[str]
    old: Mapped[Words]
    new: Mapped[Words]


def get_recall(session: Session, recall_id: int) -> Recall:
    """Return one recall.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(Recall, recall_id)
    if found is None:
        raise NotFound("There is no such recall.")
    return found


def get_case(session: Session, case_id: int) -> CaseFile:
    """Return one case.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(CaseFile, case_id)
    if found is None:
        raise NotFound("There is no such case.")
    return found
