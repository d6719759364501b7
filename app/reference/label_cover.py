"""The shipped materials as a shelf for covering an inferred list."""

from functools import cache

from app.reference.inference_prior import class_of
from app.reference.material import LibraryMaterial
from app.reference.materials import library_materials
from app.science.inference.cover import ShelfMaterial
from app.science.names import inci_key


@cache
def library_shelf() -> tuple[ShelfMaterial, ...]:
    """Return every shipped material as something a list can be covered with."""
    return tuple(_on_shelf(m) for m in library_materials())


def _on_shelf(found: LibraryMaterial) -> ShelfMaterial:
    parts: dict[str, float] = {}
    for part in found.parts:
        key = inci_key(part.inci)
        parts[key] = parts.get(key, 0.0) + float(part.percent)
    main = max(parts, key=lambda key: (parts[key] if key != "AQUA" or len(parts) == 1 else 0.0, key))
    return ShelfMaterial(found.key, found.name, parts, False, class_of(main), found.assumption)
