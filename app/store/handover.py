"""What was brought in from files, so that it can be taken back as a whole."""

from datetime import datetime

from sqlalchemy.orm import Mapped, mapped_column

from app.store.base import STRICT, Base, Key, MaybeMoment, Words, not_blank


class FormulaImport(Base):
    """A file of formulas that was taken: when, by whom, what it wrote (ids and steps as JSON), and when taken back."""

    __tablename__ = "formula_import"
    __table_args__ = (not_blank("content"), STRICT)

    id: Mapped[Key]
    taken_at: Mapped[datetime]
    taken_by: Mapped[Words]
    file_name: Mapped[Words]
    summary: Mapped[Words]
    content: Mapped[str]
    undone_at: Mapped[MaybeMoment] = mapped_column(default=None)
