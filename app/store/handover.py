"""What was brought in from files, so that it can be taken back as a whole."""

from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.store.base import STRICT, Base, Key, MaybeMoment, Words, not_blank, reference


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


class ImportedRecord(Base):
    """A version, lot or batch that came in with a file; ``kind`` is its table.

    Triggers of migration 0020 let such a record be deleted only once its import is marked as undone, and refuse
    corrections of a batch that was made elsewhere.
    """

    __tablename__ = "imported_record"
    __table_args__ = (not_blank("kind"), STRICT)

    kind: Mapped[str] = mapped_column(primary_key=True)
    record_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    import_id: Mapped[int] = reference("formula_import.id")


def import_of(session: Session, kind: str, record_id: int) -> FormulaImport | None:
    """Return the import that a version, lot or batch came in with; None for one of this workshop."""
    asked = select(FormulaImport).join(ImportedRecord, ImportedRecord.import_id == FormulaImport.id)
    return session.scalar(asked.where(ImportedRecord.kind == kind, ImportedRecord.record_id == record_id))
