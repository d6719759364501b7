"""pH sessions at the bench: every addition and every reading, in the order they were made."""

from datetime import datetime
from enum import StrEnum

from sqlalchemy import CheckConstraint, Index
from sqlalchemy.orm import Mapped, mapped_column, relationship

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
from app.store.types import Word


class EntryKind(StrEnum):
    """What was done at the beaker."""

    ADDITION = "addition"
    READING = "reading"


class PhSession(Base):
    """One guided pH session of a batch: from the first reading to the pH that was wanted."""

    __tablename__ = "ph_session"
    __table_args__ = (
        number_between("target_ph", 0, 14),
        above_zero("batch_g"),
        number_between("water_percent", 0, 100),
        STRICT,
    )

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")
    material_id: Mapped[int] = reference("material.id")
    target_ph: Mapped[Amount]
    batch_g: Mapped[Amount]
    water_percent: Mapped[MaybeAmount]
    started_at: Mapped[datetime]
    started_by: Mapped[Words]
    finished_at: Mapped[MaybeMoment]
    row_version: Mapped[int] = mapped_column(default=1)

    entries: Mapped[list["PhEntry"]] = relationship(
        order_by="PhEntry.position", cascade="all, delete-orphan", passive_deletes=True
    )
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once


class PhEntry(Base):
    """An addition (grams of a material) or a reading (a pH, with what the meter or strip leaves open)."""

    __tablename__ = "ph_entry"
    __table_args__ = (
        Index("uq_ph_entry_place", "session_id", "position", unique=True),
        one_of("kind", EntryKind),
        number_between("grams", 0, None),
        number_between("ph", -1, 15),
        number_between("uncertainty", 0, 3),
        CheckConstraint(
            "(kind = 'addition' AND grams IS NOT NULL AND material_id IS NOT NULL AND ph IS NULL)"
            " OR (kind = 'reading' AND ph IS NOT NULL AND grams IS NULL)",
            name="addition_or_reading",
        ),
        STRICT,
    )

    id: Mapped[Key]
    session_id: Mapped[int] = reference("ph_session.id", on_delete="CASCADE")
    position: Mapped[int]
    kind: Mapped[EntryKind] = mapped_column(Word(EntryKind))
    material_id: Mapped[int | None] = reference("material.id", nullable=True)
    grams: Mapped[MaybeAmount]
    drops: Mapped[MaybeAmount]
    ph: Mapped[MaybeAmount]
    uncertainty: Mapped[MaybeAmount]
    temperature_c: Mapped[MaybeAmount]
    advised_g: Mapped[MaybeAmount]
    at: Mapped[datetime]
    by: Mapped[Words]


class DropWeight(Base):
    """What a drop of a dropper weighs: so many drops of a material weighed so many grams."""

    __tablename__ = "drop_weight"
    __table_args__ = (not_blank("dropper"), above_zero("drops"), above_zero("grams"), STRICT)

    id: Mapped[Key]
    material_id: Mapped[int] = reference("material.id", on_delete="CASCADE")
    dropper: Mapped[str]
    drops: Mapped[Amount]
    grams: Mapped[Amount]
    weighed_at: Mapped[datetime]
