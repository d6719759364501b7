"""Printed lists that were read, and the names that were taught while reading them."""

from datetime import datetime

from sqlalchemy.orm import Mapped, mapped_column

from app.store.base import STRICT, Base, Key, Words, enum_check, not_blank, reference
from app.store.types import Word
from app.store.workshop import Jurisdiction


class LabelList(Base):
    """A printed list as it was pasted, with what the maker knows of it; ``known`` is JSON by name."""

    __tablename__ = "label_list"
    __table_args__ = (not_blank("title"), not_blank("text"), enum_check("jurisdiction", Jurisdiction), STRICT)

    id: Mapped[Key]
    title: Mapped[str]
    text: Mapped[str]
    product_type: Mapped[Words]
    jurisdiction: Mapped[Jurisdiction] = mapped_column(Word(Jurisdiction), default=Jurisdiction.EU)
    known: Mapped[str] = mapped_column(default="{}")
    created_at: Mapped[datetime]
    changed_at: Mapped[datetime]
    row_version: Mapped[int] = mapped_column(default=1)
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once


class StartedFormula(Base):
    """A formula that was started from a printed list."""

    __tablename__ = "started_formula"
    __table_args__ = (STRICT,)

    id: Mapped[Key]
    label_list_id: Mapped[int] = reference("label_list.id", on_delete="CASCADE")
    formula_id: Mapped[int] = reference("formula.id", on_delete="CASCADE")
    started_at: Mapped[datetime]


class TaughtName(Base):
    """What a printed name means here: taught once, used at every later reading."""

    __tablename__ = "taught_name"
    __table_args__ = (not_blank("printed_key"), not_blank("inci"), STRICT)

    printed_key: Mapped[str] = mapped_column(primary_key=True)
    inci: Mapped[str]
    taught_at: Mapped[datetime]
