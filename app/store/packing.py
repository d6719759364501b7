"""Packing runs: units filled from the bulk of a batch, the packaging lots they took, their fill weights and samples."""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from sqlalchemy import CheckConstraint, ForeignKey, Index, select, text
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship

from app.store.base import (
    STRICT,
    Amount,
    Base,
    Key,
    MaybeAmount,
    MaybeMoment,
    Words,
    above_zero,
    enum_check,
    not_blank,
    number_between,
    reference,
)
from app.store.batches import Batch
from app.store.errors import NotFound
from app.store.growing import (
    DeviationColumns,
    EventColumns,
    Touched,
    WithHistory,
    deviation_rules,
    event_rules,
    standing,
)
from app.store.products import Product
from app.store.stock import Lot
from app.store.types import IsoDay, Millionths, Word
from app.store.workshop import Jurisdiction

LEFT = text("units <> 0")
KEPT, GONE = text("discarded_on IS NULL"), text("discarded_on IS NOT NULL")
# The same as a condition of a query: written out, since a value that is bound lets no partial index serve.
SOME_LEFT = text("(finished_balance.units <> 0)")


class RunState(StrEnum):
    """Where a packing run stands."""

    OPEN = "open"
    CLOSED = "closed"
    CANCELLED = "cancelled"


class Clearance(StrEnum):
    """When a point of the line clearance is ticked."""

    BEFORE = "before"
    AFTER = "after"


class UnitsKind(StrEnum):
    """Why finished units came or went otherwise than by packing and sending out."""

    COUNTED = "counted"
    DISCARDED = "discarded"
    USED = "used here"


class PackingRun(WithHistory, Touched, Base):
    """One packing run of a batch as one product; it is written while open and never altered once it is closed.

    Name, fill, density and market are those of the product when the run began. ``units_filled`` counts every unit,
    ``units_spoilt`` and ``units_sampled`` among them. ``bulk_g`` was taken from the batch, ``rest_g`` of it was left
    over and ``waste_g`` lost; what became of it should come to ``bulk_low_percent`` to ``bulk_high_percent`` of it, as
    was usual when the run began. ``early_why`` says why a batch was packed that was not released yet.
    """

    __tablename__ = "packing_run"
    __table_args__ = (
        not_blank("number"),
        enum_check("state", RunState),
        enum_check("jurisdiction", Jurisdiction),
        above_zero("fill_amount"),
        above_zero("density_g_ml"),
        above_zero("bulk_g"),
        number_between("rest_g", 0, None),
        number_between("waste_g", 0, None),
        number_between("bulk_low_percent", 0, 100),
        number_between("bulk_high_percent", 100, 200),
        CheckConstraint(
            "units_filled >= 0 AND units_spoilt >= 0 AND units_sampled >= 0"
            " AND units_spoilt + units_sampled <= units_filled",
            name="units_add_up",
        ),
        CheckConstraint("(state = 'open') = (closed_at IS NULL)", name="closing_is_dated"),
        Index("ix_packing_run_best_before", "best_before"),
        Index("ix_packing_run_code_printed", "code_printed"),
        Index("ix_packing_run_state_newest", "state", "packed_on", "id"),
        Index("ix_packing_run_of_batch", "batch_id", "product_id", "best_before"),
        STRICT,
    )

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(unique=True)
    batch_id: Mapped[int] = reference("batch.id")
    product_id: Mapped[int] = reference("product.id")
    product_name: Mapped[Words]
    state: Mapped[RunState] = mapped_column(Word(RunState), default=RunState.OPEN)
    packed_on: Mapped[date] = mapped_column(IsoDay, index=True)
    place: Mapped[Words]
    fill_amount: Mapped[Amount]
    fill_unit: Mapped[str]
    density_g_ml: Mapped[MaybeAmount]
    jurisdiction: Mapped[Jurisdiction] = mapped_column(Word(Jurisdiction))
    units_filled: Mapped[int] = mapped_column(default=0)
    units_spoilt: Mapped[int] = mapped_column(default=0)
    units_sampled: Mapped[int] = mapped_column(default=0)
    bulk_g: Mapped[MaybeAmount]
    rest_g: Mapped[MaybeAmount]
    waste_g: Mapped[MaybeAmount]
    bulk_low_percent: Mapped[Amount] = mapped_column(default=Decimal(97))
    bulk_high_percent: Mapped[Amount] = mapped_column(default=Decimal(102))
    artwork: Mapped[Words]
    code_printed: Mapped[Words]
    best_before: Mapped[date | None] = mapped_column(IsoDay)
    open_months: Mapped[int | None]
    early_why: Mapped[Words]
    notes: Mapped[Words]
    by: Mapped[Words]
    created_at: Mapped[datetime]
    closed_at: Mapped[MaybeMoment]
    closed_by: Mapped[Words]
    row_version: Mapped[int] = mapped_column(default=1)

    batch: Mapped[Batch] = relationship(lazy="selectin")
    product: Mapped[Product] = relationship(lazy="selectin")
    ticks: Mapped[list["PackingTick"]] = relationship(order_by="PackingTick.position", passive_deletes="all")
    lots: Mapped[list["PackingLotUse"]] = relationship(order_by="PackingLotUse.id", passive_deletes="all")
    weights: Mapped[list["FillWeight"]] = relationship(order_by="FillWeight.id", passive_deletes="all")
    samples: Mapped[list["RetainedSample"]] = relationship(order_by="RetainedSample.id", passive_deletes="all")
    deviations: Mapped[list["PackingDeviation"]] = relationship(order_by="PackingDeviation.id", passive_deletes="all")
    history: Mapped[list["PackingEvent"]] = relationship(order_by="PackingEvent.id", passive_deletes="all")
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once
    touched_column = "notes"

    @property
    def is_open(self) -> bool:
        """Whether it may still be written."""
        return self.state is RunState.OPEN

    @property
    def units_to_stock(self) -> int:
        """The units that are neither spoilt nor kept as samples."""
        return self.units_filled - self.units_spoilt - self.units_sampled

    @property
    def standing_weights(self) -> tuple[Decimal, ...]:
        """The net fills in grams that no later entry replaces, in the order they were weighed."""
        return tuple(one.grams for one in standing(self.weights) if one.grams is not None)


