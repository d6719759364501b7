"""From a name as people write it, on a label or in a spreadsheet, to the substances or materials it may mean."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from functools import cache, lru_cache
from types import MappingProxyType

from rapidfuzz.distance import OSA
from rapidfuzz.process import extract

from app.reference.inci_names import inci_names
from app.reference.library import find_substance, substances
from app.reference.library_search import library_index
from app.reference.material import LibraryMaterial, slug
from app.reference.materials import library_materials, material
from app.reference.search import fold, search
from app.reference.synonyms import synonyms
from app.science.names import inci_key

_MARKS = re.compile(r"[*†‡°^®™©]+|\(\s*and\s*\)$|[.,;:]+$")
_AMOUNT = re.compile(r"(?<![\w/.,-])(\d{1,3}(?:[.,]\d{1,6})?) ?%.*$", re.ASCII)
_INSIDE = re.compile(r"[(\[]([^()\[\]]*)[)\]]")


class Certainty(StrEnum):
    """How a name led to its answer."""

    EXACT = "exact"
    SYNONYM = "synonym"
    SPELLING = "spelling"
    SIMILAR = "similar words"


@dataclass(frozen=True, slots=True)
class Match:
    """What a name may mean: the INCI names, the shipped material if there is one, and how sure that is.

    ``name`` is the known name that was met, ``score`` 0..1 tells how near the text is to it, ``in_library`` is False
    when only the inventory of INCI names knows it.
    """

    name: str
    inci: tuple[str, ...]
    certainty: Certainty
    score: float
    in_library: bool
    material_key: str | None = None
    cas: str | None = None


def match_name(text: str, limit: int = 6) -> list[Match]:
    """Find what a written name may mean, surest first; an exact answer or a known other name stands alone.

    Label forms such as ``Aqua (Water)``, ``Parfum/Fragrance`` or ``Butyrospermum Parkii (Shea) Butter*`` are read.
    """
    return list(_matches(_clean(text))[:limit])


@lru_cache(maxsize=4096)
def _matches(whole: str) -> tuple[Match, ...]:
    """Try the surest way of reading first; the text of a pasted sheet repeats itself, so answers are kept."""
    if not whole:
        return ()
    ways = (
        _exact,
        _other_name,
        _in_inventory,
        _as_written,
        _with_amount,
        _in_pieces,
        _in_brackets,
        _misspelt,
        _similar,
    )
    return tuple(next(filter(None, (way(whole) for way in ways)), ()))


def _as_written(whole: str) -> list[Match]:
    """Read a name as it stands, or without what stands in brackets."""
    return _known(whole) or _known(_clean(_INSIDE.sub(" ", whole)))


def _with_amount(whole: str) -> list[Match]:
    """Read ``Sodium Hydroxide 10 %``: a solution of that strength, or a dose beside a name; somebody has to say."""
    amount = _AMOUNT.search(whole)
    found = _as_written(_clean(whole[: amount.start()])) if amount else []
    if amount is None or not found:
        return []
    strength = Decimal(amount[1].replace(",", "."))
    strong = [_of_material(m, Certainty.SIMILAR, 0.95) for m in _solutions(found[0].inci, strength)]
    return strong + [replace(match, certainty=Certainty.SIMILAR, score=0.9) for match in found]


def _solutions(inci: tuple[str, ...], strength: Decimal) -> list[LibraryMaterial]:
    """Find the shipped solutions in water of one substance at a strength in % w/w."""
    wanted = {(inci_key(name), strength) for name in inci} | {("AQUA", 100 - strength)}
    return [m for m in library_materials() if {(inci_key(p.inci), p.percent) for p in m.parts} == wanted]


def _in_pieces(whole: str) -> list[Match]:
    """Read ``Aqua/Water/Eau``: names between slashes, when two or more are known and mean the same."""
    pieces = re.split(r"\s*/\s*", _clean(_INSIDE.sub(" ", whole)))
    found = [matches for piece in pieces if (matches := _known(piece))]
    agree = len(found) > 1 and all(matches[0].inci == found[0][0].inci for matches in found)
    return found[0] if agree else []


def _in_brackets(whole: str) -> list[Match]:
    """Read ``Our best butter (Butyrospermum Parkii Butter)``: likely, but somebody has to look."""
    inside = (_known(_clean(piece)) for piece in _INSIDE.findall(whole))
    return [replace(match, certainty=Certainty.SIMILAR, score=0.9) for matches in inside for match in matches]


def _other_name(form: str) -> list[Match]:
    meant = synonyms().get(inci_key(form)) or _by_find(form)
    return [_of_inci(inci, Certainty.SYNONYM) for inci in meant]


def _known(form: str) -> list[Match]:
    return _other_name(form) or [
        replace(match, certainty=Certainty.SYNONYM) for match in _exact(form) or _in_inventory(form)
    ]


def _clean(text: str) -> str:
    plain = " ".join(_MARKS.sub(" ", " ".join(text[:300].split())).split())
    return re.sub(r" ?/ ?", "/", plain)


def _exact(form: str) -> list[Match]:
    """Meet a name as the library writes it: an INCI name, or the name of a material."""
    key = inci_key(form)
    substance = substances().get(key) or substances().get(f"{key}.")
    return [_of_inci(substance.inci, Certainty.EXACT)] if substance else _material_names(form)


def _in_inventory(form: str) -> list[Match]:
    """Meet an INCI name that only the inventory knows; it holds US forms such as WATER too, so it comes after."""
    found = inci_names().get(inci_key(form))
    return [_of_inci(found.inci, Certainty.EXACT)] if found else []


def _by_find(form: str) -> tuple[str, ...]:
    found = find_substance(form)
    return (found.inci,) if found else tuple(s.inci for s in substances().values() if form in (s.cas, *s.cas_alt))


def _material_names(form: str) -> list[Match]:
    found = _materials_by_name().get(fold(form))
    return [_of_material(found)] if found else []


@cache
def _materials_by_name() -> Mapping[str, LibraryMaterial]:
    return MappingProxyType({fold(name): m for m in library_materials() for name in (*m.aliases, m.name)})


def _of_inci(inci: str, certainty: Certainty, score: float = 1.0) -> Match:
    substance = substances().get(inci_key(inci))
    if substance is not None:
        key = slug(substance.inci) if material(slug(substance.inci)) else None
        return Match(substance.inci, (substance.inci,), certainty, score, True, key, substance.cas)
    known = inci_names().get(inci_key(inci))
    return Match(inci, (inci,), certainty, score, False, None, known.cas if known else None)


def _of_material(found: LibraryMaterial, certainty: Certainty = Certainty.EXACT, score: float = 1.0) -> Match:
    cas = found.parts[0].cas if len(found.parts) == 1 else None
    return Match(found.name, found.inci_names, certainty, score, True, found.key, cas)


@cache
def _spellings() -> Mapping[str, str]:
    """Folded names that a misspelt one is compared with, each with the INCI name it stands for."""
    inventory = {fold(n.inci): n.inci for n in inci_names().values()}
    others = {fold(name): inci[0] for name, inci in synonyms().items() if len(inci) == 1 and len(name) > 4}
    own = {fold(name): s.inci for s in substances().values() for name in (s.common_name, s.inci)}
    return MappingProxyType(inventory | others | own)


def _misspelt(form: str) -> list[Match]:
    """Find names one slip away in 6 signs, two in 12, up to four in long ones; the library goes first."""
    text = fold(form)
    slips = min(len(text) // 6, 4)
    close = extract(text, _spellings().keys(), scorer=OSA.distance, processor=None, score_cutoff=slips, limit=20)
    found: dict[str, Match] = {}
    for name, distance, _ in close if slips else ():
        match = _of_inci(_spellings()[name], Certainty.SPELLING, 1 - distance / len(text))
        found.setdefault(match.name, match)
    return sorted(found.values(), key=lambda m: (-m.score, not m.in_library))


def _similar(form: str) -> list[Match]:
    hits = search(library_index(), form, 6)
    found = ((material(hit.entry.id), hit.score) for hit in hits)
    return [_of_material(m, Certainty.SIMILAR, min(score / 2, 0.9)) for m, score in found if m is not None]
