"""Which names of a printed list may have come in together, as one bought blend of ``blends.csv``."""

from collections.abc import Mapping, Sequence
from functools import cache
from types import MappingProxyType

from app.reference.blends import blends
from app.science.names import inci_key

# What carries or protects a blend and stands in most lists anyway, so that it tells of no blend.
CARRIERS = frozenset({"AQUA", "GLYCERIN", "PROPYLENE GLYCOL", "BUTYLENE GLYCOL", "PROPANEDIOL", "TOCOPHEROL"})


@cache
def telling_parts() -> Mapping[str, Mapping[str, float]]:
    """Return by blend the typical share (%) of the parts that tell it: two at least, carriers left out.

    The blend with most such parts comes first.
    """
    found = {}
    for name, blend in blends().items():
        parts = {inci_key(part.inci): float(part.percent) for part in blend.parts}
        telling = {key: share for key, share in parts.items() if key not in CARRIERS}
        if len(telling) > 1:
            found[name] = MappingProxyType(telling)
    return MappingProxyType(dict(sorted(found.items(), key=lambda pair: -len(pair[1]))))


def bought_together(keys: Sequence[str]) -> tuple[str, ...]:
    """Return for each name the blend all of whose telling parts stand in the list; empty where there is none.

    A name belongs to one blend, the one with most parts.
    """
    found: dict[str, str] = {}
    for blend, parts in telling_parts().items():
        if all(key in keys and key not in found for key in parts):
            found |= dict.fromkeys(parts, blend)
    return tuple(found.get(key, "") for key in keys)
