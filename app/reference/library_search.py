"""The shipped library as entries for the search."""

from functools import cache

from app.reference.material import LibraryMaterial
from app.reference.materials import library_materials
from app.reference.search import Index, SearchEntry, build_index
from app.reference.synonyms import other_names
from app.science.names import inci_key


@cache
def library_index() -> Index[str]:
    """The index of every shipped material, by its key; made once."""
    return build_index(_entry(found) for found in library_materials())


def _entry(found: LibraryMaterial) -> SearchEntry[str]:
    known = other_names().get(inci_key(found.parts[0].inci), ()) if _is_one_substance(found) else ()
    return SearchEntry(
        found.key, found.name, found.inci_names, found.cas_numbers, found.functions, (*found.aliases, *known)
    )


def _is_one_substance(found: LibraryMaterial) -> bool:
    """Tell whether a material is one substance, undiluted or in water."""
    return len([part for part in found.parts[1:] if part.inci != "Aqua"]) == 0
