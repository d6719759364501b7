"""The shipped materials: what a maker would put on the shelf, made from the substances, the blends and the densities.

A substance sold as a solution becomes active matter and water. A blend that describes the same grade as a substance
is merged with it, so that a maker meets each material once; what was merged or left out can be asked for.
"""

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from app.reference.blend_materials import from_blend
from app.reference.blends import blends
from app.reference.density_materials import densities_left_out, density_materials
from app.reference.inventory_materials import inventory_key, inventory_material
from app.reference.library import substances
from app.reference.material import LeftOut, LibraryMaterial
from app.reference.substance_materials import NOT_ONE_GRADE, from_substance, merged_into

__all__ = ["LeftOut", "LibraryMaterial", "left_out", "library_materials", "material"]


_NOT_SOLD: Mapping[str, str] = {
    "polyglyceryl-3 diisostearate w/o system": "an example of a pair, not a mixture that is sold with these percentages"
}


@cache
def library_materials() -> tuple[LibraryMaterial, ...]:
    """Every shipped material; made once. Keys are stable slugs, keys and names are unique."""
    stated = _stated()
    return (*stated, *density_materials(stated))


@cache
def _stated() -> tuple[LibraryMaterial, ...]:
    single = (from_substance(s) for key, s in substances().items() if key not in NOT_ONE_GRADE)
    mixed = (from_blend(b) for b in blends().values() if b.name not in _NOT_SOLD and merged_into(b) is None)
    return (*single, *mixed)


@cache
def left_out() -> tuple[LeftOut, ...]:
    """Rows of the tables that did not become a material of their own, each with the reason."""
    grades = (LeftOut("ingredients", substances()[key].inci, reason) for key, reason in NOT_ONE_GRADE.items())
    merged = (
        LeftOut("blends", blend.name, f"the same grade as {s.common_name} ({s.inci}), which took over its composition")
        for blend in blends().values()
        if (s := merged_into(blend)) is not None
    )
    examples = (LeftOut("blends", name, reason) for name, reason in _NOT_SOLD.items())
    return (*grades, *merged, *examples, *densities_left_out(_stated()))


def material(key: str) -> LibraryMaterial | None:
    """Find a shipped material by its key, or one that is nothing but a name of the inventory; None if there is none."""
    return inventory_material(inventory_key(key)) if inventory_key(key) else _by_key().get(key)


@cache
def _by_key() -> Mapping[str, LibraryMaterial]:
    return MappingProxyType({m.key: m for m in library_materials()})
