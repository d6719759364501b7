"""Batch records: what was planned, what was done, and the history that is only ever added to."""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from sqlalchemy import CheckConstraint, Index
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.science.specification import Check
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
from app.store.formulas import FormulaVersion
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
from app.store.types import IsoDay, Word


class BatchState(StrEnum):
    """Where a batch stands."""

    PLANNED = "planned"
    IN_PROCESS = "in process"
    QUARANTINE = "quarantine"
    RELEASED = "released"
    REJECTED = "rejected"
    CANCELLED = "cancelled"


class TickKind(StrEnum):
    """What is ticked: a point before the start, or a step of the method."""

    START_UP = "start-up"
    STEP = "step"


DECIDED = frozenset({BatchState.RELEASED, BatchState.REJECTED, BatchState.CANCELLED})
PH = "pH"


class Batch(WithHistory, Touched, Base):
    """One batch of one version of a formula; its number is issued once.

    The yield should lie between ``yield_low_percent`` and ``yield_high_percent``, as was usual when it was planned.
    ``as_made`` is what it became, as one JSON text, kept when it was released or rejected.
    """

    __tablename__ = "batch"
    __table_args__ = (
        not_blank("number"),
        enum_check("state", BatchState),
        above_zero("size_g"),
        above_zero("fill_g"),
        number_between("loss_percent", 0, 99),
        number_between("yield_low_percent", 0, 100),
        number_between("yield_high_percent", 100, 200),
        CheckConstraint(
            "(state IN ('released', 'rejected', 'cancelled')) = (decided_at IS NOT NULL)", name="decision_is_dated"
        ),
        Index("ix_batch_newest", "planned_on", "id"),
        Index("ix_batch_state_newest", "state", "planned_on", "id"),
        STRICT,
    )

    id: Mapped[Key]
    number: Mapped[str] = mapped_column(unique=True)
    version_id: Mapped[int] = reference("formula_version.id")
    product_id: Mapped[int | None] = reference("product.id", on_delete="NO ACTION", nullable=True)
    product_name: Mapped[Words]
    state: Mapped[BatchState] = mapped_column(Word(BatchState), default=BatchState.PLANNED)
    size_g: Mapped[Amount]
    size_text: Mapped[Words]
    loss_percent: Mapped[Amount] = mapped_column(default=Decimal(0))
    fill_g: Mapped[MaybeAmount]
    planned_on: Mapped[date] = mapped_column(IsoDay)
    made_by: Mapped[Words]
    yield_g: Mapped[MaybeAmount]
    yield_low_percent: Mapped[MaybeAmount]
    yield_high_percent: Mapped[MaybeAmount]
    as_made: Mapped[str | None]
    created_at: Mapped[datetime]
    started_at: Mapped[MaybeMoment]
    decided_at: Mapped[MaybeMoment]
    decided_by: Mapped[Words]
    row_version: Mapped[int] = mapped_column(default=1)

    version: Mapped[FormulaVersion] = relationship()
    product: Mapped[Product | None] = relationship()
    lines: Mapped[list["BatchLine"]] = relationship(
        order_by="BatchLine.position", cascade="all, delete-orphan", passive_deletes=True
    )
    readings: Mapped[list["BatchReading"]] = relationship(
        order_by="BatchReading.id", cascade="all, delete-orphan", passive_deletes=True
    )
    deviations: Mapped[list["Deviation"]] = relationship(
        order_by="Deviation.id", cascade="all, delete-orphan", passive_deletes=True
    )
    ticks: Mapped[list["Tick"]] = relationship(
        order_by="Tick.position", cascade="all, delete-orphan", passive_deletes=True
    )
    history: Mapped[list["BatchEvent"]] = relationship(
        order_by="BatchEvent.id", cascade="all, delete-orphan", passive_deletes=True
    )
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once
    touched_column = "made_by"

    @property
    def made_on(self) -> date:
        """The day work began, by the clock of this machine; the day it is planned for until then."""
        return self.started_at.astimezone().date() if self.started_at else self.planned_on

    def reading_for(self, check: Check) -> "BatchReading | None":
        """Return the reading that answers a check: the last of its kind."""
        return next((one for one in reversed(self.readings) if check.answers_to(one.kind)), None)

    @property
    def is_decided(self) -> bool:
        """Whether it is released, rejected or cancelled, and so refuses any change."""
        return self.state in DECIDED

    @property
    def weighed_g(self) -> Decimal:
        """What was weighed in, all lines together, grams."""
        return sum((line.actual_g or Decimal(0) for line in self.lines), Decimal(0))

    @property
    def held_g(self) -> Decimal:
        """What is in the batch: weighed in, less the water that was lost while heating, grams."""
        return sum((line.held_g or Decimal(0) for line in self.lines), Decimal(0))

    @property
    def heatings(self) -> tuple["Heating", ...]:
        """The heatings that no later row replaces, in the order they were begun."""
        found = [one for line in self.lines for one in line.standing_heatings]
        return tuple(sorted(found, key=lambda one: one.id))

    def start(self, *, by: str, at: datetime) -> None:
        """Note that work began, where it had not; the record counts as changed."""
        if self.state is BatchState.PLANNED:
            self.state, self.started_at = BatchState.IN_PROCESS, at
            self.log("state", by=by, at=at, old="planned", new="in process")
        self.touch()

    def record(self, reading: "BatchReading", *, by: str, why: str = "") -> None:
        """Take a reading into the record and its history."""
        self.readings.append(reading)
        self.log(f"reading: {reading.kind}", by=by, at=reading.taken_at, new=reading.words, why=why)


