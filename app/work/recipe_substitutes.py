"""What may take the place of a material in a recipe, and what else of the formula changes with it."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal

from sqlalchemy.orm import Session

from app.reference.inference_prior import class_of
from app.reference.materials import material as library_material
from app.science.acid_base.values import Range
from app.science.formula import Formula, Line, Material
from app.science.inference.cover import ShelfMaterial, Target, substitutes
from app.science.names import inci_key
from app.science.numbers import plain
from app.science.rules.names import is_water
from app.work.formulas.outcome import OutcomePair, outcome, side_by_side
from app.work.formulas.pinned_materials import read_shelf
from app.work.label_reading.choosing import OWN, main_of, own_shelf
from app.work.rules.formula_checks import read_given_answers

MOST = 5
NOTABLE_PH = 0.2


@dataclass(frozen=True, slots=True)
class Substitute:
    """A material that does the same work, at the same percentage, with what else changes in words."""

    name: str
    is_own: bool
    changes: tuple[str, ...]

    def line(self, instead_of: str) -> str:
        """Return it as it stands on a recipe."""
        return f"{instead_of}: {self.name}, the same amount. {' '.join(self.changes)}".strip()


def replaceable(formula: Formula) -> tuple[Line, ...]:
    """Return the lines something else may stand for: all but water."""
    return tuple(line for line in formula.lines if line.parts and not all(is_water(part.inci) for part in line.parts))


def substitutes_for(session: Session, formula: Formula, key: str) -> tuple[Substitute, ...]:
    """Return what may take the place of a line, own shelf first; nothing where its kind is not known."""
    line = formula.line(key)
    if line is None or not line.parts:
        return ()
    own = own_shelf(session)
    parts = {inci_key(part.inci): float(part.percent) for part in line.parts}
    main = main_of(ShelfMaterial("", line.name, parts))
    target = Target(main, line.name, float(line.percent), 0.0, 100.0, class_of(main))
    there = {one.name for one in formula.lines}
    offered = [m for m in substitutes(target, own.everything, MOST + len(there)) if m.name not in there][:MOST]
    given = read_given_answers(session, formula.formula_id)
    shelf = read_shelf(session, {int(m.id.removeprefix(OWN)) for m in offered if m.id.startswith(OWN)})
    before = outcome(formula, given)
    found = []
    for one in offered:
        material = shelf.get(int(one.id.removeprefix(OWN))) if one.id.startswith(OWN) else _shipped(one.id)
        if material is not None:
            after = outcome(_with(formula, key, material), given)
            changes = tuple(_changes(side_by_side(before, after), material, line))
            found.append(Substitute(one.name, one.own, changes))
    return tuple(found)


def _shipped(key: str) -> Material | None:
    found = library_material(key)
    if found is None:
        return None
    cautions = "\n".join(caution.text for caution in found.cautions)
    return Material(
        0, found.name, found.parts, found.density.g_ml if found.density else None, found.form, found.phase_hint,
        cautions=cautions, use_low=found.use_low, use_high=found.use_high,
    )  # fmt: skip


def _with(formula: Formula, key: str, material: Material) -> Formula:
    def swapped(line: Line) -> Line:
        return replace(line, material=material) if line.key == key else line

    return replace(
        formula, phases=tuple(replace(phase, lines=tuple(map(swapped, phase.lines))) for phase in formula.phases)
    )


def _changes(pair: OutcomePair, material: Material, line: Line) -> Iterable[str]:
    """Word what differs: use range, pH, ingredient list, findings, cautions."""
    yield from _range_words(material, line.percent)
    if pair.left.ph and pair.right.ph and abs(pair.left.ph.value - pair.right.ph.value) >= NOTABLE_PH:
        yield f"pH about {_ph(pair.right.ph)} instead of {_ph(pair.left.ph)}: measure and adjust."
    came, went = ", ".join(pair.names.came), ", ".join(pair.names.went)
    if came and went:
        yield f"On the label: {came} instead of {went}."
    elif came or went:
        yield f"On the label in addition: {came}." if came else f"No longer on the label: {went}."
    elif pair.order_differs:
        yield "The order of the ingredient list changes."
    for words in pair.findings.came:
        yield f"New: {words.rstrip('.')}."
    if material.cautions and material.cautions != line.material.cautions:
        yield f"Caution: {' '.join(material.cautions.split())}"


def _ph(found: Range) -> str:
    return f"{found.value:.1f}"


def _range_words(material: Material, percent: Decimal) -> Iterable[str]:
    low, high = material.use_low, material.use_high
    if high is not None and percent > high:
        yield f"Usual up to {plain(high)} %, so less of it."
    elif low is not None and percent < low:
        yield f"Usual from {plain(low)} %, so more of it."
