"""Batch records: what was planned, what was done, and the history that is only ever added to."""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from sqlalchemy import CheckConstraint, Index
from sqlalchemy.orm import Mapped, mapped_column, relationship
from sqlalchemy.orm.attributes import flag_modified

from app.store.base import (
    STRICT,
    Amount,
    Base,
    Key,
    MaybeAmount,
    MaybeMoment,
    Words,
    above_zero,
    not_blank,
    number_between,
    one_of,
    reference,
)
from app.store.formulas import FormulaVersion
from app.store.types import Day, Word


class BatchState(StrEnum):
    """Where a batch stands."""

    PLANNED = "planned"
    IN_PROCESS = "in process"
    RELEASED = "released"
    REJECTED = "rejected"


class ReadingKind(StrEnum):
    """What was observed."""

    PH = "pH"
    APPEARANCE = "appearance"
    TEMPERATURE = "temperature"
    WEIGHT = "weight"
    OTHER = "other"


class Batch(Base):
    """One batch of one version of a formula; its number is issued once."""

    __tablename__ = "batch"
    __table_args__ = (
        not_blank("number"),
        one_of("state", BatchState),
        above_zero("size_g"),
        above_zero("fill_g"),
        number_between("loss_percent", 0, 99),
        CheckConstraint("(state IN ('released', 'rejected')) = (decided_at IS NOT NULL)", name="decision_is_dated"),
        STRICT,
    )

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(unique=True)
    version_id: Mapped[int] = reference("formula_version.id")
    state: Mapped[BatchState] = mapped_column(Word(BatchState), default=BatchState.PLANNED)
    size_g: Mapped[Amount]
    size_text: Mapped[Words]
    loss_percent: Mapped[Amount] = mapped_column(default=Decimal(0))
    fill_g: Mapped[MaybeAmount]
    planned_on: Mapped[date] = mapped_column(Day)
    made_by: Mapped[Words]
    yield_g: Mapped[MaybeAmount]
    created_at: Mapped[datetime]
    started_at: Mapped[MaybeMoment]
    decided_at: Mapped[MaybeMoment]
    decided_by: Mapped[Words]
    row_version: Mapped[int] = mapped_column(default=1)

    version: Mapped[FormulaVersion] = relationship()
    lines: Mapped[list["BatchLine"]] = relationship(
        order_by="BatchLine.position", cascade="all, delete-orphan", passive_deletes=True
    )
    readings: Mapped[list["BatchReading"]] = relationship(
        order_by="BatchReading.id", cascade="all, delete-orphan", passive_deletes=True
    )
    history: Mapped[list["BatchEvent"]] = relationship(
        order_by="BatchEvent.id", cascade="all, delete-orphan", passive_deletes=True
    )
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once

    def log(self, what: str, *, by: str, at: datetime, old: str = "", new: str = "", why: str = "") -> None:
        """Add a line to the history."""
        self.history.append(BatchEvent(at=at, by=by.strip(), what=what, old=old, new=new, why=why.strip()))

    def touch(self) -> None:
        """Count the record as changed although only its parts were, so that an older form is recognised."""
        flag_modified(self, "made_by")

    def start(self, *, by: str, at: datetime) -> None:
        """Note that work began, where it had not; the record counts as changed."""
        if self.state is BatchState.PLANNED:
            self.state, self.started_at = BatchState.IN_PROCESS, at
            self.log("state", by=by, at=at, old="planned", new="in process")
        self.touch()

    def record(self, reading: "BatchReading", *, by: str, why: str = "") -> None:
        """Take a reading into the record and its history."""
        self.readings.append(reading)
        self.log(f"reading: {reading.kind.value}", by=by, at=reading.taken_at, new=reading.words, why=why)


class BatchLine(Base):
    """A line to weigh: the target, what the scale shows, what went in, from which lot.

    ``step_g`` is the step of the scale it was planned on, ``advice`` what to do where that scale cannot show the
    weight; both as they were planned. ``line_key`` names the line of the version, empty for one added at the bench.
    """

    __tablename__ = "batch_line"
    __table_args__ = (
        Index("uq_batch_line_place", "batch_id", "position", unique=True),
        number_between("percent", 0, 100),
        number_between("target_g", 0, None),
        number_between("shown_g", 0, None),
        number_between("actual_g", 0, None),
        STRICT,
    )

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")
    position: Mapped[int]
    line_key: Mapped[Words]
    phase: Mapped[str]
    material_id: Mapped[int] = reference("material.id")
    name: Mapped[str]
    percent: Mapped[Amount]
    target_g: Mapped[Amount]
    shown_g: Mapped[Amount]
    scale: Mapped[Words]
    step_g: Mapped[Amount] = mapped_column(default=Decimal("0.01"))
    advice: Mapped[Words]
    added_at_bench: Mapped[bool] = mapped_column(default=False)
    actual_g: Mapped[MaybeAmount]
    lot_code: Mapped[Words]
    initials: Mapped[Words]
    weighed_at: Mapped[MaybeMoment]


class BatchReading(Base):
    """An observation: a pH, a look, a temperature, a weight."""

    __tablename__ = "batch_reading"
    __table_args__ = (one_of("kind", ReadingKind), not_blank("words"), STRICT)

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")
    kind: Mapped[ReadingKind] = mapped_column(Word(ReadingKind))
    value: Mapped[MaybeAmount]
    words: Mapped[str]
    temperature_c: Mapped[MaybeAmount]
    taken_at: Mapped[datetime]
    taken_by: Mapped[Words]


class BatchEvent(Base):
    """A line of the history: what changed from what to what, who, when and why. Never altered."""

    __tablename__ = "batch_event"
    __table_args__ = (not_blank("what"), STRICT)

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")
    at: Mapped[datetime]
    by: Mapped[Words]
    what: Mapped[str]
    old: Mapped[Words]
    new: Mapped[Words]
    why: Mapped[Words]