class PackingTick(Base):
    """A point of the line clearance before or after a run, and who ticked it when."""

    __tablename__ = "packing_tick"
    __table_args__ = (
        enum_check("kind", Clearance),
        not_blank("words"),
        CheckConstraint("(done_at IS NULL) = (length(trim(done_by)) = 0)", name="tick_is_signed"),
        STRICT,
    )

    id: Mapped[Key]
    run_id: Mapped[int] = reference("packing_run.id")
    kind: Mapped[Clearance] = mapped_column(Word(Clearance))
    position: Mapped[int]
    words: Mapped[str]
    done_at: Mapped[MaybeMoment]
    done_by: Mapped[Words]
    remark: Mapped[Words]


class PackingLotUse(Base):
    """What a run took of one lot of packaging, in pieces: issued to it, used, spoilt, and returned.

    ``reason`` says why a lot was used that is in quarantine, refused, past its date, or of other packaging.
    """

    __tablename__ = "packing_lot_use"
    __table_args__ = (
        Index("uq_packing_lot_use_lot", "run_id", "lot_id", unique=True),
        CheckConstraint("issued > 0 AND used >= 0 AND spoilt >= 0 AND returned >= 0", name="not_negative"),
        CheckConstraint("returned <= issued", name="returned_was_issued"),
        STRICT,
    )

    id: Mapped[Key]
    run_id: Mapped[int] = reference("packing_run.id")
    lot_id: Mapped[int] = reference("lot.id")
    issued: Mapped[Decimal] = mapped_column(Millionths)
    used: Mapped[Decimal] = mapped_column(Millionths, default=Decimal(0))
    spoilt: Mapped[Decimal] = mapped_column(Millionths, default=Decimal(0))
    returned: Mapped[Decimal] = mapped_column(Millionths, default=Decimal(0))
    reason: Mapped[Words]
    by: Mapped[Words]
    at: Mapped[datetime]

    lot: Mapped[Lot] = relationship(lazy="selectin")

    @property
    def missing(self) -> Decimal:
        """The pieces issued that are neither used, spoilt nor returned; below zero when more are accounted for."""
        return self.issued - self.used - self.spoilt - self.returned


class FillWeight(Base):
    """The net weight of one filled unit; never altered. A correction is a later row that names the one it replaces.

    ``grams`` is None in a correction that takes a weight back.
    """

    __tablename__ = "fill_weight"
    __table_args__ = (
        above_zero("grams"),
        CheckConstraint("replaces_id IS NULL OR length(trim(reason)) > 0", name="correction_has_reason"),
        CheckConstraint("grams IS NOT NULL OR replaces_id IS NOT NULL", name="a_weight_or_a_correction"),
        STRICT,
    )

    id: Mapped[Key]
    run_id: Mapped[int] = reference("packing_run.id")
    n: Mapped[int]
    grams: Mapped[MaybeAmount]
    tare_g: Mapped[MaybeAmount]
    by: Mapped[Words]
    at: Mapped[datetime]
    replaces_id: Mapped[int | None] = reference("fill_weight.id", nullable=True)
    reason: Mapped[Words]


