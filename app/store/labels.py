"""Labels: the sheets they are printed on, and what stands on each label of a product."""

from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum

from sqlalchemy import CheckConstraint, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import (
    STRICT,
    Amount,
    Base,
    Key,
    MaybeAmount,
    Words,
    YesNo,
    above_zero,
    enum_check,
    not_blank,
    number_between,
    reference,
)
from app.store.products import Product
from app.store.types import Word


class LabelSheet(Base):
    """A sheet of labels by its grid; a roll is a sheet of one label. Lengths in mm.

    ``shift_x_mm`` and ``shift_y_mm`` are what the printer is off by on a calibration page.
    """

    __tablename__ = "label_sheet"
    __table_args__ = (
        not_blank("name"),
        above_zero("page_width_mm"),
        above_zero("page_height_mm"),
        above_zero("label_width_mm"),
        above_zero("label_height_mm"),
        CheckConstraint("columns >= 1 AND rows >= 1", name="at_least_one_label"),
        STRICT,
    )

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(unique=True)
    page_width_mm: Mapped[Amount]
    page_height_mm: Mapped[Amount]
    columns: Mapped[int]
    rows: Mapped[int]
    label_width_mm: Mapped[Amount]
    label_height_mm: Mapped[Amount]
    left_mm: Mapped[Amount]
    top_mm: Mapped[Amount]
    pitch_x_mm: Mapped[Amount]
    pitch_y_mm: Mapped[Amount]
    is_round: Mapped[YesNo]
    shift_x_mm: Mapped[Amount] = mapped_column(default=Decimal(0))
    shift_y_mm: Mapped[Amount] = mapped_column(default=Decimal(0))


class PanelKind(StrEnum):
    """Where on the pack a label is stuck; a wrap goes all round and has a front and a back of its own."""

    WHOLE = "whole"
    FRONT = "front"
    BACK = "back"
    BASE = "base"
    WRAP = "wrap"


class LabelDesign(Base):
    """One label of a product: the sheet it is cut from and what stands on it, the same for every batch.

    A product may have several, such as front and back; together they must say what its market asks for. A wrap has
    the ``diameter_mm`` of what it goes round and how much it overlaps; ``on_back`` names the elements of its back,
    parted by commas.
    """

    __tablename__ = "label_design"
    __table_args__ = (
        not_blank("name"),
        enum_check("panel", PanelKind),
        above_zero("diameter_mm"),
        number_between("overlap_mm", 0, 100),
        CheckConstraint("(panel = 'wrap') = (diameter_mm IS NOT NULL)", name="wrap_goes_round"),
        STRICT,
    )

    id: Mapped[Key]
    product_id: Mapped[int] = reference("product.id")
    name: Mapped[str]
    sheet_id: Mapped[int] = reference("label_sheet.id")
    shows_identity: Mapped[YesNo]
    shows_front: Mapped[YesNo]
    shows_content: Mapped[YesNo]
    shows_directions: Mapped[YesNo]
    shows_warnings: Mapped[YesNo]
    shows_ingredients: Mapped[YesNo]
    shows_batch: Mapped[YesNo]
    shows_keeping: Mapped[YesNo]
    shows_responsible: Mapped[YesNo]
    shows_origin: Mapped[YesNo]
    shows_price: Mapped[YesNo]
    shows_barcode: Mapped[YesNo]
    shows_qr: Mapped[YesNo]
    function_words: Mapped[Words]
    directions: Mapped[Words]
    cautions: Mapped[Words]
    qr_text: Mapped[Words]
    panel: Mapped[PanelKind] = mapped_column(Word(PanelKind), default=PanelKind.WHOLE)
    diameter_mm: Mapped[MaybeAmount]
    overlap_mm: Mapped[MaybeAmount]
    on_back: Mapped[Words]

    product: Mapped[Product] = relationship()
    sheet: Mapped[LabelSheet] = relationship()


def label_sheets(session: Session) -> Sequence[LabelSheet]:
    """Return the sheets of labels by name."""
    return list(session.scalars(select(LabelSheet).order_by(LabelSheet.name, LabelSheet.id)))


def designs_of(session: Session, product_id: int) -> list[LabelDesign]:
    """Return the labels of a product in the order they were added."""
    return list(
        session.scalars(select(LabelDesign).where(LabelDesign.product_id == product_id).order_by(LabelDesign.id))
    )
