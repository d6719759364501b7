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
    MaterialUse,
    get_material,
    live_id_of_library_key,
    live_id_of_name,
    use_of,
)
from app.store.materials import MaterialPart, MaterialRow, PartAllergen
from app.work.action import action
from app.work.clock import now
from app.work.form import Faults
from app.work.materials.material_form import MaterialForm, PartForm, from_library
from app.work.rules.own_values import with_own_values


def load_material(store: Store, material_id: int) -> MaterialRow:
    """Return one material with parts, allergens and prices.

    Raises:
        NotFound: when there is none.
    """
    with store.reading() as session:
        return get_material(session, material_id)


def on_shelf(store: Store, library_key: str) -> int | None:
    """Return the id of the material that came from a row of the library, when one is on the shelf."""
    with store.reading() as session:
        return live_id_of_library_key(session, library_key)


def load_use(store: Store, material_id: int) -> MaterialUse:
    """Return what depends on a material."""
    with store.reading() as session:
        return use_of(session, material_id)


@action(once="material")
def add_material(session: Session, typed: MaterialForm, key: str = "") -> int:
    """Put a material on the shelf and return its id; the same form taken twice gives the same material.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    return insert_material(session, typed).id


def insert_material(session: Session, typed: MaterialForm) -> MaterialRow:
    """Write a new material inside a transaction that is open.

    Raises:
        Faults: with everything that is wrong, or when a material that is not retired has the name.
    """
    form = typed.checked()
    _check_name_free(session, form.name)
    material = new_material(form)
    session.add(material)
    session.flush()
    return material


def new_material(form: MaterialForm, retired_at: datetime | None = None) -> MaterialRow:
    """Return a material that is not in the database yet."""
    material = MaterialRow(name_key=inci_key(form.name), created_at=now(), retired_at=retired_at, **form.columns())
    material.parts = list(_rows(form.parts))
    return material


def _rows(parts: Iterable[PartForm]) -> Iterable[MaterialPart]:
    for position, row in enumerate(parts):
        allergens = [PartAllergen(inci=a.inci, percent=a.percent) for a in row.allergens]
        yield MaterialPart(position=position, allergens=allergens, **row.columns() | {"cas": row.cas or None})


def _check_name_free(session: Session, name: str, apart_from: int | None = None) -> None:
    if live_id_of_name(session, inci_key(name), apart_from) is not None:
        raise Faults([Invalid("name", f"There is already a material named {name}; give this one another name.")])


def revise_material(store: Store, material_id: int, typed: MaterialForm, row_version: int) -> None:
    """Write what was changed in a material.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the material changed since version ``row_version`` was read.
        NotFound: when there is no such material.
    """
    form = typed.checked()
    with store.transaction() as session:
        material = get_material(session, material_id)
        words = f"{material.name} was changed in the meantime."
        if typed.refuse_overtaken(MaterialForm.of(material), row_version, words, now=material.row_version):
            return
        if material.retired_at is None:
            _check_name_free(session, form.name, apart_from=material_id)
        update_material(session, material, form)


def update_material(session: Session, material: MaterialRow, typed: MaterialForm) -> None:
    """Write new values into a material; its version goes up even when only its composition changed."""
    form = typed.checked()
    for column, value in form.columns().items():
        setattr(material, column, value)
    material.name_key = inci_key(form.name)
    flag_modified(material, "name")
    material.parts.clear()
    session.flush()
    material.parts.extend(_rows(form.parts))
    session.flush()


def put_on_shelf(store: Store, library_key: str, key: str = "") -> int:
    """Take a shipped material as a start for one's own and return its id, or the id of one that is there already.

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
    """Delete a material that no formula and no batch uses, with its prices, and return its name.

    Raises:
        NotFound: when there is none.
        Conflict: when something uses it.
    """
    with store.transaction() as session:
        material = get_material(session, material_id)
        if not use_of(session, material_id).deletable:
            raise Conflict(f"{material.name} is used, so it can only be retired.")
        session.delete(material)
        return material.name
