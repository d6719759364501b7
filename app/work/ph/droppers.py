"""What a drop of a dropper weighs: drops counted by weight, never by guess."""

from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, to_places
from app.store.bench_ph import DropWeight
from app.store.errors import NotFound
from app.store.materials import MaterialRow
from app.work.action import action
from app.work.clock import now
from app.work.form import Form, rule
from app.work.form_fields import Grams, Name, Number

LEAST_DROPS, MOST_DROPS = Decimal(5), Decimal(500)
LIGHTEST, HEAVIEST = Decimal("0.002"), Decimal("0.5")
PLACES = 4


def droppers(session: Session, material_ids: set[int]) -> tuple[DropWeight, ...]:
    """Return the droppers of some materials as weighed last, newest first."""
    asked = select(DropWeight).where(DropWeight.material_id.in_(material_ids)).order_by(DropWeight.id.desc())
    newest: dict[tuple[int, str], DropWeight] = {}
    for row in session.scalars(asked):
        newest.setdefault((row.material_id, row.dropper), row)
    return tuple(newest.values())


class DropsForm(Form):
    """What so many drops of a dropper weighed."""

    dropper = Name("Dropper", "Name the dropper, such as Glass pipette 1.")
    drop_count = Number("Drops", column="drops", low=LEAST_DROPS, high=MOST_DROPS)
    drop_grams = Grams(
        "Weight of them",
        "Enter what they weighed, such as 0.5 g.",
        column="grams",
        low=Decimal("0.001"),
        high=Decimal(1000),
    )

    @rule
    def a_drop_weighs_what_a_drop_can(self) -> None:
        """Refuse a weight and a count that no drop fits."""
        one = self.drop_grams / self.drop_count
        if not LIGHTEST <= one <= HEAVIEST:
            raise Invalid("drop_grams", f"A drop would weigh {to_places(one, PLACES)} g; check count and weight.")


@action(once="drops")
def weigh_drops(session: Session, material_id: int, typed: DropsForm, *, key: str = "") -> None:
    """Note what so many drops of a dropper weighed.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such material.
    """
    form = typed.checked()
    if session.get(MaterialRow, material_id) is None:
        raise NotFound("There is no such material.")
    session.add(DropWeight(material_id=material_id, weighed_at=now(), **form.columns()))


def grams_of_drops(session: Session, dropper_id: int | None, drops: Decimal, material_id: int) -> Decimal:
    """Turn drops into grams by the dropper's calibration.

    Raises:
        Invalid: at ``dropper_id``, when the dropper was not weighed with this material.
    """
    row = session.get(DropWeight, dropper_id) if dropper_id is not None else None
    if row is None or row.material_id != material_id:
        raise Invalid("dropper_id", "Choose a dropper that was weighed with this solution.")
    with exact_arithmetic():
        return to_places(drops * row.grams / row.drops, PLACES)
