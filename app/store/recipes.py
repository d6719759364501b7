"""What a maker adds to the recipe of a formula when handing it on: words, equipment, substitutes and pictures."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import CheckConstraint, Index, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.store.base import STRICT, Base, Key, Words, not_blank, reference


class RecipeNotes(Base):
    """The maker's own words on a recipe; ``equipment`` and ``substitutes`` hold one thing a line."""

    __tablename__ = "recipe_notes"
    __table_args__ = (Index("uq_recipe_notes_formula", "formula_id", unique=True), STRICT)

    id: Mapped[Key]
    formula_id: Mapped[int] = reference("formula.id", on_delete="CASCADE")
    words: Mapped[Words]
    equipment: Mapped[Words]
    substitutes: Mapped[Words]


class RecipePicture(Base):
    """A picture on a recipe, held by the hash of its content as documents are; ``alt`` says what is to be seen."""

    __tablename__ = "recipe_picture"
    __table_args__ = (
        not_blank("alt"),
        CheckConstraint("length(sha256) = 64", name="sha256_whole"),
        CheckConstraint("width >= 1 AND height >= 1", name="has_a_size"),
        STRICT,
    )

    id: Mapped[Key]
    formula_id: Mapped[int] = reference("formula.id", on_delete="CASCADE")
    sha256: Mapped[str] = mapped_column(index=True)
    width: Mapped[int]
    height: Mapped[int]
    alt: Mapped[str]
    added_at: Mapped[datetime]


def notes_of(session: Session, formula_id: int) -> RecipeNotes | None:
    """Return what was written on the recipe of a formula."""
    return session.scalars(select(RecipeNotes).where(RecipeNotes.formula_id == formula_id)).first()


def pictures_of(session: Session, formula_id: int) -> Sequence[RecipePicture]:
    """Return the pictures of a recipe in the order they were added."""
    asked = select(RecipePicture).where(RecipePicture.formula_id == formula_id)
    return session.scalars(asked.order_by(RecipePicture.id)).all()
