"""What the maker says to the rules: answers to findings, and corrections of shipped values."""

from datetime import datetime

from sqlalchemy import Index
from sqlalchemy.orm import Mapped

from app.store.base import STRICT, Base, Key, Words, not_blank, reference


class FindingAnswer(Base):
    """A written reason given to one finding; it stands while ``fingerprint`` (what was found) stays the same."""

    __tablename__ = "finding_answer"
    __table_args__ = (
        Index("uq_finding_answer_once", "formula_id", "rule", "fingerprint", unique=True),
        not_blank("rule"),
        not_blank("fingerprint"),
        not_blank("reason"),
        STRICT,
    )

    id: Mapped[Key]
    formula_id: Mapped[int] = reference("formula.id", on_delete="CASCADE")
    rule: Mapped[str]
    fingerprint: Mapped[str]
    finding: Mapped[str]
    reason: Mapped[str]
    answered_by: Mapped[Words]
    answered_at: Mapped[datetime]


class ValueCorrection(Base):
    """A shipped value that the maker looked up and put right; the shipped table stays as it is beneath."""

    __tablename__ = "value_correction"
    __table_args__ = (
        Index("uq_value_correction_place", "table_name", "row_key", "column_name", unique=True),
        not_blank("table_name"),
        not_blank("row_key"),
        not_blank("column_name"),
        not_blank("source"),
        STRICT,
    )

    id: Mapped[Key]
    table_name: Mapped[str]
    row_key: Mapped[str]
    column_name: Mapped[str]
    shipped: Mapped[str]
    value: Mapped[str]
    source: Mapped[str]
    corrected_by: Mapped[Words]
    corrected_at: Mapped[datetime]
