"""Names mended after a camera: blanks lost, letters misread, commas missed, against all names that are known."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from types import MappingProxyType

from rapidfuzz import process
from rapidfuzz.distance import OSA

from app.reference.inci_names import inci_names
from app.reference.label_names import LabelNames, printed_otherwise
from app.reference.library import substances

LIKE = str.maketrans({"0": "O", "1": "I", "5": "S", "8": "B", "|": "I", "L": "I"})  # what a camera confuses
SHORTEST = 4
SLIPS = 0.15  # of the letters of a name
MOST_PARTS = 4


@dataclass(frozen=True, slots=True)
class Mended:
    """A piece of a photographed list: the names it holds as usually printed, and whether that is sure."""

    names: tuple[str, ...]
    sure: bool


def compact(text: str) -> str:
    """Return a name without blanks and signs, in capitals.

    >>> compact("PEG-100 Stearate")
    'PEG100STEARATE'
    """
    return "".join(sign for sign in text.upper() if sign.isalnum())


@cache
def _by_compact() -> Mapping[str, str]:
    """Return every known name by its compact form; a name of the library before one of the inventory."""
    found: dict[str, str] = {}
    for key in (*substances(), *printed_otherwise(), *inci_names()):
        found.setdefault(compact(key), key)
    return MappingProxyType(found)


@cache
def _by_length() -> Mapping[int, tuple[str, ...]]:
    groups: dict[int, list[str]] = {}
    for form in _by_compact():
        groups.setdefault(len(form), []).append(form)
    return MappingProxyType({length: tuple(forms) for length, forms in groups.items()})


def mend(text: str) -> Mended:
    """Return the names that a piece of a photographed list holds; the piece as it is where nothing is near."""
    form = compact(text)
    exact = _by_compact().get(form)
    if exact is not None:
        return Mended((_printed(exact),), True)
    parts = _parted(form)
    if parts:
        return Mended(tuple(_printed(_by_compact()[part]) for part in parts), True)
    near = _nearest(form)
    return Mended((_printed(_by_compact()[near]),), False) if near else Mended((" ".join(text.split()),), False)


def _printed(key: str) -> str:
    found = LabelNames().find(key)
    return found.inci if found else key.title()


@lru_cache(maxsize=5_000)
def _parted(form: str) -> tuple[str, ...]:
    """Part a piece in which a comma was missed into the fewest known names; empty where it is not that."""
    best: dict[int, tuple[str, ...]] = {0: ()}
    for end in range(1, len(form) + 1):
        for start in range(max(0, end - 60), end - SHORTEST + 1):
            if start in best and form[start:end] in _by_compact() and len(best[start]) < MOST_PARTS:
                found = (*best[start], form[start:end])
                if end not in best or len(found) < len(best[end]):
                    best[end] = found
    return best.get(len(form), ())


@lru_cache(maxsize=5_000)
def _nearest(form: str) -> str:
    """Return the one known name within a few misread letters; empty when none or several are as near."""
    slips = int(SLIPS * len(form)) + (len(form) >= SHORTEST + 1)
    if len(form) < SHORTEST:
        return ""
    near = [name for length in range(len(form) - slips, len(form) + slips + 1) for name in _by_length().get(length, ())]
    looks = {name: name.translate(LIKE) for name in near}
    found = process.extract(
        form.translate(LIKE), looks, scorer=OSA.distance, processor=None, score_cutoff=slips, limit=6
    )
    best = [name for _, distance, name in found if distance == found[0][1]]
    library = [name for name in best if _by_compact()[name] in substances()]
    chosen = library if len(best) > 1 else best
    return str(chosen[0]) if len(chosen) == 1 else ""
