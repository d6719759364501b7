"""The shipped library as entries for the search."""

from functools import cache

from app.reference.materials import library_materials
from app.reference.search import Index, SearchEntry, build_index
from app.reference.synonyms import other_names
from app.science.names import inci_key


@cache
def library_index() -> Index[str]:
    """The index of every shipped material, by its key; made once."""
    entries = []
    for one in library_materials():
        is_one_substance = all(part.inci == "Aqua" for part in one.parts[1:])  # undiluted or in water
        known = other_names().get(inci_key(one.parts[0].inci), ()) if is_one_substance else ()
        names = (*one.aliases, *known)
        entries.append(SearchEntry(one.key, one.name, one.inci_names, one.cas_numbers, one.functions, names))
    return build_index(entries)
