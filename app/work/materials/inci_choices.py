"""INCI names to choose from while a composition is typed."""

from functools import cache

from app.reference.inci_names import inci_names
from app.reference.library import find_substance, substances
from app.science.names import inci_key

MOST = 12


@cache
def _keys() -> tuple[str, ...]:
    """The keys of every known name, the library's own first, each part in alphabetical order."""
    own = sorted(substances())
    return (*own, *sorted(inci_names().keys() - substances().keys()))


def names_like(text: str) -> list[str]:
    """List at most 12 names that begin with what was typed, then those that hold it."""
    key = inci_key(text)
    if len(key) < 2:
        return []
    begun = [name for name in _keys() if name.startswith(key)][:MOST]
    inside = [name for name in _keys() if key in name and not name.startswith(key)][: MOST - len(begun)]
    known, listed = substances(), inci_names()
    return [known[name].inci if name in known else listed[name].inci for name in begun + inside]


def cas_of(name: str) -> str:
    """Return the CAS number of a name; empty when none is known."""
    substance, listed = find_substance(name), inci_names().get(inci_key(name))
    return (substance.cas if substance else None) or (listed.cas if listed else None) or ""
