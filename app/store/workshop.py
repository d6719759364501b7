"""The workshop: its settings, its scales, its number series and the keys of forms already taken."""

from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from sqlalchemy import CheckConstraint, select
from sqlalchemy.orm import Mapped, Session, mapped_column

from app.science.jurisdiction import Jurisdiction as Jurisdiction  # noqa: PLC0414 - a column of this module
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
)
from app.store.types import IsoDay, Word


class Paper(StrEnum):
    """The paper that sheets are laid out for."""

    A4 = "A4"
    LETTER = "Letter"


# ISO 22716:2007, 7.2.2 a to d, in our words: what is checked before a batch is begun.
START_UP = """The batch record, its method and its labels are here
Every lot is accepted and in date
Area and equipment are clean and fit for use
Nothing of an earlier product, and none of its labels, is left"""

# ISO 22716:2007, 7.3.2, in our words: the line is clear before packing begins and after it ended.
CLEAR_BEFORE = """No unit, label or packaging of an earlier run is left
Bench, filler and tools are clean and fit for use
Labels and the code printed are those of this batch"""
CLEAR_AFTER = """Every unit, label and piece of packaging of this run is taken away
What was left over of labels and packaging is counted, and returned or destroyed"""


class CostBy(StrEnum):
    """What a material or packaging costs, where several prices are known."""

    LAST = "last purchase"
    AVERAGE = "average on hand"
    BEST = "best offer"


class Workshop(Base):
    """The one workshop of this file: what every sheet and every cost starts from.

    A weight may miss its plan by ``tight_percent`` where the material is a preservative, acid, alkali, active or
    colour, else by ``band_percent``; the yield should lie between ``yield_low_percent`` and ``yield_high_percent`` of
    what was weighed in. ``start_up`` is the checklist before a batch, a line for each item; with ``two_people`` a
    batch is released by somebody who weighed nothing of it. What became of the bulk of a packing run should come to
    ``bulk_low_percent`` to ``bulk_high_percent`` of what it took; ``clear_before`` and ``clear_after`` are the points
    of its line clearance.
    """

    __tablename__ = "workshop"
    __table_args__ = (
        CheckConstraint("id = 1", name="only_one"),
        not_blank("name"),
        not_blank("batch_number_pattern"),
        CheckConstraint("length(currency) = 3", name="currency_iso_4217"),
        enum_check("paper", Paper),
        enum_check("jurisdiction", Jurisdiction),
        number_between("labour_rate", 0, 1e9),
        number_between("overhead_percent", 0, 1000),
        number_between("tax_percent", 0, 100),
        number_between("loss_percent", 0, 99),
        number_between("tight_percent", 0, 50),
        number_between("band_percent", 0, 50),
        number_between("yield_low_percent", 0, 100),
        number_between("yield_high_percent", 100, 200),
        number_between("bulk_low_percent", 0, 100),
        number_between("bulk_high_percent", 100, 200),
        enum_check("cost_by", CostBy),
        STRICT,
    )

    id: Mapped[Key]
    name: Mapped[str]
    address: Mapped[Words]
    contact: Mapped[Words]
    currency: Mapped[str] = mapped_column(default="EUR")
    locale: Mapped[str] = mapped_column(default="en")
    paper: Mapped[Paper] = mapped_column(Word(Paper), default=Paper.A4)
    jurisdiction: Mapped[Jurisdiction] = mapped_column(Word(Jurisdiction), default=Jurisdiction.EU)
    batch_number_pattern: Mapped[str] = mapped_column(default="{code}-{year}-{count}")
    labour_rate: Mapped[Amount] = mapped_column(default=Decimal(0))
    overhead_percent: Mapped[Amount] = mapped_column(default=Decimal(0))
    tax_percent: Mapped[Amount] = mapped_column(default=Decimal(0))
    loss_percent: Mapped[Amount] = mapped_column(default=Decimal(0))
    two_people: Mapped[bool] = mapped_column(default=False)
    tight_percent: Mapped[Amount] = mapped_column(default=Decimal(1))
    band_percent: Mapped[Amount] = mapped_column(default=Decimal(2))
    yield_low_percent: Mapped[Amount] = mapped_column(default=Decimal(90))
    yield_high_percent: Mapped[Amount] = mapped_column(default=Decimal(102))
    start_up: Mapped[str] = mapped_column(default=START_UP)
    bulk_low_percent: Mapped[Amount] = mapped_column(default=Decimal(97))
    bulk_high_percent: Mapped[Amount] = mapped_column(default=Decimal(102))
    clear_before: Mapped[str] = mapped_column(default=CLEAR_BEFORE)
    clear_after: Mapped[str] = mapped_column(default=CLEAR_AFTER)
    cost_by: Mapped[CostBy] = mapped_column(Word(CostBy), default=CostBy.BEST)
    is_demo: Mapped[bool] = mapped_column(default=False)
    row_version: Mapped[int] = mapped_column(default=1)

    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once


