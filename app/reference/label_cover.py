"""The shipped materials as a shelf for covering an inferred list."""

from functools import cache

from app.reference.inference_prior import class_of
from app.reference.materials import library_materials
from app.science.inference.cover import ShelfMaterial
from app.science.names import inci_key


@cache
def library_shelf() -> tuple[ShelfMaterial, ...]:
    """Return every shipped material as something a list can be covered with."""
    shelf = []
    for found in library_materials():
        parts: dict[str, float] = {}
        for part in found.parts:
            key = inci_key(part.inci)
            parts[key] = parts.get(key, 0.0) + float(part.percent)
        _, main = max((0.0 if key == "AQUA" and len(parts) > 1 else percent, key) for key, percent in parts.items())
        shelf.append(ShelfMaterial(found.key, found.name, parts, False, class_of(main), found.assumption))
    return tuple(shelf)
