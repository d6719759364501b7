"""What a batch held before its pH was set: materials, grams, and the lines that set a pH."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.composition import DosedMaterial
from app.science.errors import Invalid
from app.science.formula import Material
from app.science.numbers import exact_arithmetic, to_places
from app.store.batches import Batch, BatchLine
from app.work.formulas.pinned_materials import Shelf, pinned, read_shelf
from app.work.formulas.versions import formula_of
from app.work.ph.mixture import PhLine, adjuster_of, choose_ph_line

ZERO = Decimal(0)
PLACES = 6


@dataclass(frozen=True, slots=True)
class MixtureInBatch:
    """The batch without what a session adds.

    Attributes:
        materials: what is in it, each with its percentage w/w.
        grams: all of it.
        planned: names of the lines that are not weighed yet and so count as planned.
    """

    materials: tuple[DosedMaterial, ...]
    grams: Decimal
    planned: tuple[str, ...]


def materials_of(session: Session, batch: Batch) -> Shelf:
    """Return the materials of a batch as they were: pinned in its version, or in the line that came in at the bench.

    Only a line from a time when nothing was pinned yet is read from today's shelf.
    """
    found = kept_materials(batch)
    missing = {line.material_id for line in batch.lines} - set(found)
    return {**read_shelf(session, missing), **found} if missing else found


def kept_materials(batch: Batch) -> dict[int, Material]:
    """Return the materials that a batch keeps itself, whatever became of the shelf."""
    found: dict[int, Material] = {}
    for line in batch.lines:
        found.update(pinned(line.material))
    found.update({line.material.id: line.material for line in formula_of(batch.version).lines})
    return found


def sets_ph(line: BatchLine, shelf: Shelf) -> bool:
    """Return whether a line is a solution of one acid or base."""
    material = shelf.get(line.material_id)
    return material is not None and adjuster_of(material.parts) is not None


def adjuster_line(batch: Batch, shelf: Shelf, target: Decimal | None) -> BatchLine | None:
    """Return the line of the formula that sets the pH; of an acid and a base, the one in excess for the target."""
    own = [line for line in batch.lines if not line.added_at_bench and line.material_id in shelf]
    materials = [DosedMaterial(line.name, line.percent, shelf[line.material_id].parts) for line in own]
    found: PhLine | None = choose_ph_line(materials, target)
    return own[found.place] if found else None


def mixture_in_batch(batch: Batch, shelf: Shelf, added: Mapping[int, Decimal]) -> MixtureInBatch:
    """Gather what a batch held without what a session added.

    Args:
        batch: with its lines and weighings; a line that is not weighed yet counts as planned, but one that sets the
            pH counts as nothing until it is weighed.
        shelf: the materials of its lines.
        added: grams that the session added so far, by material.

    Raises:
        Invalid: at ``batch_g``, when there is nothing in it.
    """
    left = dict(added)
    grams = []
    for line in batch.lines:
        weighed = line.held_g
        if weighed is None:
            grams.append((line, ZERO if line.material_id in left or sets_ph(line, shelf) else line.target_g))
            continue
        # What the session added is taken off only once.
        own = min(left.get(line.material_id, ZERO), weighed)
        if own:
            left[line.material_id] -= own
        grams.append((line, weighed - own))
    with exact_arithmetic():
        whole = sum((g for _, g in grams), ZERO)
    if whole <= 0:
        raise Invalid("batch_g", "Nothing is in the beaker yet: weigh the batch in first.")
    held = [(line, g) for line, g in grams if g > 0 and line.material_id in shelf]
    materials = tuple(
        DosedMaterial(line.name, to_places(100 * g / whole, PLACES), shelf[line.material_id].parts) for line, g in held
    )
    planned = tuple(line.name for line, _ in held if line.actual_g is None)
    return MixtureInBatch(materials, whole, planned)


def line_for(batch: Batch, material_id: int) -> BatchLine | None:
    """Return the line that takes what is added of a material: the last one of the formula, or the one added."""
    own = [line for line in batch.lines if line.material_id == material_id]
    planned = [line for line in own if not line.added_at_bench] or own
    return planned[-1] if planned else None
