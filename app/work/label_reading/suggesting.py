"""What a printed name that is not known may mean."""

from app.reference.inci_names import inci_names
from app.reference.library import substances
from app.reference.library_search import library_index
from app.reference.search import search
from app.science.names import inci_key

MOST = 6
LONGEST_QUERY = 120
SHORTEST_START = 6


def suggestions(printed: str) -> list[str]:
    """Return INCI names that a printed name may mean, each once: those that begin with the same two words, the
    shortest first, then what the search of the library finds.
    """
    start = " ".join(inci_key(printed).split()[:2])
    alike = (name for name in inci_names() if name.startswith(start)) if len(start) >= SHORTEST_START else ()
    begun = [substances()[key].inci if key in substances() else key.title() for key in sorted(alike, key=len)[:MOST]]
    hits = search(library_index(), printed[:LONGEST_QUERY], limit=MOST)
    shipped = [hit.entry.inci[0] for hit in hits if hit.entry.inci]
    return list(dict.fromkeys([*begun, *shipped]))[:MOST]