class BatchLine(Base):
    """A line to weigh: the target, the band around it, what the scale shows, and what was weighed.

    ``step_g`` is the step of the scale it was planned on, ``advice`` what to do where that scale cannot show the
    weight; both as they were planned. ``line_key`` names the line of the version; it is empty for one added at the
    bench, which pins its ``material`` instead, since the version does not hold it. A line that was swapped for another
    material pins that as well, and keeps the one of the version as ``planned_name`` and ``planned_material_id``.
    """

    __tablename__ = "batch_line"
    __table_args__ = (
        Index("uq_batch_line_place", "batch_id", "position", unique=True),
        number_between("percent", 0, 100),
        number_between("target_g", 0, None),
        number_between("shown_g", 0, None),
        number_between("low_g", 0, None),
        number_between("high_g", 0, None),
        STRICT,
    )

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")
    position: Mapped[int]
    line_key: Mapped[Words]
    phase: Mapped[str]
    material_id: Mapped[int] = reference("material.id")
    name: Mapped[str]
    percent: Mapped[Amount]
    target_g: Mapped[Amount]
    shown_g: Mapped[Amount]
    low_g: Mapped[MaybeAmount]
    high_g: Mapped[MaybeAmount]
    scale: Mapped[Words]
    step_g: Mapped[Amount] = mapped_column(default=Decimal("0.01"))
    advice: Mapped[Words]
    added_at_bench: Mapped[bool] = mapped_column(default=False)
    material: Mapped[Words]
    planned_name: Mapped[Words]
    planned_material_id: Mapped[int | None] = reference("material.id", on_delete="NO ACTION", nullable=True)

    weighings: Mapped[list["BatchWeighing"]] = relationship(
        order_by="BatchWeighing.id", cascade="all, delete-orphan", passive_deletes=True
    )
    heatings: Mapped[list["Heating"]] = relationship(
        order_by="Heating.id", back_populates="line", cascade="all, delete-orphan", passive_deletes=True
    )

    @property
    def standing(self) -> tuple["BatchWeighing", ...]:
        """The weighings that no later one replaces."""
        return standing(self.weighings)

    @property
    def actual_g(self) -> Decimal | None:
        """What was weighed in, grams; None while nothing was weighed."""
        weights = [weighing.grams for weighing in self.standing if weighing.grams is not None]
        return sum(weights, Decimal(0)) if weights else None

    @property
    def standing_heatings(self) -> tuple["Heating", ...]:
        """The heatings of this water that no later row replaces."""
        return standing(self.heatings)

    @property
    def lost_g(self) -> Decimal:
        """What was lost of it while heating, grams."""
        return sum((one.lost_g or Decimal(0) for one in self.standing_heatings), Decimal(0))

    @property
    def held_g(self) -> Decimal | None:
        """What of it is in the batch: weighed in, less what was lost while heating; None while nothing was weighed."""
        return None if self.actual_g is None else max(self.actual_g - self.lost_g, Decimal(0))

    @property
    def is_swapped(self) -> bool:
        """Whether another material stands here than the version has."""
        return self.planned_material_id is not None

    @property
    def places(self) -> int:
        """The decimals that its scale shows."""
        return _places(self.step_g)

    @property
    def actual_places(self) -> int:
        """The decimals to write the actual weight with: those of the scale, or more where more were written."""
        return max([self.places, *(_places(one.grams) for one in self.standing if one.grams is not None)])

    @property
    def lot_text(self) -> str:
        """The lots it came from, as written at the weighings."""
        return ", ".join(dict.fromkeys(weighing.lot_text for weighing in self.standing if weighing.lot_text))

    @property
    def by(self) -> str:
        """Who weighed it."""
        return ", ".join(dict.fromkeys(weighing.by for weighing in self.standing if weighing.by))

    @property
    def is_left_out(self) -> bool:
        """Whether it stands here only because something was once added at the bench and taken back."""
        return self.added_at_bench and self.actual_g is None


