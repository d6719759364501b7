"""What a person does with the materials on the shelf: add, edit, retire, bring back, delete what nothing uses."""

from collections.abc import Iterable
from datetime import datetime

from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import flag_modified

from app.reference.materials import material as library_material
from app.science.errors import Invalid
from app.science.names import inci_key
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.material_queries import (
    Use,
    get_material,
    live_id_of_library_key,
    live_id_of_name,
    use_of,
)
from app.store.materials import Material, MaterialPart, PartAllergen
from app.work.clock import now
from app.work.materials.composition import ReadPart
from app.work.materials.reading import MaterialValues, read_material
from app.work.materials.typed_material import TypedMaterial, from_library
from app.work.once import earlier_result, remember, scoped
from app.work.rules.own_values import with_own_values
from app.work.typed import Faults

OWN_COLUMNS = (
    "name",
    "form",
    "phase_hint",
    "functions",
    "density_g_ml",
    "use_low",
    "use_high",
    "ph_min",
    "ph_max",
    "max_temp_c",
    "cautions",
    "notes",
    "source",
    "supplier",
    "library_key",
)


def load_material(store: Store, material_id: int) -> Material:
    """Read one material with parts, allergens and prices.

    Raises:
        NotFound: when there is none.
    """
    with store.reading() as session:
        return get_material(session, material_id)


def on_shelf(store: Store, library_key: str) -> int | None:
    """Give the id of the material that came from a row of the library, when one is on the shelf."""
    with store.reading() as session:
        return live_id_of_library_key(session, library_key)


def load_use(store: Store, material_id: int) -> Use:
    """Read what depends on a material."""
    with store.reading() as session:
        return use_of(session, material_id)


def add_material(store: Store, typed: TypedMaterial, key: str = "") -> int:
    """Put a material on the shelf and give its id; the same form taken twice gives the same material.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    values, key = read_material(typed), scoped("material", key)
    with store.transaction() as session:
        earlier = earlier_result(session, key)
        if earlier is not None:
            return int(earlier)
        material = insert_material(session, values)
        remember(session, key, str(material.id))
        return material.id


def insert_material(session: Session, values: MaterialValues, retired_at: datetime | None = None) -> Material:
    """Write a new material, or one retired already, inside a transaction that is open.

    Raises:
        Faults: when a material that is not retired has the name.
    """
    if retired_at is None:
        _check_name_free(session, values.name)
    name_key = inci_key(values.name)
    material = Material(name_key=name_key, created_at=now(), retired_at=retired_at, **_columns(values))
    material.parts = list(_rows(values.parts))
    session.add(material)
    session.flush()
    return material


def _columns(values: MaterialValues) -> dict[str, object]:
    return {column: getattr(values, column) for column in OWN_COLUMNS}


def _rows(parts: Iterable[ReadPart]) -> Iterable[MaterialPart]:
    for position, row in enumerate(parts):
        part = row.part
        allergens = [PartAllergen(inci=a.inci, percent=a.percent) for a in part.allergens]
        yield MaterialPart(
            position=position,
            inci=part.inci,
            cas=part.cas,
            percent=part.percent,
            low=part.low,
            high=part.high,
            kind=part.kind,
            nano=part.nano,
            may_contain=part.may_contain,
            source=row.source,
            allergens=allergens,
        )


def _check_name_free(session: Session, name: str, apart_from: int | None = None) -> None:
    if live_id_of_name(session, inci_key(name), apart_from) is not None:
        raise Faults([Invalid("name", f"There is already a material named {name}; give this one another name.")])


def revise_material(store: Store, material_id: int, typed: TypedMaterial, row_version: int) -> None:
    """Write what was changed in a material.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the material changed since version ``row_version`` was read.
        NotFound: when there is no such material.
    """
    values = read_material(typed)
    with store.transaction() as session:
        material = _fresh(session, material_id, row_version)
        if material.retired_at is None:
            _check_name_free(session, values.name, apart_from=material_id)
        update_material(session, material, values)


def _fresh(session: Session, material_id: int, row_version: int) -> Material:
    material = get_material(session, material_id)
    if material.row_version != row_version:
        raise Conflict(f"{material.name} was changed in the meantime.")
    return material


def update_material(session: Session, material: Material, values: MaterialValues) -> None:
    """Write new values into a material; its version goes up even when only its composition changed."""
    for column, value in _columns(values).items():
        setattr(material, column, value)
    material.name_key = inci_key(values.name)
    flag_modified(material, "name")
    material.parts.clear()
    session.flush()
    material.parts.extend(_rows(values.parts))
    session.flush()


def put_on_shelf(store: Store, library_key: str, key: str = "") -> int:
    """Take a shipped material as a start for one's own and give its id; one that is there already is given instead.

    Raises:
        NotFound: when the library has no such material.
        Faults: when another material has its name.
    """
    shipped = library_material(library_key)
    if shipped is None:
        raise NotFound("The library has no such material.")
    there = on_shelf(store, library_key)
    if there is not None:
        return there
    with store.reading() as session:
        typed = with_own_values(session, shipped, from_library(shipped))
    return add_material(store, typed, key)


def retire(store: Store, material_id: int) -> None:
    """Take a material out of lists and suggestions; formulas and batches keep it.

    Raises:
        NotFound: when there is none.
    """
    with store.transaction() as session:
        material = get_material(session, material_id)
        material.retired_at = material.retired_at or now()


def bring_back(store: Store, material_id: int) -> None:
    """Put a retired material back on the shelf.

    Raises:
        NotFound: when there is none.
        Faults: when another material has taken its name.
    """
    with store.transaction() as session:
        material = get_material(session, material_id)
        _check_name_free(session, material.name, apart_from=material_id)
        material.retired_at = None


def delete_unused(store: Store, material_id: int) -> str:
    """Delete a material that no formula and no batch uses, with its prices, and give its name.

    Raises:
        NotFound: when there is none.
        Conflict: when something uses it.
    """
    with store.transaction() as session:
        material = get_material(session, material_id)
        if not use_of(session, material_id).may_go:
            raise Conflict(f"{material.name} is used, so it can only be retired.")
        session.delete(material)
        return material.name
