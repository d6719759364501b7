"""Materials that a typed name may mean: the shelf first, then the library."""

from collections.abc import Iterable
from dataclasses import dataclass

from app.reference.library_search import library_index
from app.reference.materials import material as library_material
from app.reference.search import BEGINS_SO, Hit, search
from app.science.errors import Invalid
from app.science.names import inci_key
from app.store.engine import Store
from app.work.form import Faults
from app.work.formulas.paste import MaterialOffer
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.material_search import LONGEST_QUERY, shelf_index
from app.work.materials.shelf import add_material, put_on_shelf

MOST = 12
MOST_UNMATCHED = 8
FROM_SHELF, FROM_LIBRARY, BARE = "shelf", "library", "bare"


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A material to choose: ``value`` is ``shelf:<id>`` or ``library:<key>``; ``inci`` says what is in it.

    ``standing`` says how it is called beside what was typed, as a hit of the search; ``is_pure`` when it is one
    substance undiluted.
    """

    value: str
    name: str
    inci: str
    on_shelf: bool
    standing: int = 0
    is_pure: bool = False


def suggest(store: Store, text: str, most: int = MOST) -> list[Suggestion]:
    """Return materials for what is being typed: what is called so first, then what begins so, then the rest.

    Among equals the shelf goes before the library; a guess at a spelling is offered only when nothing was found.
    """
    with store.reading() as session:
        shelf = shelf_index(store, session)
    query = text[:LONGEST_QUERY]
    own = [hit for hit in search(shelf.index, query, most * 2) if not shelf.outlines[hit.entry.id].retired]
    names = {inci_key(hit.entry.name) for hit in own}
    keys = shelf.live_library_keys
    shipped = [
        hit
        for hit in search(library_index(), query, most * 2)
        if hit.entry.id not in keys and inci_key(hit.entry.name) not in names
    ]
    ranked = [(not hit.sure, -hit.standing, 0, _suggestion(f"{FROM_SHELF}:{hit.entry.id}", hit, True)) for hit in own]
    ranked += [
        (not hit.sure, -hit.standing, 1, _suggestion(f"{FROM_LIBRARY}:{hit.entry.id}", hit, False)) for hit in shipped
    ]
    ranked.sort(key=lambda one: one[:3])
    return [one for guess, _, _, one in ranked if guess == ranked[0][0]][:most]


def _suggestion(value: str, hit: Hit[int] | Hit[str], on_shelf: bool) -> Suggestion:
    inci = hit.entry.inci
    return Suggestion(value, hit.entry.name, ", ".join(inci[:4]), on_shelf, hit.standing, len(inci) == 1)


def choices(store: Store, name: str, inci: str = "") -> list[MaterialOffer]:
    """Return what a pasted or typed name may mean, with the INCI name that stood beside it, if one did.

    Sure when a name or a single INCI name is the very same; the first is likely when it is called so by another name,
    is the only one that begins with those words on the shelf (in the library), or the only one at all. A solution is
    not taken for a name that the undiluted substance has too: of lye nobody can tell which was meant.
    """
    keys = {inci_key(text) for text in (name, inci) if text.strip()}
    found = suggest(store, name, 6) or (suggest(store, inci, 6) if inci.strip() else [])
    if inci.strip() and all(inci_key(one.inci) != inci_key(inci) for one in found):
        found = [*found, *(one for one in suggest(store, inci, 3) if one not in found)]
    exact = next((one for one in found if keys & {inci_key(one.name), inci_key(one.inci)}), None)
    first = found[0] if found else None
    likely = first if first and (first.standing >= BEGINS_SO or len(found) == 1) else None
    if likely and not likely.is_pure and any(one.is_pure and one.standing >= likely.standing for one in found):
        likely = None
    if likely and likely.standing == BEGINS_SO and _place(found[1:2]) == _place([likely]):
        likely = None
    return [MaterialOffer(one.value, one.name, one is exact, exact is None and one is likely) for one in found]


def _place(found: Iterable[Suggestion]) -> list[tuple[bool, int]]:
    return [(one.on_shelf, one.standing) for one in found]


def accept_suggestion(store: Store, value: str, typed: str) -> str:
    """Carry out a choice and give the name of the material that now stands on the shelf.

    ``library:<key>`` puts the shipped material on the shelf, ``bare`` a new one that is called and made of what was
    typed, ``shelf:<name>`` and anything else changes nothing.

    Raises:
        Invalid: at ``typed``, when the shelf does not take it.
        NotFound: when the library has no such material.
    """
    source, _, key = value.partition(":")
    try:
        if source == FROM_LIBRARY:
            put_on_shelf(store, key)
        elif source == BARE:
            add_material(store, MaterialForm(name=typed, parts=(PartForm(inci=typed, percent="100"),)))
    except Faults as faults:
        if source == BARE or not any(fault.field == "name" for fault in faults.faults):
            raise Invalid("typed", faults.faults[0].message) from faults
    with store.reading() as session:
        shelf = shelf_index(store, session)
    names = {entry.id: entry.name for entry in shelf.index.entries}
    if source == FROM_LIBRARY:  # a library material that stands on the shelf may have been renamed there
        own = (o.id for o in shelf.outlines.values() if o.library_key == key and not o.retired)
        shipped = library_material(key)
        return names.get(next(own, 0)) or (shipped.name if shipped else typed)
    return names.get(int(key), typed) if source == FROM_SHELF and key.isdecimal() else typed


def unmatched(lines: Iterable[tuple[str, str]], store: Store) -> dict[str, list[Suggestion]]:
    """Return suggestions for lines (id, typed name) without a material; for the first few, so that pages stay quick."""
    wanted = [(line_id, typed) for line_id, typed in lines if typed.strip()][:MOST_UNMATCHED]
    return {line_id: suggest(store, typed, 3) for line_id, typed in wanted}
