"""The material of a line in place: what it is, its ranges, price, stock, cautions, and where else it is used."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store.formulas import DraftMaterial, FormulaRow
from app.store.materials import MaterialRow, newest_price
from app.work.formulas.editing import find
from app.work.formulas.steps import opened
from app.work.pricing import exchange_of
from app.work.stock.listing import StockRow, stock_row

MOST_PLACES = 12


@dataclass(frozen=True, slots=True)
class LineCard:
    """A material as the card of a line shows it; ``used_in`` names other formulas by id, ``stock`` what is on hand."""

    material_id: int
    name: str
    inci: tuple[str, ...]
    functions: str
    use_low: Decimal | None
    use_high: Decimal | None
    ph_low: Decimal | None
    ph_high: Decimal | None
    price_per_kg: Decimal | None
    stock: StockRow
    cautions: str
    used_in: tuple[tuple[int, str], ...]


def line_card(session: Session, formula_id: int, line_id: str) -> LineCard | None:
    """Return the card of a line; None while no material is known for it.

    Raises:
        NotFound: when there is no such formula.
    """
    draft = opened(session, find(session, formula_id)).draft
    material_id = next((line.material_id for line in draft.lines if line.id == line_id), None)
    material = session.get(MaterialRow, material_id) if material_id else None
    if material is None:
        return None
    price = newest_price(material.prices)
    exchange = exchange_of(session)
    per_kg = exchange.at_home(price.per_kg, price.currency, price.priced_on) if price else None
    elsewhere = (
        select(FormulaRow.id, FormulaRow.name)
        .join(DraftMaterial, DraftMaterial.formula_id == FormulaRow.id)
        .where(DraftMaterial.material_id == material.id, FormulaRow.id != formula_id, FormulaRow.retired_at.is_(None))
        .order_by(FormulaRow.name)
    )
    return LineCard(
        material_id=material.id,
        name=material.name,
        inci=tuple(part.inci for part in material.parts),
        functions=material.functions,
        use_low=material.use_low,
        use_high=material.use_high,
        ph_low=material.ph_min,
        ph_high=material.ph_max,
        price_per_kg=per_kg,
        stock=stock_row(session, material),
        cautions=material.cautions,
        used_in=tuple((row[0], row[1]) for row in session.execute(elsewhere.limit(MOST_PLACES))),
    )
