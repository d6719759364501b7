"""Finding a material on the shelf and in the library, with the filters of the list."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from weakref import WeakKeyDictionary

from sqlalchemy.orm import Session

from app.reference.library import split_cell
from app.reference.library_search import also_called, library_index
from app.reference.material import LibraryMaterial
from app.reference.materials import library_materials
from app.reference.materials import material as library_material
from app.reference.search import Index, SearchEntry, build_index, search
from app.store.engine import Store
from app.store.material_queries import Marker, materials_in_order, part_names, shelf_marker, shelf_outline
from app.store.materials import MaterialRow

IN_USE, RETIRED, ALL = "in use", "retired", "all"
PAGE = 100
MOST_LIBRARY = 40
LONGEST_QUERY = 200


@dataclass(frozen=True, slots=True)
class SearchedFor:
    """What is looked for: words, and the filters that are set; an empty filter lets everything pass."""

    words: str = ""
    function: str = ""
    phase: str = ""
    state: str = IN_USE

    @property
    def filtered(self) -> bool:
        """Whether anything narrows the list."""
        return bool(self.words.strip() or self.function or self.phase)


@dataclass(frozen=True, slots=True)
class MaterialSummary:
    """What the list needs to know of a material to filter it."""

    id: int
    library_key: str | None
    functions: tuple[str, ...]
    phase: str
    retired: bool


@dataclass(frozen=True, slots=True)
class ShelfOutline:
    """The whole shelf in outline, ready to be searched; ``marker`` says of which state of the database."""

    marker: Marker
    outlines: dict[int, MaterialSummary]
    index: Index[int]

    @property
    def live_library_keys(self) -> frozenset[str]:
        """The rows of the library that stand on the shelf and are not retired."""
        return frozenset(o.library_key for o in self.outlines.values() if o.library_key and not o.retired)


@dataclass(frozen=True, slots=True)
class FoundMaterial:
    """One page of the answer, with the counts of the whole of it; ``guessed`` when a spelling was guessed."""

    materials: tuple[MaterialRow, ...]
    shelf_count: int
    library: tuple[LibraryMaterial, ...]
    library_count: int
    guessed: bool
    page: int


_SHELVES: WeakKeyDictionary[Store, ShelfOutline] = WeakKeyDictionary()


def shelf_index(store: Store, session: Session) -> ShelfOutline:
    """Return the shelf ready to be searched; read anew only when a material changed since the last time."""
    marker = shelf_marker(session)
    known = _SHELVES.get(store)
    if known is None or known.marker != marker:
        known = _SHELVES[store] = _read_shelf(session, marker)
    return known


def _read_shelf(session: Session, marker: Marker) -> ShelfOutline:
    rows, names = shelf_outline(session), part_names(session)
    outlines = {
        row.id: MaterialSummary(
            row.id, row.library_key, split_cell(row.functions), row.phase_hint.value, bool(row.retired_at)
        )
        for row in rows
    }
    entries = []
    for row in rows:
        parts = names.get(row.id, [])
        substances = tuple(inci for inci, _ in parts)
        shipped = library_material(row.library_key) if row.library_key else None
        as_shipped = (shipped.name, *shipped.aliases) if shipped else ()
        entries.append(
            SearchEntry(
                id=row.id,
                name=row.name,
                inci=substances,
                cas=tuple(cas for _, cas in parts if cas),
                functions=outlines[row.id].functions,
                other_names=(*as_shipped, *also_called(substances)),
            )
        )
    return ShelfOutline(marker, outlines, build_index(entries))


def find(store: Store, wanted: SearchedFor, page: int = 1) -> FoundMaterial:
    """Return the materials that fit on the shelf and in the library, without those of the library that stand on it.

    A guess at a spelling is not shown beside something that was found as it is spelled.
    """
    with store.reading() as session:
        shelf = shelf_index(store, session)
        ids, sure = _shelf_ids(shelf, wanted)
        listed, library_sure = search_library(wanted)
        if ids and not sure and listed and library_sure:
            ids, sure = [], True
        if listed and not library_sure and ids and sure:
            listed, library_sure = [], True
        page = min(max(page, 1), max(1, -(-len(ids) // PAGE)))
        materials = materials_in_order(session, ids[(page - 1) * PAGE : page * PAGE])
    shipped = [m for m in listed if m.key not in shelf.live_library_keys]
    guessed = not (sure and library_sure)
    return FoundMaterial(tuple(materials), len(ids), tuple(shipped[:MOST_LIBRARY]), len(shipped), guessed, page)


def _shelf_ids(shelf: ShelfOutline, wanted: SearchedFor) -> tuple[list[int], bool]:
    if not wanted.words.strip():
        return [o.id for o in shelf.outlines.values() if _passes(o, wanted)], True
    hits = search(shelf.index, wanted.words[:LONGEST_QUERY], limit=len(shelf.outlines))
    ids = [hit.entry.id for hit in hits if _passes(shelf.outlines[hit.entry.id], wanted)]
    return ids, all(hit.sure for hit in hits)


def _passes(outline: MaterialSummary, wanted: SearchedFor) -> bool:
    state = wanted.state == ALL or outline.retired == (wanted.state == RETIRED)
    return state and _fits(outline.functions, outline.phase, wanted)


def _fits(functions: Iterable[str], phase: str, wanted: SearchedFor) -> bool:
    return (not wanted.function or wanted.function in functions) and (not wanted.phase or wanted.phase == phase)


def search_library(wanted: SearchedFor) -> tuple[list[LibraryMaterial], bool]:
    """Return the shipped materials that fit, best first, and whether every word was found as it is spelled.

    All of them come by name when no word is given but a filter is; none without either.
    """
    if not wanted.filtered or wanted.state == RETIRED:
        return [], True
    listed, sure = _named(wanted.words)
    return [m for m in listed if _fits(m.functions, m.phase_hint, wanted)], sure


def _named(words: str) -> tuple[Sequence[LibraryMaterial], bool]:
    if not words.strip():
        return sorted(library_materials(), key=lambda m: m.name.casefold()), True
    hits = search(library_index(), words[:LONGEST_QUERY], limit=len(library_index().entries))
    found = [m for hit in hits if (m := library_material(hit.entry.id)) is not None]
    return found, all(hit.sure for hit in hits)


def functions_known(store: Store) -> list[str]:
    """Return the functions there are on the shelf and in the library, by name."""
    with store.reading() as session:
        shelf = shelf_index(store, session)
    counted = Counter(f for o in shelf.outlines.values() for f in o.functions)
    return sorted(counted.keys() | _library_functions())


@cache
def _library_functions() -> frozenset[str]:
    return frozenset(f for m in library_materials() for f in m.functions)
