"""The shipped library as entries for the search."""

from collections.abc import Sequence
from functools import cache

from app.reference.library import substances
from app.reference.materials import library_materials
from app.reference.search import Index, SearchEntry, build_index
from app.reference.synonyms import other_names
from app.science.names import inci_key

WATER = inci_key("Aqua")


@cache
def library_index() -> Index[str]:
    """The index of every shipped material, by its key; made once."""
    entries = []
    for one in library_materials():
        names = (*one.aliases, *also_called(one.inci_names))
        found = (substances().get(inci_key(name)) for name in one.inci_names)
        cas = (*one.cas_numbers, *(number for substance in found if substance for number in substance.cas_alt))
        entries.append(SearchEntry(one.key, one.name, one.inci_names, cas, one.functions, names))
    return build_index(entries)


def also_called(inci_names: Sequence[str]) -> tuple[str, ...]:
    """Return the other names of a material of one substance, undiluted or in water; none of a mixture."""
    solutes = [name for name in inci_names if inci_key(name) != WATER] or inci_names
    return other_names().get(inci_key(solutes[0]), ()) if len(solutes) == 1 else ()
