"""Materials as a formula sees them: a frozen copy of what stood on the shelf when it was read."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.composition import AllergenShare, Part
from app.science.formula import Material, Price, Solvency
from app.science.names import inci_key
from app.science.plain_data import from_plain, to_plain
from app.store import materials as stored
from app.work.formulas.draft import Draft
from app.work.pricing import PriceBook, price_book

Shelf = Mapping[int, Material]
# Where it is not known what dissolves a material, no stock solution of it is advised.
SOLVENCIES = {
    stored.Solvent.WATER: Solvency.WATER,
    stored.Solvent.OIL: Solvency.OIL,
    stored.Solvent.ALCOHOL: Solvency.ALCOHOL,
}


def shelf_of(session: Session, draft: Draft, book: PriceBook | None = None) -> Shelf:
    """Read the materials that a draft names by their ids, retired ones too; the prices are read unless given."""
    return read_shelf(session, {line.material_id for line in draft.lines if line.material_id is not None}, book)


def read_shelf(session: Session, ids: set[int], book: PriceBook | None = None) -> Shelf:
    """Read some materials with their composition and the prices that they are reckoned with, read unless given."""
    if not ids:
        return {}
    book = book or price_book(session)
    found = stored.materials_by_id(session, ids)
    return {key: as_shelf_material(one, book.of_material(one)) for key, one in found.items()}


def as_shelf_material(material: stored.MaterialRow, prices: tuple[Price, ...] = ()) -> Material:
    """Copy a stored material into a value, with the prices it is reckoned with where they are asked for."""
    return Material(
        id=material.id,
        name=material.name,
        parts=tuple(_part(part) for part in material.parts),
        density_g_ml=material.density_g_ml,
        form=str(material.form),
        phase_hint=str(material.phase_hint),
        functions=material.functions,
        cautions=material.cautions,
        certificate=material.certificate,
        use_low=material.use_low,
        use_high=material.use_high,
        solvency=SOLVENCIES.get(material.dissolves_in, Solvency.NEITHER),
        prices=prices,
        retired=material.retired_at is not None,
    )


def _part(part: stored.MaterialPart) -> Part:
    allergens = tuple(AllergenShare(a.inci, a.percent) for a in part.allergens)
    return Part(
        part.inci, part.percent, part.kind, part.nano, part.cas, part.may_contain, allergens, part.low, part.high
    )


def match_materials(session: Session, draft: Draft, earlier: Draft | None = None) -> Draft:
    """Put the lines in the order of the page and give each the material on the shelf that has its typed name.

    A line keeps its material while its typed name stays what it was in ``earlier``, though the material was renamed.
    """
    before = {line.id: line for line in earlier.lines} if earlier else {}
    unchanged: dict[str, int] = {}
    for line in draft.lines:
        old = before.get(line.id)
        if old is not None and old.typed == line.typed and old.material_id is not None:
            unchanged[line.id] = old.material_id
    keys = {inci_key(line.typed) for line in draft.lines if line.typed.strip() and line.id not in unchanged}
    by_name: dict[str, int] = {}
    if keys:
        named = select(stored.MaterialRow.name_key, stored.MaterialRow.id).where(stored.MaterialRow.name_key.in_(keys))
        live = session.execute(named.where(stored.MaterialRow.retired_at.is_(None)))
        by_name = {row.name_key: row.id for row in live}
    lines = tuple(
        replace(line, material_id=unchanged.get(line.id) or by_name.get(inci_key(line.typed)))
        for line in draft.in_page_order()
    )
    return replace(draft, lines=lines)


def pin(materials: Iterable[Material]) -> str:
    """Return materials as one JSON text, as they are today and without their prices."""
    rows = [to_plain(replace(material, prices=())) for material in sorted(materials, key=lambda m: m.id)]
    return json.dumps(rows, ensure_ascii=False, separators=(",", ":"))


def pinned(text: str) -> Shelf:
    """Return pinned materials by their ids; none for an empty text."""
    found = (from_plain(Material, row) for row in json.loads(text or "[]"))
    return {material.id: material for material in found}
