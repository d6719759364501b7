"""Time that people worked on a batch or on one of its packing runs; a wrong row is cancelled, never altered."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.store.base import STRICT, Base, Key, MaybeMoment, Words, not_blank, reference
from app.store.types import IsoDay


class WorkedTime(Base):
    """Minutes of one person on a day: at a packing run where it is named, else at making the batch."""

    __tablename__ = "worked_time"
    __table_args__ = (
        not_blank("worked_by"),
        CheckConstraint("minutes >= 1", name="minutes_from_one"),
        CheckConstraint("(cancelled_at IS NULL) = (length(trim(cancelled_why)) = 0)", name="cancelled_with_reason"),
        STRICT,
    )

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id")
    run_id: Mapped[int | None] = reference("packing_run.id", nullable=True)
    worked_on: Mapped[date] = mapped_column(IsoDay)
    minutes: Mapped[int]
    worked_by: Mapped[str]
    note: Mapped[Words]
    created_at: Mapped[datetime]
    cancelled_at: Mapped[MaybeMoment]
    cancelled_by: Mapped[Words]
    cancelled_why: Mapped[Words]


def worked_times(session: Session, batch_id: int) -> list[WorkedTime]:
    """Return the time that was noted for a batch, in the order it was noted."""
    return list(session.scalars(select(WorkedTime).where(WorkedTime.batch_id == batch_id).order_by(WorkedTime.id)))