def _places(grams: Decimal) -> int:
    exponent = grams.normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


class BatchWeighing(Base):
    """One portion on a scale; never altered. A correction is a later row that names the one it replaces, and why.

    ``lot_text`` is the lot as written, ``lot_id`` the lot on the shelf where it is known.
    ``grams`` is None where a lot is noted but nothing is weighed yet, and in a correction that takes a weighing back.
    An addition of a pH session carries the session, its place in it, the drops counted and what had been advised.
    """

    __tablename__ = "batch_weighing"
    __table_args__ = (
        number_between("grams", 0, None),
        number_between("tare_g", 0, None),
        CheckConstraint("replaces_id IS NULL OR length(trim(reason)) > 0", name="correction_has_reason"),
        CheckConstraint("(session_id IS NULL) = (place IS NULL)", name="place_in_session"),
        STRICT,
    )

    id: Mapped[Key]
    line_id: Mapped[int] = reference("batch_line.id", on_delete="CASCADE")
    grams: Mapped[MaybeAmount]
    lot_id: Mapped[int | None] = reference("lot.id", nullable=True)
    lot_text: Mapped[str] = mapped_column(default="", index=True)
    scale: Mapped[Words]
    vessel: Mapped[Words]
    tare_g: Mapped[MaybeAmount]
    by: Mapped[Words]
    checked_by: Mapped[Words]
    at: Mapped[datetime]
    replaces_id: Mapped[int | None] = reference("batch_weighing.id", nullable=True)
    reason: Mapped[Words]
    session_id: Mapped[int | None] = reference("ph_session.id", on_delete="CASCADE", nullable=True)
    place: Mapped[int | None]
    drops: Mapped[MaybeAmount]
    advised_g: Mapped[MaybeAmount]
    heating_id: Mapped[int | None] = reference("batch_heating.id", on_delete="NO ACTION", nullable=True)

    line: Mapped[BatchLine] = relationship(back_populates="weighings")


