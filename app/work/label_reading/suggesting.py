"""What a printed name that is not known may mean."""

from app.reference.inci_names import inci_names
from app.reference.library import substances
from app.reference.library_search import library_index
from app.reference.search import search
from app.science.names import inci_key

MOST = 6
LONGEST_QUERY = 120


def suggestions(printed: str) -> list[str]:
    """Return INCI names that a printed name may mean, likeliest first, each once."""
    hits = search(library_index(), printed[:LONGEST_QUERY], limit=MOST)
    shipped = [hit.entry.inci[0] for hit in hits if hit.entry.inci]
    begun = [_as_shipped(name) for name in _begun(inci_key(printed))]
    return list(dict.fromkeys([*begun, *shipped]))[:MOST]


def _begun(key: str) -> list[str]:
    """Return the names of the inventory that begin with the same first two words, the shortest first."""
    start = " ".join(key.split()[:2])
    if len(start) < 6:
        return []
    return sorted((name for name in inci_names() if name.startswith(start)), key=len)[:MOST]


def _as_shipped(key: str) -> str:
    found = substances().get(key)
    return found.inci if found else key.title()
