"""Formulas out: their drafts as typed, their products, and the materials and packaging that they name."""

from collections.abc import Iterable

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.numbers import plain
from app.store.formulas import Formula
from app.store.materials import Material, Packaging, materials_by_id
from app.store.products import Product, products_of
from app.work.equipment import PackagingForm
from app.work.formulas.draft import Draft
from app.work.formulas.steps import opened
from app.work.handover.tables import HEAD, PRODUCT_FIELDS, Tables, empty_tables
from app.work.materials.transfer import material_lines
from app.work.pricing import Exchange, exchange_of, pack_price
from app.work.products.product_form import ProductForm


def formulas_out(session: Session, formula_ids: Iterable[int] = ()) -> Tables:
    """Return the tables of some formulas, or of every one that is not retired."""
    wanted = tuple(formula_ids)
    asked = select(Formula).order_by(Formula.code)
    chosen = asked.where(Formula.id.in_(wanted)) if wanted else asked.where(Formula.retired_at.is_(None))
    tables = empty_tables()
    materials: set[int] = set()
    packaging: dict[int, Packaging] = {}
    for formula in session.scalars(chosen):
        draft = opened(session, formula).draft
        add_draft(tables, formula.code, draft)
        materials |= {line.material_id for line in draft.lines if line.material_id is not None}
        for product in products_of(session, formula.id):
            tables["products"].append(_product(formula.code, product))
            packaging |= {pack.packaging_id: pack.packaging for pack in product.packaging}
    shelf = materials_by_id(session, materials).values()
    tables["materials"] = [row for one in sorted(shelf, key=_name) for row in material_lines(one)]
    exchange = exchange_of(session)
    tables["packaging"] = [
        {**PackagingForm.of(piece).text, "price": _pack_price(piece, exchange)}
        for _, piece in sorted(packaging.items())
    ]
    return tables


def _pack_price(piece: Packaging, exchange: Exchange) -> str:
    """Return what a pack costs in the workshop's currency, as it would be typed; empty where it is not known."""
    price = pack_price(piece, exchange)
    return "" if price is None else plain(price)


def _name(material: Material) -> str:
    return material.name_key


def add_draft(tables: Tables, code: str, draft: Draft) -> None:
    """Add the rows of a draft to the tables."""
    head = {name: str(getattr(draft, name)) for name in HEAD if name != "special_uses"}
    tables["formulas"].append({"code": code, **head, "special_uses": ", ".join(draft.special_uses)})
    for phase in draft.phases:
        row = {"name": phase.name, "temperature": phase.temperature, "method": phase.method}
        tables["phases"].append({"formula": code, "phase": draft.letter_of(phase.id), **row})
    for line in draft.in_page_order():
        row = {"material": line.typed, "amount": line.amount, "note": line.note}
        letter = draft.letter_of(line.phase)
        tables["lines"].append({"formula": code, "phase": letter, **row, "to_100": "yes" if line.qs else ""})


def _product(code: str, product: Product) -> dict[str, str]:
    form = ProductForm.of(product)
    packs = "; ".join(f"{pack.per_unit:f} x {pack.packaging.name}" for pack in product.packaging)
    return {"formula": code, **{name: form.text[name] for name in PRODUCT_FIELDS}, "packaging": packs}
