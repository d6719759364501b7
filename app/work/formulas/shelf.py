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
from app.work.formulas.draft import Draft, DraftLine
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


def as_shelf_material(material: stored.Material, prices: tuple[Price, ...] = ()) -> Material:
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
    by_name = _live_by_name(
        session,
        {
            inci_key(line.typed)
            for line in draft.lines
            if line.typed.strip() and not _unchanged(line, before.get(line.id))
        },
    )
    lines = tuple(_settled(line, before.get(line.id), by_name) for line in draft.in_page_order())
    return replace(draft, lines=lines)


def _unchanged(line: DraftLine, earlier: DraftLine | None) -> bool:
    return earlier is not None and earlier.typed == line.typed and earlier.material_id is not None


def _settled(line: DraftLine, earlier: DraftLine | None, by_name: Mapping[str, int]) -> DraftLine:
    if earlier is not None and _unchanged(line, earlier):
        return replace(line, material_id=earlier.material_id)
    return replace(line, material_id=by_name.get(inci_key(line.typed)))


def _live_by_name(session: Session, keys: set[str]) -> dict[str, int]:
    if not keys:
        return {}
    live = stored.Material.retired_at.is_(None)
    asked = select(stored.Material.name_key, stored.Material.id).where(live, stored.Material.name_key.in_(keys))
    return {key: material_id for key, material_id in session.execute(asked)}  # noqa: C416 - rows are no pairs to mypy


def pin(materials: Iterable[Material]) -> str:
    """Return materials as one JSON text, as they are today and without their prices."""
    rows = [to_plain(replace(material, prices=())) for material in sorted(materials, key=lambda m: m.id)]
    return json.dumps(rows, ensure_ascii=False, separators=(",", ":"))


def pinned(text: str) -> Shelf:
    """Return pinned materials by their ids; none for an empty text."""
    found = (from_plain(Material, row) for row in json.loads(text or "[]"))
    return {material.id: material for material in found}
