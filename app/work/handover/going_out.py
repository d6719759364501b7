"""Formulas out: their drafts as typed, their products, and the materials and packaging that they name."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.formula import Formula
from app.science.names import inci_key
from app.science.numbers import plain_or_empty
from app.store.formulas import FormulaRow, FormulaVersion
from app.store.material_queries import all_materials, every_packaging
from app.store.materials import MaterialRow, PackagingRow, materials_by_id
from app.store.products import Product, every_product_of, products_of
from app.store.workshop import the_workshop
from app.work.equipment import PackagingForm
from app.work.formulas.draft import Draft
from app.work.formulas.steps import opened
from app.work.handover.tables import HEAD, PRODUCT_FIELDS, Tables, empty_tables
from app.work.materials.transfer import material_lines
from app.work.materials.transfer_prices import price_cells
from app.work.pricing import exchange_of, pack_price
from app.work.products.product_form import ProductForm


def formulas_out(session: Session, formula_ids: Iterable[int] = (), *, every: bool = False) -> Tables:
    """Return the tables of some formulas, or of every one that is not retired.

    With ``every`` also of those that are, with their retired products, every material and all packaging.
    """
    wanted = tuple(formula_ids)
    asked = select(FormulaRow).order_by(FormulaRow.code)
    if wanted:
        asked = asked.where(FormulaRow.id.in_(wanted))
    elif not every:
        asked = asked.where(FormulaRow.retired_at.is_(None))
    tables = empty_tables()
    materials: set[int] = set()
    packaging: dict[int, PackagingRow] = {}
    shelf_names = {key: name for key, name in session.execute(select(MaterialRow.id, MaterialRow.name))}  # noqa: C416
    for formula in session.scalars(asked):
        draft = opened(session, formula).draft
        add_draft(tables, formula.code, draft)
        tables["formulas"][-1]["retired"] = "yes" if formula.retired_at else ""
        materials |= {line.material_id for line in draft.lines if line.material_id is not None}
        for version in sorted(formula.versions, key=lambda one: one.number):
            tables["versions"].append(_version(formula.code, version, shelf_names))
            materials |= {line.material_id for line in version.lines}
        for product in every_product_of(session, formula.id) if every else products_of(session, formula.id):
            tables["products"].append(_product(formula.code, product))
            packaging |= {pack.packaging_id: pack.packaging for pack in product.packaging}
    shelf = all_materials(session) if every else list(materials_by_id(session, materials).values())
    currency = the_workshop(session).currency
    for material in sorted(shelf, key=lambda one: one.name_key):
        tables["materials"] += material_lines(material)
        tables["prices"] += (price_cells(material, price, currency) for price in material.prices)
    pieces = every_packaging(session) if every else [piece for _, piece in sorted(packaging.items())]
    exchange = exchange_of(session)
    tables["packaging"] = [
        {
            **PackagingForm.of(piece).text,
            "price": plain_or_empty(pack_price(piece, exchange)),
            "retired": "yes" if piece.retired_at else "",
        }
        for piece in pieces
    ]
    return tables


def versions_out(session: Session, code: str) -> list[dict[str, str]]:
    """Return the rows of the versions of a formula."""
    shelf = {key: name for key, name in session.execute(select(MaterialRow.id, MaterialRow.name))}  # noqa: C416
    asked = select(FormulaVersion).join(FormulaVersion.formula).where(FormulaRow.code == code)
    return [_version(code, version, shelf) for version in session.scalars(asked.order_by(FormulaVersion.number))]


def _version(code: str, version: FormulaVersion, shelf: Mapping[int, str]) -> dict[str, str]:
    """Return a version as a row; the ids of this workshop, which mean nothing elsewhere, are taken out."""
    draft = Draft.from_json(version.content)
    now_called = {line.name: shelf[line.material_id] for line in version.lines}
    renamed = {then: name for then, name in now_called.items() if inci_key(then) != inci_key(name)}
    return {
        "formula": code,
        "number": str(version.number),
        "name": version.name,
        "exposure": version.exposure.value,
        "note": version.note,
        "kept_at": version.kept_at.isoformat(),
        "kept_by": version.kept_by,
        "content": replace(draft, lines=tuple(replace(line, material_id=None) for line in draft.lines)).to_json(),
        "value": with_ids(Formula.from_json(version.value), {}, {}).to_json(),
        "declared": version.declared or "",
        "filled_at": version.filled_at.isoformat() if version.filled_at else "",
        "on_shelf": json.dumps(renamed, ensure_ascii=False) if renamed else "",
    }


def with_ids(formula: Formula, materials: Mapping[str, int], packaging: Mapping[str, int]) -> Formula:
    """Return a formula whose materials and packaging carry the ids that belong to their names here, 0 without one."""
    phases = tuple(
        replace(
            phase,
            lines=tuple(
                replace(line, material=replace(line.material, id=materials.get(inci_key(line.material.name), 0)))
                for line in phase.lines
            ),
        )
        for phase in formula.phases
    )
    packs = tuple(replace(pack, id=packaging.get(pack.name, 0)) for pack in formula.packaging)
    return replace(formula, phases=phases, packaging=packs)


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
    retired = "yes" if product.retired_at else ""
    return {
        "formula": code,
        **{name: form.text[name] for name in PRODUCT_FIELDS},
        "packaging": packs,
        "retired": retired,
    }
