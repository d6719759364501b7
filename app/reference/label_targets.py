"""What the materials of a start are chosen for: substances at the percentages to reach."""

from collections.abc import Container, Sequence

from app.science.inference.cover import Target
from app.science.inference.values import Estimate, ListedName

PRESERVING = frozenset({"preservative", "paraben", "preservative_trace"})  # kept however little
CLOSE = 1.03  # what a check asked for may come out this much higher
LEAST_ADJUSTER = 0.002  # % w/w: what sets the pH is aimed at no lower, and dosed afterwards


def targets_from(
    listed: Sequence[ListedName],
    rows: Sequence[Estimate],
    counted: Sequence[bool],
    percents: Sequence[float] | None = None,
    close: Container[int] = (),
    adjuster: int | None = None,
) -> tuple[Target, ...]:
    """Return the substances to cover with materials.

    Args:
        listed: the names in printed order.
        rows: their estimates and bands, % w/w.
        counted: whether each is certainly in the product; the others are not aimed at.
        percents: what to aim at instead of the estimates, % w/w.
        close: the places that must come out as they are aimed at, not merely in their band.
        adjuster: the place of what sets the pH; it is kept however little it is, unless there is none of it.
    """
    found = []
    for place, (name, row) in enumerate(zip(listed, rows, strict=True)):
        if not counted[place]:
            continue
        adjusts = place == adjuster
        aim = row.estimate if percents is None else percents[place]
        if adjusts and aim == 0:  # nothing here asks for it, and the least that one weighs could be far too much
            continue
        aim = max(aim, LEAST_ADJUSTER) if adjusts else aim
        low, high = min(row.band_low, aim), max(row.band_high, aim)
        if adjusts or place in close:
            low, high = aim, aim * CLOSE
        keep = adjusts or name.class_name in PRESERVING
        found.append(Target(name.key, name.name, aim, low, high, name.class_name, keep))
    return tuple(found)
