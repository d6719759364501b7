"""Names that no table knows: found, and said with the name they were probably meant to be."""

from collections.abc import Iterable
from dataclasses import dataclass

from app.reference.acid_base import SOLVENT_NAMES, WATER_NAMES, acid_base_table
from app.reference.label_names import is_listed, nearest_name
from app.reference.water import water_table
from app.science.errors import Invalid
from app.science.names import inci_key


@dataclass(frozen=True, slots=True)
class UnknownName:
    """A name that no shipped table knows, with the listed name it is most like (empty when none is near)."""

    name: str
    nearest: str

    @property
    def sentence(self) -> str:
        """The fact in words, for notes."""
        meant = f"; did you mean {self.nearest}?" if self.nearest else ", nor one like it."
        return f"{self.name} is a name that no table here knows{meant} Nothing could be worked out or checked for it."


def unknown_names(names: Iterable[str]) -> tuple[UnknownName, ...]:
    """Return the names that no shipped table knows, once each, in the order they come."""
    return tuple(UnknownName(name, nearest_name(name)) for name in dict.fromkeys(names) if not is_known(name))


def is_known(name: str) -> bool:
    """Return whether any shipped table knows a name: inventory, library, acids and bases, water and solvents."""
    return inci_key(name) in WATER_NAMES | SOLVENT_NAMES or is_listed(name) or _by_constants(name) or _as_water(name)


def _by_constants(name: str) -> bool:
    try:
        return acid_base_table().find(name) is not None
    except Invalid:  # the hydrate in the name is not understood; its own message says so
        return True


def _as_water(name: str) -> bool:
    """Return whether a name is a hydrosol or the like by its shape; a plant nobody listed is still a plant water."""
    found = water_table().find(name)
    return found is not None and found.percent > 0
