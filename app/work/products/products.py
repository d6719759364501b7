"""What is done with products: added, changed, retired, put beside their formula; and exchange rates."""

from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store import materials as stored
from app.store.errors import NotFound
from app.store.formulas import FormulaRow
from app.store.products import Product, ProductPackaging, find_product
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults
from app.work.pricing import note_rate
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
    if session.get(FormulaRow, formula_id) is None:
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
    words = f"{product.name} was changed in the meantime."
    typed.refuse_overtaken(ProductForm.of(product), seen, words, given=the_workshop(session))
    _write(session, product, typed)


def _write(session: Session, product: Product, typed: ProductForm) -> None:
    checked = typed.checked(the_workshop(session))
    for column, value in checked.columns().items():
        setattr(product, column, value)
    known = set(session.scalars(select(stored.PackagingRow.id)))
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
    note_rate(session, checked.currency, checked.rate or Decimal(1), today())
