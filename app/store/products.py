"""Products: a formula in a fill and packaging for a market, with what it is sold for; and exchange rates."""

from datetime import date, datetime
from decimal import Decimal

from sqlalchemy import CheckConstraint, Index, Select, select
from sqlalchemy.orm import Mapped, Session, mapped_column, relationship, selectinload

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
from app.store.formulas import FormulaRow
from app.store.materials import PackagingRow
from app.store.types import IsoDay, Word
from app.store.workshop import Jurisdiction


class Product(Base):
    """What is sold: a formula in a fill and packaging for a market. One formula has any number of them.

    ``fill_amount`` and ``fill_unit`` are the net content as declared; the grams of it follow from the density of the
    formula. ``price`` is that of a unit, tax of ``tax_percent`` included, in ``currency``. ``reorder`` is how many
    units should be on hand. Durability is ``open_months`` after opening, or ``shelf_months`` from making, or both.
    ``languages`` are those of its label, language tags parted by commas. What is left empty of the responsible person
    is the workshop's own.
    """

    __tablename__ = "product"
    __table_args__ = (
        not_blank("name"),
        enum_check("jurisdiction", Jurisdiction),
        above_zero("fill_amount"),
        number_between("price", 0, 1e9),
        number_between("tax_percent", 0, 100),
        CheckConstraint("length(currency) = 3", name="currency_iso_4217"),
        CheckConstraint("minimum >= 1", name="minimum_from_one"),
        CheckConstraint("reorder IS NULL OR reorder >= 0", name="reorder_not_negative"),
        STRICT,
    )

    id: Mapped[Key]
    formula_id: Mapped[int] = reference("formula.id")
    name: Mapped[str]
    jurisdiction: Mapped[Jurisdiction] = mapped_column(Word(Jurisdiction), default=Jurisdiction.EU)
    languages: Mapped[Words]
    fill_amount: Mapped[MaybeAmount]
    fill_unit: Mapped[Words]
    price: Mapped[MaybeAmount]
    currency: Mapped[str]
    tax_percent: Mapped[Amount] = mapped_column(default=Decimal(0))
    minimum: Mapped[int] = mapped_column(default=1)
    reorder: Mapped[int | None]
    open_months: Mapped[int | None]
    shelf_months: Mapped[int | None]
    responsible_person: Mapped[Words]
    origin: Mapped[Words]
    barcode: Mapped[Words]
    front_words: Mapped[Words]
    claims: Mapped[Words]
    notes: Mapped[Words]
    created_at: Mapped[datetime]
    retired_at: Mapped[MaybeMoment]
    row_version: Mapped[int] = mapped_column(default=1)

    formula: Mapped[FormulaRow] = relationship()
    packaging: Mapped[list["ProductPackaging"]] = relationship(
        order_by="ProductPackaging.position", cascade="all, delete-orphan", passive_deletes=True
    )
    __mapper_args__ = {"version_id_col": row_version}  # noqa: RUF012 - the mapper reads it once


class ProductPackaging(Base):
    """A piece of packaging of a product and how many of it one unit takes."""

    __tablename__ = "product_packaging"
    __table_args__ = (
        Index("uq_product_packaging_place", "product_id", "position", unique=True),
        above_zero("per_unit"),
        STRICT,
    )

    id: Mapped[Key]
    product_id: Mapped[int] = reference("product.id", on_delete="CASCADE")
    position: Mapped[int]
    packaging_id: Mapped[int] = reference("packaging.id")
    per_unit: Mapped[Amount] = mapped_column(default=Decimal(1))

    packaging: Mapped[PackagingRow] = relationship()


class ExchangeRate(Base):
    """What one unit of a currency is worth in that of the workshop, as somebody typed it on a day; one a day."""

    __tablename__ = "exchange_rate"
    __table_args__ = (CheckConstraint("length(currency) = 3", name="currency_iso_4217"), above_zero("rate"), STRICT)

    currency: Mapped[str] = mapped_column(primary_key=True)
    rate: Mapped[Amount]
    noted_on: Mapped[date] = mapped_column(IsoDay, primary_key=True)


def products_of(session: Session, formula_id: int) -> list[Product]:
    """Return the products of a formula that are not retired, in the order they were added."""
    asked = _whole().where(Product.formula_id == formula_id, Product.retired_at.is_(None))
    return list(session.scalars(asked.order_by(Product.id)))


def every_product_of(session: Session, formula_id: int) -> list[Product]:
    """Return every product of a formula, retired ones too, in the order they were added."""
    return list(session.scalars(_whole().where(Product.formula_id == formula_id).order_by(Product.id)))


def live_products(session: Session) -> list[Product]:
    """Return every product that is not retired, by name, with its formula and packaging."""
    asked = _whole().where(Product.retired_at.is_(None)).order_by(Product.name, Product.id)
    return list(session.scalars(asked))


def products_page(session: Session, *, skip: int, most: int) -> list[Product]:
    """List some of the products that are not retired, by name, with their formulas."""
    asked = select(Product).options(selectinload(Product.formula)).where(Product.retired_at.is_(None))
    return list(session.scalars(asked.order_by(Product.name, Product.id).offset(skip).limit(most)))


def find_product(session: Session, product_id: int) -> Product | None:
    """Return a product with its formula and packaging."""
    return session.scalars(_whole().where(Product.id == product_id)).first()


def _whole() -> Select[Product]:
    packaging = selectinload(Product.packaging).selectinload(ProductPackaging.packaging)
    return select(Product).options(packaging, selectinload(Product.formula))


def exchange_rates(session: Session) -> list[ExchangeRate]:
    """Return the exchange rates by currency, the newest of each first."""
    return list(session.scalars(select(ExchangeRate).order_by(ExchangeRate.currency, ExchangeRate.noted_on.desc())))
