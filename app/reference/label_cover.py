"""The shipped materials as a shelf for covering an inferred list."""

from collections.abc import Iterable, Sequence
from functools import cache

from app.reference.inference_prior import class_of
from app.reference.material import LibraryMaterial
from app.reference.materials import library_materials, material
from app.science.inference.cover import Cover, CoverLine, ShelfMaterial, Wanted, cover
from app.science.inference.phases import PhaseItem, Step, propose_phases
from app.science.inference.values import Estimate
from app.science.label_list.values import ReadName
from app.science.names import inci_key


@cache
def library_shelf() -> tuple[ShelfMaterial, ...]:
    """Give every shipped material as something a list can be covered with."""
    return tuple(_on_shelf(m) for m in library_materials())


def _on_shelf(found: LibraryMaterial) -> ShelfMaterial:
    parts: dict[str, float] = {}
    for part in found.parts:
        key = inci_key(part.inci)
        parts[key] = parts.get(key, 0.0) + float(part.percent)
    main = max(parts, key=lambda key: (parts[key] if key != "AQUA" or len(parts) == 1 else 0.0, key))
    return ShelfMaterial(found.key, found.name, parts, False, class_of(main), found.assumption)


def wanted_from(names: Sequence[ReadName], rows: Sequence[Estimate]) -> tuple[Wanted, ...]:
    """Turn inferred rows into wanted substances; shades after 'may contain' are not wanted."""
    return tuple(
        Wanted(name.key, name.inci, row.estimate, row.band_low, row.band_high, class_of(name.key))
        for name, row in zip(names, rows, strict=True)
        if not name.may_contain
    )


def cover_label(
    names: Sequence[ReadName],
    rows: Sequence[Estimate],
    own: Iterable[ShelfMaterial] = (),
    left_out: frozenset[str] = frozenset(),
) -> Cover:
    """Cover an inferred list from the maker's own shelf first, then from the library.

    Raises:
        Invalid: when no material holds any of the substances.
    """
    return cover(wanted_from(names, rows), [*own, *library_shelf()], left_out)


def phases_of(lines: Iterable[CoverLine]) -> tuple[Step, ...]:
    """Propose phases for covered lines, with the phase hints of the library where it knows the material."""
    return propose_phases([_item(line) for line in lines])


def _item(line: CoverLine) -> PhaseItem:
    found = material(line.material.id)
    hint = found.phase_hint if found else "either"
    return PhaseItem(line.material.id, line.material.name, line.percent, line.material.class_name, hint)
