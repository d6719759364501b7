"""Materials on the shelf: what is in them, what they cost."""

from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from sqlalchemy import CheckConstraint, Index, Select, select, text
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship, selectinload

from app.science.composition import PartKind
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
from app.store.types import IsoDay, Word

LIVE = text("retired_at IS NULL")
COUNTED = text("reorder_g IS NOT NULL")


class PhaseHint(StrEnum):
    """Where in a formula a material usually goes."""

    WATER = "water"
    OIL = "oil"
    COOL_DOWN = "cool-down"
    POWDER = "powder"
    ADJUSTER = "adjuster"
    ANY = "any"


class Solvent(StrEnum):
    """What a material dissolves in, for making a stock solution of it; ``none`` is a powder that stays one."""

    WATER = "water"
    OIL = "oil"
    ALCOHOL = "alcohol"
    NONE = "none"
    UNKNOWN = "unknown"


class PriceKind(StrEnum):
    """Whether a price was paid or offered."""

    PAID = "paid"
    OFFERED = "offered"


class MaterialRow(Base):
    """A material as it stands on the shelf; retired rather than deleted once a formula uses it."""

    __tablename__ = "material"
    __table_args__ = (
        not_blank("name"),
        enum_check("phase_hint", PhaseHint),
        enum_check("dissolves_in", Solvent),
        above_zero("density_g_ml"),
        number_between("use_low", 0, 100),
        number_between("use_high", 0, 100),
        number_between("ph_min", -1, 15),
        number_between("ph_max", -1, 15),
        number_between("reorder_g", 0, None),
        CheckConstraint("CAST(use_low AS REAL) <= CAST(use_high AS REAL)", name="use_range_in_order"),
        CheckConstraint("CAST(ph_min AS REAL) <= CAST(ph_max AS REAL)", name="ph_range_in_order"),
        Index("uq_material_live_name", "name_key", unique=True, sqlite_where=LIVE, postgresql_where=LIVE),
        Index("ix_material_reorder", "id", sqlite_where=COUNTED, postgresql_where=COUNTED),
        STRICT,
    )

    id: Mapped[Key]
    name: Mapped[str]
    name_key: Mapped[str]
    library_key: Mapped[str | None] = mapped_column(index=True)
    form: Mapped[Words]
    phase_hint: Mapped[PhaseHint] = mapped_column(Word(PhaseHint), default=PhaseHint.ANY)
    dissolves_in: Mapped[Solvent] = mapped_column(Word(Solvent), default=Solvent.UNKNOWN)
    functions: Mapped[Words]
    density_g_ml: Mapped[MaybeAmount]
    use_low: Mapped[MaybeAmount]
    use_high: Mapped[MaybeAmount]
    ph_min: Mapped[MaybeAmount]
    ph_max: Mapped[MaybeAmount]
    max_temp_c: Mapped[MaybeAmount]
    cautions: Mapped[Words]
    certificate: Mapped[Words]
    notes: Mapped[Words]
    source: Mapped[Words]
    supplier: Mapped[Words]
    reorder_g: Mapped[MaybeAmount]
    drawn_here: Mapped[bool] = mapped_column(default=False)
    created_at: Mapped[datetime]
    retired_at: Mapped[MaybeMoment]
    row_version: Mapped[int] = mapped_column(default=1)

    parts: Mapped[list["MaterialPart"]] = relationship(
        order_by="MaterialPart.position", cascade="all, delete-orphan", passive_deletes=True
    )
    prices: Mapped[list["PriceRow"]] = relationship(
        order_by="PriceRow.priced_on.desc(), PriceRow.id.desc()", cascade="all, delete-orphan", passive_deletes=True
    )
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once


class MaterialPart(Base):
    """One substance of a material, % w/w of it, with the supplier's range when one was given."""

    __tablename__ = "material_part"
    __table_args__ = (
        not_blank("inci"),
        enum_check("kind", PartKind),
        number_between("percent", 0, 100),
        number_between("low", 0, 100),
        number_between("high", 0, 100),
        CheckConstraint("CAST(low AS REAL) <= CAST(high AS REAL)", name="range_in_order"),
        Index("uq_material_part_place", "material_id", "position", unique=True),
        Index("ix_material_part_inci", "inci", "kind"),
        STRICT,
    )

    id: Mapped[Key]
    material_id: Mapped[int] = reference("material.id", on_delete="CASCADE")
    position: Mapped[int]
    inci: Mapped[str]
    cas: Mapped[str | None]
    percent: Mapped[Amount]
    low: Mapped[MaybeAmount]
    high: Mapped[MaybeAmount]
    kind: Mapped[PartKind] = mapped_column(Word(PartKind), default=PartKind.INGREDIENT)
    nano: Mapped[bool] = mapped_column(default=False)
    may_contain: Mapped[bool] = mapped_column(default=False)
    source: Mapped[Words]

    allergens: Mapped[list["PartAllergen"]] = relationship(
        order_by="PartAllergen.id", cascade="all, delete-orphan", passive_deletes=True
    )


