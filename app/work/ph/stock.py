"""Stock solutions as typed: from pellets, flakes, liquor or acid with its strength to grams, steps and label."""

from dataclasses import dataclass
from decimal import Decimal

from app.reference.acid_base import acid_base_table
from app.science.acid_base.stock import StockMaterial, StockRecipe, make_stock
from app.science.errors import Invalid
from app.science.numbers import parse_number
from app.science.quantities import parse_grams
from app.work.field_reading import FieldReader
from app.work.form import Faults

LEAST, MOST_G = Decimal("0.01"), Decimal(100_000)


@dataclass(frozen=True, slots=True)
class StockStart:
    """What a stock solution is made from, as it is usually bought (strengths: common practice)."""

    key: str
    words: str
    inci: str
    assay_percent: str
    liquid: bool
    usual_percent: str


STARTS = (
    StockStart("naoh-pellets", "Sodium hydroxide pellets or pearls", "Sodium Hydroxide", "98", False, "10"),
    StockStart("naoh-liquor", "Sodium hydroxide liquor 45 %", "Sodium Hydroxide", "45", True, "10"),
    StockStart("koh-flakes", "Potassium hydroxide flakes", "Potassium Hydroxide", "88", False, "18"),
    StockStart("koh-liquor", "Potassium hydroxide liquor 45 %", "Potassium Hydroxide", "45", True, "18"),
    StockStart("citric", "Citric acid, anhydrous", "Citric Acid", "99.5", False, "20"),
    StockStart("citric-mono", "Citric acid monohydrate (as citric acid)", "Citric Acid", "91", False, "20"),
    StockStart("lactic", "Lactic acid 88 %", "Lactic Acid", "88", True, "10"),
    StockStart("tromethamine", "Tromethamine", "Tromethamine", "99", False, "40"),
    StockStart("arginine", "Arginine", "Arginine", "98.5", False, "10"),
)


@dataclass(frozen=True, slots=True)
class TypedStock:
    """What was typed."""

    start: str = "naoh-pellets"
    assay: str = ""
    strength: str = ""
    total: str = ""


def start_of(key: str) -> StockStart:
    """Give the starting material of a key.

    Raises:
        Invalid: at ``start``, when it is not one of those offered.
    """
    found = next((one for one in STARTS if one.key == key), None)
    if found is None:
        raise Invalid("start", "Choose what the solution is made from.")
    return found


def stock_of(typed: TypedStock) -> tuple[StockStart, StockRecipe]:
    """Work out a stock solution.

    Raises:
        Faults: at ``start``, ``assay``, ``strength`` or ``total``.
    """
    reader = FieldReader()
    start = reader.read(start_of, typed.start)
    assay = reader.read(parse_number, typed.assay, "assay", low=LEAST, high=Decimal(100))
    strength = reader.read(parse_number, typed.strength, "strength", low=LEAST, high=Decimal(100))
    total = reader.read(parse_grams, typed.total, "total", low=LEAST, high=MOST_G)
    reader.finish()
    if start is None or assay is None or strength is None or total is None:
        raise Faults([Invalid("start", "Choose what the solution is made from.")])
    return start, _made(start, float(assay), float(strength), float(total))


def _made(start: StockStart, assay: float, strength: float, total: float) -> StockRecipe:
    found = acid_base_table().find(start.inci)
    if found is None:
        raise Faults([Invalid("start", f"{start.inci} is missing from the tables.")])
    try:
        return make_stock(StockMaterial(found.substance, assay, start.liquid), strength, total)
    except Invalid as fault:
        field = {"strength_percent": "strength", "total_g": "total"}.get(fault.field, "start")
        raise Faults([Invalid(field, f"{fault.message[0].upper()}{fault.message[1:]}.")]) from fault