class PackingDeviation(DeviationColumns, Base):
    """Something of a run that was not as planned, and who decided on it; once decided, never altered.

    ``key`` names what it answers, with the value that was found, so that another value asks again; it is empty for one
    that a person noted.
    """

    __tablename__ = "packing_deviation"
    __table_args__ = deviation_rules()

    id: Mapped[Key]
    run_id: Mapped[int] = reference("packing_run.id")


class PackingEvent(EventColumns, Base):
    """A line of a run's history: what changed from what to what, who, when and why. Never altered."""

    __tablename__ = "packing_event"
    __table_args__ = event_rules()

    id: Mapped[Key]
    run_id: Mapped[int] = reference("packing_run.id")


class RetainedSample(Base):
    """Units of a run that are kept: where, until when, how often they are looked at, and when they were thrown away.

    ``look_on`` is when they are next to be looked at; None where nobody wants to, or no unit of them is left.
    """

    __tablename__ = "retained_sample"
    __table_args__ = (
        CheckConstraint("units >= 1", name="at_least_one"),
        CheckConstraint("keep_until >= kept_on", name="kept_for_a_time"),
        CheckConstraint("look_months IS NULL OR look_months >= 1", name="look_months_from_one"),
        CheckConstraint("(discarded_on IS NULL) = (length(trim(discarded_by)) = 0)", name="discarding_is_signed"),
        not_blank("place"),
        Index("ix_retained_sample_kept", "keep_until", sqlite_where=KEPT, postgresql_where=KEPT),
        Index("ix_retained_sample_look", "look_on", "keep_until", sqlite_where=KEPT, postgresql_where=KEPT),
        Index("ix_retained_sample_gone", "discarded_on", sqlite_where=GONE, postgresql_where=GONE),
        STRICT,
    )

    id: Mapped[Key]
    run_id: Mapped[int] = reference("packing_run.id")
    units: Mapped[int]
    place: Mapped[str]
    kept_on: Mapped[date] = mapped_column(IsoDay)
    keep_until: Mapped[date] = mapped_column(IsoDay)
    look_months: Mapped[int | None]
    look_on: Mapped[date | None] = mapped_column(IsoDay)
    notes: Mapped[Words]
    by: Mapped[Words]
    discarded_on: Mapped[date | None] = mapped_column(IsoDay)
    discarded_by: Mapped[Words]

    looks: Mapped[list["SampleLook"]] = relationship(
        order_by="SampleLook.looked_on, SampleLook.id", passive_deletes="all", lazy="selectin"
    )


class SampleLook(Base):
    """What somebody saw when a retained sample was looked at, and the units that were opened for it. Never altered."""

    __tablename__ = "sample_look"
    __table_args__ = (not_blank("seen"), CheckConstraint("units_used >= 0", name="units_used_not_negative"), STRICT)

    id: Mapped[Key]
    sample_id: Mapped[int] = reference("retained_sample.id")
    looked_on: Mapped[date] = mapped_column(IsoDay)
    seen: Mapped[str]
    units_used: Mapped[int] = mapped_column(default=0)
    by: Mapped[Words]
    at: Mapped[datetime]


class FinishedMove(Base):
    """Finished units that came or went otherwise than by packing and sending out. Never altered."""

    __tablename__ = "finished_move"
    __table_args__ = (enum_check("kind", UnitsKind), not_blank("why"), STRICT)

    id: Mapped[Key]
    run_id: Mapped[int] = reference("packing_run.id")
    kind: Mapped[UnitsKind] = mapped_column(Word(UnitsKind))
    units: Mapped[int]
    moved_on: Mapped[date] = mapped_column(IsoDay)
    why: Mapped[Words]
    by: Mapped[Words]
    at: Mapped[datetime]


class FinishedBalance(Base):
    """The finished units of a product out of a batch that are on hand; triggers keep it the sum of what came and went.

    What is packed comes in when its run is closed; counts and dispatches change it, and so does a dispatch cancelled.
    """

    __tablename__ = "finished_balance"
    __table_args__ = (
        Index("ix_finished_balance_left", "product_id", "batch_id", sqlite_where=LEFT, postgresql_where=LEFT),
        STRICT,
    )

    product_id: Mapped[int] = mapped_column(ForeignKey("product.id", ondelete="RESTRICT"), primary_key=True)
    batch_id: Mapped[int] = mapped_column(ForeignKey("batch.id", ondelete="RESTRICT"), primary_key=True)
    units: Mapped[int]


def get_run(session: Session, run_id: int, *, for_writing: bool = False) -> PackingRun:
    """Return one packing run; for writing, its row is held until the action ends.

    Raises:
        NotFound: when there is none.
    """
    wanted = select(PackingRun).where(PackingRun.id == run_id)
    found = session.scalars(wanted.with_for_update(of=PackingRun) if for_writing else wanted).one_or_none()
    if found is None:
        raise NotFound("There is no such packing run.")
    return found