class Heating(Base):
    """A vessel weighed before and after its contents were heated; what it lost is water, of one line of the batch.

    The second weight is written once; after that a row is never altered. A correction is a later row that names the
    one it replaces, and why. Water that is put back is a weighing that names its heating.
    """

    __tablename__ = "batch_heating"
    __table_args__ = (
        above_zero("before_g"),
        CheckConstraint("CAST(after_g AS REAL) <= CAST(before_g AS REAL)", name="nothing_gained"),
        CheckConstraint("(after_g IS NULL) = (after_at IS NULL)", name="after_is_dated"),
        CheckConstraint("replaces_id IS NULL OR length(trim(reason)) > 0", name="correction_has_reason"),
        STRICT,
    )

    id: Mapped[Key]
    line_id: Mapped[int] = reference("batch_line.id", on_delete="CASCADE")
    phase: Mapped[Words]
    vessel: Mapped[Words]
    scale: Mapped[Words]
    before_g: Mapped[Amount]
    before_by: Mapped[Words]
    before_at: Mapped[datetime]
    after_g: Mapped[MaybeAmount]
    after_by: Mapped[Words]
    after_at: Mapped[MaybeMoment]
    replaces_id: Mapped[int | None] = reference("batch_heating.id", nullable=True)
    reason: Mapped[Words]

    line: Mapped[BatchLine] = relationship(back_populates="heatings")

    @property
    def lost_g(self) -> Decimal | None:
        """The water that was lost, grams; None until the vessel was weighed again."""
        return None if self.after_g is None else self.before_g - self.after_g

    @property
    def put_back(self) -> tuple[BatchWeighing, ...]:
        """The weighings that stand of water put back after it, or after the row that it corrects."""
        rows, wanted = {one.id: one for one in self.line.heatings}, {self.id}
        before = self.replaces_id
        while before is not None:
            wanted.add(before)
            before = rows[before].replaces_id
        return tuple(one for one in self.line.standing if one.heating_id in wanted and one.grams is not None)

    @property
    def put_back_g(self) -> Decimal:
        """The water that was put back, grams."""
        return sum((one.grams or Decimal(0) for one in self.put_back), Decimal(0))

    @property
    def missing_g(self) -> Decimal:
        """The water still to put back, grams."""
        return max((self.lost_g or Decimal(0)) - self.put_back_g, Decimal(0))


class BatchReading(Base):
    """An observation: a pH, a look, a temperature, a weight.

    A reading of a pH session is the same row: it carries the session, its place in it and the reading's uncertainty.
    """

    __tablename__ = "batch_reading"
    __table_args__ = (
        not_blank("kind"),
        not_blank("words"),
        number_between("uncertainty", 0, 3),
        CheckConstraint("(session_id IS NULL) = (place IS NULL)", name="place_in_session"),
        STRICT,
    )

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")
    kind: Mapped[str]
    value: Mapped[MaybeAmount]
    words: Mapped[str]
    temperature_c: Mapped[MaybeAmount]
    uncertainty: Mapped[MaybeAmount]
    taken_at: Mapped[datetime]
    taken_by: Mapped[Words]
    session_id: Mapped[int | None] = reference("ph_session.id", on_delete="CASCADE", nullable=True)
    place: Mapped[int | None]


class Deviation(DeviationColumns, Base):
    """Something that was not as planned: what, its cause, effect and action, and who decided on it.

    ``key`` names what it answers, with the value that was found, so that another value asks again; it is empty for one
    that a person noted. Once decided, it is never altered.
    """

    __tablename__ = "batch_deviation"
    __table_args__ = deviation_rules()

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")


class Tick(Base):
    """A point of the start-up checklist or a step of the method, and who ticked it when."""

    __tablename__ = "batch_tick"
    __table_args__ = (
        enum_check("kind", TickKind),
        not_blank("words"),
        CheckConstraint("(done_at IS NULL) = (length(trim(done_by)) = 0)", name="tick_is_signed"),
        STRICT,
    )

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")
    kind: Mapped[TickKind] = mapped_column(Word(TickKind))
    position: Mapped[int]
    phase: Mapped[Words]
    words: Mapped[str]
    done_at: Mapped[MaybeMoment]
    done_by: Mapped[Words]
    temperature_c: Mapped[MaybeAmount]
    remark: Mapped[Words]


class BatchEvent(EventColumns, Base):
    """A line of the history: what changed from what to what, who, when and why. Never altered."""

    __tablename__ = "batch_event"
    __table_args__ = event_rules()

    id: Mapped[Key]
    batch_id: Mapped[int] = reference("batch.id", on_delete="CASCADE")
