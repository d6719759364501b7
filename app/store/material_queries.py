"""Questions about materials: what the shelf holds, what uses a material, what can be found."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, func, select
from sqlalchemy.orm import Session, selectinload

from app.store.batches import BatchLine
from app.store.errors import NotFound
from app.store.formulas import DraftMaterial, FormulaRow, FormulaVersion, VersionLine
from app.store.materials import MaterialPart, MaterialRow, PackagingRow, PriceRow

Marker = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class FormulaUse:
    """A formula that uses a material, in its draft, in versions kept for good, or both."""

    formula_id: int
    code: str
    name: str
    in_draft: bool
    versions: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MaterialUse:
    """Everything that depends on a material."""

    formulas: tuple[FormulaUse, ...]
    batches: int
    prices: int

    @property
    def deletable(self) -> bool:
        """Whether the material can be deleted."""
        return not self.formulas and not self.batches


def shelf_marker(session: Session) -> Marker:
    """Return a value that changes whenever a material is added, changed, retired or deleted; one statement."""
    columns = (
        func.count(MaterialRow.id),
        func.sum(MaterialRow.row_version),
        func.max(MaterialRow.id),
        func.max(MaterialRow.created_at),
    )
    return tuple(session.execute(select(*columns)).one())


def shelf_outline(session: Session) -> list[Row[Any]]:
    """List id, name, library key, functions, phase hint and time of retirement of every material, by name."""
    columns = (
        MaterialRow.id,
        MaterialRow.name,
        MaterialRow.library_key,
        MaterialRow.functions,
        MaterialRow.phase_hint,
        MaterialRow.retired_at,
    )
    return list(session.execute(select(*columns).order_by(MaterialRow.name_key, MaterialRow.id)))


def part_names(session: Session) -> dict[int, list[tuple[str, str | None]]]:
    """Return the INCI names and CAS numbers of every material, by its id; one statement."""
    rows = session.execute(
        select(MaterialPart.material_id, MaterialPart.inci, MaterialPart.cas).order_by(
            MaterialPart.material_id, MaterialPart.position
        )
    )
    found: dict[int, list[tuple[str, str | None]]] = {}
    for material_id, inci, cas in rows:
        found.setdefault(material_id, []).append((inci, cas))
    return found


def get_material(session: Session, material_id: int) -> MaterialRow:
    """Load one material with parts, allergens and prices, retired or not.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(
        MaterialRow,
        material_id,
        options=[
            selectinload(MaterialRow.parts).selectinload(MaterialPart.allergens),
            selectinload(MaterialRow.prices),
        ],
    )
    if found is None:
        raise NotFound("There is no such material.")
    return found


def live_id_of_name(session: Session, name_key: str, apart_from: int | None = None) -> int | None:
    """Return the id of the material that is not retired and has this name, other than ``apart_from``."""
    query = select(MaterialRow.id).where(MaterialRow.name_key == name_key, MaterialRow.retired_at.is_(None))
    return session.scalar(query if apart_from is None else query.where(MaterialRow.id != apart_from))


def live_id_of_library_key(session: Session, library_key: str) -> int | None:
    """Return the id of a material that is not retired and came from the library."""
    query = select(MaterialRow.id).where(MaterialRow.library_key == library_key, MaterialRow.retired_at.is_(None))
    return session.scalar(query.order_by(MaterialRow.id).limit(1))


def use_of(session: Session, material_id: int) -> MaterialUse:
    """Return what depends on a material; five statements however much that is."""
    drafts = set(session.scalars(select(DraftMaterial.formula_id).where(DraftMaterial.material_id == material_id)))
    kept = (
        select(FormulaVersion.formula_id, FormulaVersion.number)
        .join(VersionLine, VersionLine.version_id == FormulaVersion.id)
        .where(VersionLine.material_id == material_id)
        .distinct()
        .order_by(FormulaVersion.formula_id, FormulaVersion.number)
    )
    versions: dict[int, list[int]] = {}
    for formula_id, number in session.execute(kept):
        versions.setdefault(formula_id, []).append(number)
    ids = drafts | versions.keys()
    rows = session.execute(
        select(FormulaRow.id, FormulaRow.code, FormulaRow.name).where(FormulaRow.id.in_(ids)).order_by(FormulaRow.code)
    )
    return MaterialUse(
        formulas=tuple(FormulaUse(i, code, name, i in drafts, tuple(versions.get(i, ()))) for i, code, name in rows),
        batches=session.scalar(select(func.count(BatchLine.id)).where(BatchLine.material_id == material_id)) or 0,
        prices=session.scalar(select(func.count(PriceRow.id)).where(PriceRow.material_id == material_id)) or 0,
    )


def materials_in_order(session: Session, ids: Sequence[int]) -> list[MaterialRow]:
    """Load the materials of one page of a list with parts and prices, in the order asked for."""
    loaded = select(MaterialRow).options(selectinload(MaterialRow.parts), selectinload(MaterialRow.prices))
    found = {m.id: m for m in session.scalars(loaded.where(MaterialRow.id.in_(ids)))}
    return [found[i] for i in ids if i in found]


def all_materials(session: Session) -> list[MaterialRow]:
    """Load every material with parts, allergens and prices, retired or not, by name; four statements."""
    loaded = select(MaterialRow).options(
        selectinload(MaterialRow.parts).selectinload(MaterialPart.allergens), selectinload(MaterialRow.prices)
    )
    return list(session.scalars(loaded.order_by(MaterialRow.name_key, MaterialRow.id)))


def materials_named(session: Session, name_keys: Sequence[str]) -> list[MaterialRow]:
    """Return the materials with these names, retired or not, with parts and allergens."""
    loaded = select(MaterialRow).options(selectinload(MaterialRow.parts).selectinload(MaterialPart.allergens))
    return list(session.scalars(loaded.where(MaterialRow.name_key.in_(name_keys))))


def every_packaging(session: Session) -> list[PackagingRow]:
    """Return the packaging, what is not retired first, then by name."""
    return list(
        session.scalars(
            select(PackagingRow).order_by(PackagingRow.retired_at.is_not(None), func.lower(PackagingRow.name))
        )
    )