class ScaleRow(Base):
    """A scale on the bench: its smallest step, its largest load and the vessel that usually stands on it, in grams."""

    __tablename__ = "scale"
    __table_args__ = (
        not_blank("name"),
        above_zero("readability_g"),
        CheckConstraint("CAST(capacity_g AS REAL) >= CAST(readability_g AS REAL)", name="capacity_holds_a_step"),
        number_between("vessel_g", 0, None),
        STRICT,
    )

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(unique=True)
    readability_g: Mapped[Amount]
    capacity_g: Mapped[Amount]
    vessel_g: Mapped[MaybeAmount]


class Vessel(Base):
    """A pot or beaker: what it weighs empty, and how much it holds where that is known.

    What it loses while heating is learned from the batches that were heated in it.
    """

    __tablename__ = "vessel"
    __table_args__ = (not_blank("name"), above_zero("tare_g"), above_zero("holds_ml"), STRICT)

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(unique=True)
    tare_g: Mapped[Amount]
    holds_ml: Mapped[MaybeAmount]


class Person(Base):
    """Somebody who works here; ``left_at`` keeps a name readable in old records without offering it any more."""

    __tablename__ = "person"
    __table_args__ = (not_blank("name"), STRICT)

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(unique=True)
    initials: Mapped[Words]
    left_at: Mapped[MaybeMoment]


class GearCheck(Base):
    """A check of a scale, a pH meter or a thermometer against a reference; never altered."""

    __tablename__ = "gear_check"
    __table_args__ = (not_blank("gear"), not_blank("reference"), not_blank("reading"), STRICT)

    id: Mapped[Key]
    gear: Mapped[str]
    checked_on: Mapped[date] = mapped_column(IsoDay)
    reference: Mapped[str]
    reading: Mapped[str]
    limit_text: Mapped[Words]
    passed: Mapped[bool]
    next_due: Mapped[date] = mapped_column(IsoDay)
    by: Mapped[Words]


class NumberSeries(Base):
    """The last number issued in a series; the row is locked while the next one is issued."""

    __tablename__ = "number_series"
    __table_args__ = (CheckConstraint("last >= 0", name="last_not_negative"), STRICT)

    series: Mapped[str] = mapped_column(primary_key=True)
    last: Mapped[int]


class FormKey(Base):
    """A form that was taken once: pressing twice leads to the same result instead of a second record."""

    __tablename__ = "form_key"
    __table_args__ = (not_blank("key"), STRICT)

    key: Mapped[str] = mapped_column(primary_key=True)
    taken_at: Mapped[datetime]
    result: Mapped[Words]


def the_workshop(session: Session) -> Workshop:
    """Return the workshop of this file.

    Raises:
        sqlalchemy.exc.NoResultFound: when the file holds none yet.
    """
    return session.get_one(Workshop, 1)


def scales(session: Session) -> list[ScaleRow]:
    """Return the scales, finest first."""
    return sorted(session.scalars(select(ScaleRow)), key=lambda s: (s.readability_g, s.capacity_g, s.id))


def vessels(session: Session) -> list[Vessel]:
    """Return the pots and beakers, lightest first."""
    return sorted(session.scalars(select(Vessel)), key=lambda one: (one.tare_g, one.name))


def next_in_series(session: Session, series: str) -> int:
    """Issue the next number of a series; the transaction that asks holds the row until it ends."""
    row = session.get(NumberSeries, series, with_for_update=True)
    if row is None:
        row = NumberSeries(series=series, last=0)
        session.add(row)
    row.last += 1
    session.flush()
    return row.last
