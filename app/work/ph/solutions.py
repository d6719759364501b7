"""The acids and bases on the shelf that can set a pH."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.reference.neutralisers import is_base
from app.science.acid_base.cautions import Hazard, hazard
from app.science.acid_base.values import Adjuster
from app.science.formula import Material
from app.store.engine import Store
from app.store.materials import live_materials
from app.work.formulas.pinned_materials import as_shelf_material
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.ph.mixture import adjuster_of

DILUTE_PERCENT = 30.0
BACK_PERCENT = 10
CORROSIVE = frozenset({Hazard.STRONG_ALKALI, Hazard.STRONG_ACID})


@dataclass(frozen=True, slots=True)
class Solution:
    """A material on the shelf as a solution of one acid or base."""

    material: Material
    adjuster: Adjuster

    @property
    def raises(self) -> bool:
        """Whether it raises the pH."""
        return is_base(self.adjuster.substance)

    @property
    def concentrated(self) -> bool:
        """Whether it is a corrosive too strong to be dosed by the gram into a beaker."""
        return self.adjuster.strength_percent > DILUTE_PERCENT and hazard(self.adjuster.substance) in CORROSIVE


def as_solution(material: Material) -> Solution | None:
    """Read a material as a solution of one acid or base; None when it is something else."""
    adjuster = adjuster_of(material.parts)
    return None if adjuster is None else Solution(material, adjuster)


def solutions_on_shelf(session: Session) -> tuple[Solution, ...]:
    """Return the acids and bases on the shelf, dilute ones first, then by name."""
    read = (as_solution(as_shelf_material(material)) for material in live_materials(session))
    found = [solution for solution in read if solution is not None]
    return tuple(sorted(found, key=lambda s: (s.concentrated, s.material.name.casefold())))


def put_counter_solution_on_shelf(store: Store, inci: str, key: str = "") -> int:
    """Put a 10 % solution of an acid or base on the shelf and give its id.

    Raises:
        Faults: when a material has that name already.
    """
    name = f"{inci}, {BACK_PERCENT} % solution"
    parts = (PartForm(inci, str(BACK_PERCENT)), PartForm("Aqua", str(100 - BACK_PERCENT)))
    typed = MaterialForm(name=name, form="liquid", phase_hint="adjuster", functions="pH adjuster", parts=parts)
    with store.reading() as session:
        there = next((s for s in solutions_on_shelf(session) if s.material.name == name), None)
    return there.material.id if there else add_material(store, typed, key)
