"""What is in the beaker of a batch before the pH is set: materials, grams, and the acid-base mixture of them."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.composition import DosedMaterial
from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, to_places
from app.store.batches import Batch, BatchLine
from app.work.formulas.shelf import Shelf, read_shelf
from app.work.formulas.versions import formula_of
from app.work.ph.mixture import adjuster_of

ZERO = Decimal(0)
PLACES = 6


@dataclass(frozen=True, slots=True)
class Beaker:
    """The batch without what the session adds: percentages of what is in it, and their grams in all."""

    materials: tuple[DosedMaterial, ...]
    grams: Decimal
    planned: tuple[str, ...]


def shelf_of_batch(session: Session, batch: Batch) -> Shelf:
    """Read the materials of a batch: as pinned in its version, or from the shelf when they came in at the bench."""
    pinned = {line.material.id: line.material for line in formula_of(batch.version).lines}
    missing = {line.material_id for line in batch.lines} - set(pinned)
    return {**read_shelf(session, missing), **pinned}


def own_line(batch: Batch, shelf: Shelf) -> BatchLine | None:
    """Find the line of the formula that sets the pH: the last one that is an acid or base in solution."""
    found = [line for line in batch.lines if not line.added_at_bench and _sets_ph(line, shelf)]
    return found[-1] if found else None


def _sets_ph(line: BatchLine, shelf: Shelf) -> bool:
    material = shelf.get(line.material_id)
    return material is not None and adjuster_of(material.parts) is not None


def beaker_of(batch: Batch, shelf: Shelf, added: Mapping[int, Decimal]) -> Beaker:
    """Gather what is in the beaker without what a session added.

    Args:
        batch: with its lines; a line that is not weighed yet counts as planned, but not the one that sets the pH.
        shelf: the materials of its lines.
        added: grams that the session added so far, by material.

    Raises:
        Invalid: at ``batch_g``, when there is nothing in it.
    """
    setter = own_line(batch, shelf)
    left = dict(added)
    grams = [(line, _in_beaker(line, setter, left)) for line in batch.lines]
    with exact_arithmetic():
        whole = sum((g for _, g in grams), ZERO)
    if whole <= 0:
        raise Invalid("batch_g", "Nothing is in the beaker yet: weigh the batch in first.")
    held = [(line, g) for line, g in grams if g > 0 and line.material_id in shelf]
    materials = tuple(
        DosedMaterial(line.name, to_places(100 * g / whole, PLACES), shelf[line.material_id].parts) for line, g in held
    )
    planned = tuple(line.name for line, _ in held if line.actual_g is None)
    return Beaker(materials, whole, planned)


def _in_beaker(line: BatchLine, setter: BatchLine | None, left: dict[int, Decimal]) -> Decimal:
    """Give the grams of a line apart from the session; what the session added is taken off only once."""
    if line.material_id in left:
        weighed = line.actual_g or ZERO
        own = min(left[line.material_id], weighed)
        left[line.material_id] -= own
        return weighed - own
    if line is setter:
        return line.actual_g or ZERO
    return line.target_g if line.actual_g is None else line.actual_g


def line_for(batch: Batch, material_id: int) -> BatchLine | None:
    """Find the line that takes what is added of a material: the last one of the formula, or the one added."""
    own = [line for line in batch.lines if line.material_id == material_id]
    planned = [line for line in own if not line.added_at_bench] or own
    return planned[-1] if planned else None
