"""What is done with products: added, changed, retired, put beside their formula; and exchange rates."""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.formula import Formula, Packaging, Rates
from app.science.numbers import exact_arithmetic
from app.science.quantities import parse_quantity, to_grams
from app.store import materials as stored
from app.store.errors import Conflict, NotFound
from app.store.formulas import Formula as StoredFormula
from app.store.products import ExchangeRate, Product, ProductPackaging, find_product
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults
from app.work.products.product_form import ProductForm, RateForm


def load_product(session: Session, product_id: int) -> Product:
    """Read a product with its formula and packaging.

    Raises:
        NotFound: when there is none.
    """
    product = find_product(session, product_id)
    if product is None:
        raise NotFound("There is no such product.")
    return product


@action(once="product of formula {formula_id}")
def add_product(session: Session, formula_id: int, typed: ProductForm, *, key: str = "") -> int:
    """Add a product to a formula and return its id.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such formula.
    """
    if session.get(StoredFormula, formula_id) is None:
        raise NotFound("There is no such formula.")
    product = Product(formula_id=formula_id, created_at=now())
    with session.no_autoflush:
        _write(session, product, typed)
    session.add(product)
    session.flush()
    return product.id


@action()
def revise_product(session: Session, product_id: int, typed: ProductForm, seen: str) -> None:
    """Change a product; ``seen`` is the fingerprint of its form as it was read.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it changed since it was read.
        NotFound: when there is no such product.
    """
    product = load_product(session, product_id)
    if ProductForm.of(product).fingerprint != seen:
        typed.checked(the_workshop(session))
        raise Conflict(f"{product.name} was changed in the meantime.")
    _write(session, product, typed)


def _write(session: Session, product: Product, typed: ProductForm) -> None:
    checked = typed.checked(the_workshop(session))
    for column, value in checked.columns().items():
        setattr(product, column, value)
    known = set(session.scalars(select(stored.Packaging.id)))
    faults = [
        Invalid(f"pack-{place}-packaging", "This packaging is not in the workshop any more.")
        for place, pack in enumerate(checked.packaging)
        if pack.packaging not in known
    ]
    if faults:
        raise Faults(faults)
    product.packaging = []
    session.flush()
    product.packaging = [
        ProductPackaging(position=place, packaging_id=pack.packaging, per_unit=pack.per_unit)
        for place, pack in enumerate(checked.packaging)
    ]


@action()
def retire_product(session: Session, product_id: int, *, back: bool = False) -> str:
    """Take a product off the lists, or put it back, and return its name.

    Raises:
        NotFound: when there is none.
    """
    product = load_product(session, product_id)
    product.retired_at = None if back else product.retired_at or now()
    return product.name


@action()
def set_rate(session: Session, typed: RateForm) -> None:
    """Note what one unit of a currency is worth in that of the workshop, today.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    checked = typed.checked(the_workshop(session))
    row = session.get(ExchangeRate, checked.currency) or ExchangeRate(currency=checked.currency)
    row.rate, row.noted_on = checked.rate or Decimal(1), today()
    session.add(row)


@dataclass(frozen=True, slots=True)
class ProductSetting:
    """A product with what it takes to reckon with it: the rate of its currency, None while nobody typed one."""

    product: Product
    rate: Decimal | None


def product_setting(session: Session, product_id: int) -> ProductSetting:
    """Read a product with the exchange rate of its currency.

    Raises:
        NotFound: when there is none.
    """
    product = load_product(session, product_id)
    if product.currency == the_workshop(session).currency:
        return ProductSetting(product, Decimal(1))
    row = session.get(ExchangeRate, product.currency)
    return ProductSetting(product, row.rate if row else None)


def for_product(formula: Formula, setting: ProductSetting) -> Formula:
    """Return a formula as it is sold in a product: its fill, packaging, price and tax, its words and claims.

    The price is turned into the currency of the workshop, in which costs are; without a rate it is left out.

    Raises:
        Invalid: at ``fill``, when the content is a volume and the formula has no density.
    """
    product, rates = setting.product, formula.rates
    words = "\n".join(text for text in (product.front_words, product.claims) if text)
    fill: dict[str, Any] = {"fill_g": None, "units": None, "fill_amount": None, "fill_unit": "g"}
    if product.fill_amount is not None:
        quantity = parse_quantity(f"{product.fill_amount:f} {product.fill_unit}", "fill")
        fill_g = to_grams(quantity, formula.density_g_ml, "fill")
        fill = {"fill_g": fill_g, "fill_amount": product.fill_amount, "fill_unit": product.fill_unit}
        fill["units"] = int(formula.size.net_g // fill_g) if formula.size else None
    with exact_arithmetic():
        known = product.price is not None and setting.rate is not None
        price = (product.price or Decimal(0)) * (setting.rate or Decimal(0)) if known else None
    return replace(
        formula,
        name=product.name,
        size=formula.size and replace(formula.size, **fill),
        packaging=tuple(_piece(pack) for pack in product.packaging),
        price=price,
        claims=words,
        rates=Rates(rates.currency, rates.digits, rates.labour_rate, rates.overhead_percent, product.tax_percent),
    )


def _piece(pack: ProductPackaging) -> Packaging:
    item = pack.packaging
    return Packaging(item.id, item.name, pack.per_unit, item.units_per_pack, item.price)
