"""The shipped materials as a shelf for covering an inferred list."""

from collections.abc import Iterable
from functools import cache

from app.reference.inference_prior import class_of
from app.reference.inventory_materials import inventory_material
from app.reference.material import LibraryMaterial
from app.reference.materials import library_materials
from app.science.inference.cover import ShelfMaterial
from app.science.names import inci_key


@cache
def library_shelf() -> tuple[ShelfMaterial, ...]:
    """Return every shipped material as something a list can be covered with."""
    return tuple(_on_shelf(found) for found in library_materials())


def _on_shelf(found: LibraryMaterial) -> ShelfMaterial:
    parts: dict[str, float] = {}
    for part in found.parts:
        key = inci_key(part.inci)
        parts[key] = parts.get(key, 0.0) + float(part.percent)
    _, main = max((0.0 if key == "AQUA" and len(parts) > 1 else percent, key) for key, percent in parts.items())
    return ShelfMaterial(found.key, found.name, parts, False, class_of(main), found.assumption)


def inventory_shelf(keys: Iterable[str]) -> tuple[ShelfMaterial, ...]:
    """Return a material for each of some substances, by `inci_key`, that the inventory knows by name."""
    found = (inventory_material(key) for key in keys)
    return tuple(_on_shelf(one) for one in found if one is not None)
