"""What the draft costs at its batch size, as far as prices are known."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.cost import Costing, Job, MaterialCost, PackCost, cost
from app.science.errors import Invalid
from app.science.formula import HUNDRED
from app.store.materials import Packaging
from app.store.workshop import Workshop
from app.work.formulas.reading import Reading

KILOGRAM = Decimal(1000)


@dataclass(frozen=True, slots=True)
class DraftCost:
    """The cost of the draft. ``unpriced`` names what has no price; with any, every amount is 'at least'.

    ``per_unit`` is None without a fill, or when the batch does not fill one unit (then ``why_no_unit`` says so).
    """

    materials_per_kg: Decimal
    shares: dict[str, Decimal]
    unpriced: tuple[str, ...]
    costing: Costing | None = None
    why_no_unit: str = ""

    @property
    def at_least(self) -> bool:
        """Whether something has no price, so that the true cost is higher."""
        return bool(self.unpriced)


def draft_cost(reading: Reading, shop: Workshop, packaging: dict[int, Packaging]) -> DraftCost | None:
    """Cost the draft; None while there is no batch size or nothing in it."""
    weighed = reading.head.weighed_g
    if weighed is None or not reading.lines:
        return None
    lines = tuple(
        MaterialCost(line.draft.id, weighed * line.percent / HUNDRED, _price(line.material), KILOGRAM)
        for line in reading.lines
    )
    materials = cost(Job(lines, weighed, weighed))
    costing, why = _by_unit(reading, shop, lines, packaging)
    return DraftCost(
        materials_per_kg=materials.materials_per_kg,
        shares={share.id: share.percent for share in materials.shares},
        unpriced=_names(reading, costing or materials, packaging),
        costing=costing,
        why_no_unit=why,
    )


def _price(material: object) -> Decimal | None:
    return getattr(material, "price_per_kg", None)


def _by_unit(
    reading: Reading, shop: Workshop, lines: Sequence[MaterialCost], packaging: dict[int, Packaging]
) -> tuple[Costing | None, str]:
    head = reading.head
    if head.size is None or head.size.fill_g is None or head.weighed_g is None:
        return None, "Write the fill of one unit to see what a unit costs."
    job = Job(
        lines=tuple(lines),
        batch_g=head.weighed_g,
        fill_g=head.size.fill_g,
        packaging=tuple(_packs(reading, packaging)),
        labour_minutes=head.labour_minutes,
        labour_rate=shop.labour_rate,
        overhead_percent=shop.overhead_percent,
        loss_percent=head.loss_percent,
        price=head.price or None,
        tax_percent=shop.tax_percent,
    )
    try:
        return cost(job), ""
    except Invalid as fault:
        return None, fault.message


def _packs(reading: Reading, packaging: dict[int, Packaging]) -> list[PackCost]:
    """A unit that takes two of a kind takes one of half a pack."""
    known = [(pack, packaging[pack.packaging_id]) for pack in reading.packaging if pack.packaging_id in packaging]
    return [
        PackCost(item.name, item.units_per_pack / pack.per_unit, item.price) for pack, item in known if pack.per_unit
    ]


def _names(reading: Reading, costing: Costing, packaging: dict[int, Packaging]) -> tuple[str, ...]:
    names = {line.draft.id: line.material.name if line.material else line.draft.typed for line in reading.lines}
    return tuple(dict.fromkeys(names.get(key, key) for key in costing.unpriced if names.get(key, key)))
