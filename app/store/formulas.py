"""Formulas: the draft with its steps back and forth, and the versions kept for good."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, Integer, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.science.rules.values import Exposure as Exposure  # noqa: PLC0414 - a column of this module
from app.store.base import (
    STRICT,
    Amount,
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
from app.store.types import Word

ONE_QS = text("qs = 1")


class FormulaRow(Base):
    """A formula: a name, a short code, and a draft that is always there."""

    __tablename__ = "formula"
    __table_args__ = (
        not_blank("name"),
        not_blank("code"),
        enum_check("exposure", Exposure),
        Index("ix_formula_changed", "changed_at"),
        STRICT,
    )

    id: Mapped[Key]
    code: Mapped[str] = mapped_column(unique=True)
    name: Mapped[str]
    product_type: Mapped[Words]
    exposure: Mapped[Exposure] = mapped_column(Word(Exposure), default=Exposure.LEAVE_ON)
    draft_step: Mapped[int] = mapped_column(default=1)
    created_at: Mapped[datetime]
    changed_at: Mapped[datetime]
    retired_at: Mapped[MaybeMoment]
    row_version: Mapped[int] = mapped_column(default=1)

    steps: Mapped[list["DraftStep"]] = relationship(
        order_by="DraftStep.step", cascade="all, delete-orphan", passive_deletes=True, lazy="select"
    )
    versions: Mapped[list["FormulaVersion"]] = relationship(order_by="FormulaVersion.number", back_populates="formula")
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once


class DraftStep(Base):
    """One state of a draft, as typed; ``row_version`` is the formula's version that this state made."""

    __tablename__ = "draft_step"
    __table_args__ = (
        Index("uq_draft_step_place", "formula_id", "step", unique=True),
        CheckConstraint("step >= 1", name="step_from_one"),
        not_blank("content"),
        STRICT,
    )

    id: Mapped[Key]
    formula_id: Mapped[int] = reference("formula.id", on_delete="CASCADE")
    step: Mapped[int]
    content: Mapped[str]
    change: Mapped[Words]
    editor: Mapped[Words]
    made_at: Mapped[datetime]
    row_version: Mapped[int]


class DraftMaterial(Base):
    """Which materials the draft of a formula uses, so that none of them can be deleted."""

    __tablename__ = "draft_material"
    __table_args__ = (STRICT,)

    formula_id: Mapped[int] = mapped_column(
        Integer, ForeignKey("formula.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    material_id: Mapped[int] = mapped_column(
        Integer, ForeignKey("material.id", ondelete="RESTRICT"), primary_key=True, index=True
    )


class FormulaVersion(Base):
    """A version kept for good: ``value`` is the formula as one JSON text, with everything that bears on a number of it.

    ``content`` is the draft as typed, only to become a draft again. ``filled_at`` is set where the value was not kept
    with the version but filled in later, by a migration, from the numbers that were. ``declared`` are its ingredient
    lists as they were printed from the tables of that day.
    """

    __tablename__ = "formula_version"
    __table_args__ = (
        Index("uq_formula_version_number", "formula_id", "number", unique=True),
        CheckConstraint("number >= 1", name="number_from_one"),
        enum_check("exposure", Exposure),
        not_blank("content"),
        not_blank("value"),
        STRICT,
    )

    id: Mapped[Key]
    formula_id: Mapped[int] = reference("formula.id")
    number: Mapped[int]
    name: Mapped[str]
    exposure: Mapped[Exposure] = mapped_column(Word(Exposure))
    note: Mapped[Words]
    kept_at: Mapped[datetime]
    kept_by: Mapped[Words]
    content: Mapped[str]
    value: Mapped[str]
    filled_at: Mapped[MaybeMoment]
    declared: Mapped[str | None]

    formula: Mapped[FormulaRow] = relationship(back_populates="versions")
    lines: Mapped[list["VersionLine"]] = relationship(
        order_by="VersionLine.position", cascade="all, delete-orphan", passive_deletes=True
    )


class VersionLine(Base):
    """A line of a version: which material, in which phase, at how many percent w/w."""

    __tablename__ = "version_line"
    __table_args__ = (
        Index("uq_version_line_place", "version_id", "position", unique=True),
        Index("uq_version_line_one_qs", "version_id", unique=True, sqlite_where=ONE_QS, postgresql_where=ONE_QS),
        number_between("percent", 0, 100),
        STRICT,
    )

    id: Mapped[Key]
    version_id: Mapped[int] = reference("formula_version.id", on_delete="CASCADE")
    position: Mapped[int]
    line_key: Mapped[str]
    phase: Mapped[str]
    material_id: Mapped[int] = reference("material.id")
    name: Mapped[str]
    percent: Mapped[Amount]
    qs: Mapped[bool] = mapped_column(default=False)
    temperature_c: Mapped[MaybeAmount]


class Branch(Base):
    """From which version of which formula a formula was branched."""

    __tablename__ = "branch"
    __table_args__ = (STRICT,)

    formula_id: Mapped[int] = mapped_column(Integer, ForeignKey("formula.id", ondelete="CASCADE"), primary_key=True)
    version_id: Mapped[int] = reference("formula_version.id")