class PartAllergen(Base):
    """A named fragrance allergen inside a part, % w/w of that part."""

    __tablename__ = "part_allergen"
    __table_args__ = (not_blank("inci"), number_between("percent", 0, 100), STRICT)

    id: Mapped[Key]
    part_id: Mapped[int] = reference("material_part.id", on_delete="CASCADE")
    inci: Mapped[str]
    percent: Mapped[Amount]


class PriceRow(Base):
    """What was paid, or offered, for which amount of a material or of packaging, when, by whom and in what currency.

    ``quantity_g`` is grams, or pieces for packaging; ``noted_at`` is when it was entered, where that is known. Without
    a currency the amount is in that of the workshop.
    """

    __tablename__ = "price"
    __table_args__ = (
        enum_check("kind", PriceKind),
        number_between("amount", 0, 1e12),
        above_zero("quantity_g"),
        not_blank("quantity_text"),
        CheckConstraint("(material_id IS NULL) <> (packaging_id IS NULL)", name="of_one_thing"),
        STRICT,
    )

    id: Mapped[Key]
    material_id: Mapped[int | None] = reference("material.id", on_delete="CASCADE", nullable=True)
    packaging_id: Mapped[int | None] = reference("packaging.id", on_delete="CASCADE", nullable=True)
    kind: Mapped[PriceKind] = mapped_column(Word(PriceKind), default=PriceKind.PAID)
    amount: Mapped[Amount]
    currency: Mapped[Words]
    quantity_text: Mapped[str]
    quantity_g: Mapped[Amount]
    priced_on: Mapped[date] = mapped_column(IsoDay)
    supplier: Mapped[Words]
    note: Mapped[Words]
    noted_at: Mapped[MaybeMoment]

    @property
    def per_kg(self) -> Decimal:
        """The price of one kilogram, or of a thousand pieces, exact and in its own currency."""
        return self.amount / self.quantity_g * 1000

    @property
    def each(self) -> Decimal:
        """The price of one gram or piece, exact and in its own currency."""
        return self.amount / self.quantity_g


class PackagingRow(Base):
    """A pot, lid, label or box: sold in packs, used one or more to a unit."""

    __tablename__ = "packaging"
    __table_args__ = (
        not_blank("name"),
        above_zero("units_per_pack"),
        number_between("reorder", 0, None),
        STRICT,
    )

    id: Mapped[Key]
    name: Mapped[str] = mapped_column(unique=True)
    units_per_pack: Mapped[Amount]
    supplier: Mapped[Words]
    reorder: Mapped[MaybeAmount]
    notes: Mapped[Words]
    retired_at: Mapped[MaybeMoment]

    prices: Mapped[list["PriceRow"]] = relationship(
        order_by="PriceRow.priced_on.desc(), PriceRow.id.desc()",
        cascade="all, delete-orphan",
        passive_deletes=True,
        lazy="selectin",
    )

    @property
    def newest_price(self) -> PriceRow | None:
        """The newest price paid, or offered where nothing was paid."""
        return newest_price(self.prices)


def newest_price(prices: Iterable[PriceRow]) -> PriceRow | None:
    """Return the newest price paid; an offer only where nothing was paid yet. Prices come newest first."""
    listed = list(prices)
    paid = [price for price in listed if price.kind is PriceKind.PAID]
    return next(iter(paid or listed), None)


def live_materials(session: Session) -> list[MaterialRow]:
    """Return the materials that are not retired, by name, with parts, allergens and prices loaded."""
    return list(
        session.scalars(_with_everything().where(MaterialRow.retired_at.is_(None)).order_by(MaterialRow.name_key))
    )


def materials_by_id(session: Session, ids: set[int]) -> dict[int, MaterialRow]:
    """Load some materials, retired ones too, with parts, allergens and prices."""
    if not ids:
        return {}
    return {m.id: m for m in session.scalars(_with_everything().where(MaterialRow.id.in_(ids)))}


def _with_everything() -> Select[MaterialRow]:
    return select(MaterialRow).options(
        selectinload(MaterialRow.parts).selectinload(MaterialPart.allergens), selectinload(MaterialRow.prices)
    )
