"""pH sessions at the bench, and what a drop of a dropper weighs."""

from datetime import datetime

from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.store.base import (
    STRICT,
    Amount,
    Base,
    Key,
    MaybeMoment,
    Words,
    above_zero,
    not_blank,
    number_between,
    reference,
)
from app.store.batches import BatchReading, BatchWeighing
from app.store.growing import Touched


class PhSession(Touched, Base):
    """One guided pH session of a batch: from the first reading to the pH that was wanted.

    Its additions are weighings and its readings are readings of the batch; here stands only what ties them together.
    ``materials`` pins the solutions as they stood on the shelf, so that the record never depends on today's shelf.
    """

    __tablename__ = "ph_session"
    __table_args__ = (
        number_between("target_ph", 0, 14),
        above_zero("batch_g"),
        STRICT,
    )

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")
    material_id: Mapped[int] = reference("material.id")
    target_ph: Mapped[Amount]
    batch_g: Mapped[Amount]
    started_at: Mapped[datetime]
    started_by: Mapped[Words]
    finished_at: Mapped[MaybeMoment]
    materials: Mapped[Words]
    row_version: Mapped[int] = mapped_column(default=1)

    additions: Mapped[list[BatchWeighing]] = relationship(order_by="BatchWeighing.id", viewonly=True)
    readings: Mapped[list[BatchReading]] = relationship(order_by="BatchReading.id", viewonly=True)
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once
    touched_column = "started_by"


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
