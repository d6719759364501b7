"""The list of formulas, searched by any words."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, or_, select

from app.store.batches import Batch
from app.store.engine import Store
from app.store.formulas import Exposure, FormulaRow, FormulaVersion

MOST_WORDS = 8
PAGE = 100
ORDERS = {
    "changed": FormulaRow.changed_at.desc(),
    "name": func.lower(FormulaRow.name),
    "code": func.lower(FormulaRow.code),
}


@dataclass(frozen=True, slots=True)
class ListedFormula:
    """One formula in the list."""

    id: int
    code: str
    name: str
    product_type: str
    exposure: Exposure
    changed_at: datetime
    retired_at: datetime | None
    versions: int
    batches: int


def list_formulas(
    store: Store,
    words: str = "",
    order: str = "changed",
    *,
    retired: bool = False,
    skip: int = 0,
    most: int | None = None,
) -> list[ListedFormula]:
    """List formulas that hold every word in name, code or type; ``order`` is ``changed``, ``name`` or ``code``."""
    kept = FormulaRow.retired_at.is_not(None) if retired else FormulaRow.retired_at.is_(None)
    versions = select(func.count(FormulaVersion.id)).where(FormulaVersion.formula_id == FormulaRow.id)
    joined = select(func.count(Batch.id)).join(FormulaVersion, Batch.version_id == FormulaVersion.id)
    batches = joined.where(FormulaVersion.formula_id == FormulaRow.id)
    asked = select(
        FormulaRow.id,
        FormulaRow.code,
        FormulaRow.name,
        FormulaRow.product_type,
        FormulaRow.exposure,
        FormulaRow.changed_at,
        FormulaRow.retired_at,
        versions.scalar_subquery(),
        batches.scalar_subquery(),
    ).where(kept)
    for word in words.split()[:MOST_WORDS]:
        columns = (FormulaRow.name, FormulaRow.code, FormulaRow.product_type)
        asked = asked.where(or_(*(column.icontains(word[:80], autoescape=True) for column in columns)))
    asked = asked.order_by(ORDERS.get(order, ORDERS["changed"]), FormulaRow.id)
    with store.reading() as session:
        return [ListedFormula(*row) for row in session.execute(asked.offset(skip).limit(most))]
