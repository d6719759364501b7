"""Stock solutions as typed: from pellets, flakes, liquor or acid with its strength to grams, steps and label."""

from dataclasses import dataclass
from decimal import Decimal

from app.reference.acid_base import acid_base_table
from app.science.acid_base.stock_solutions import StockMaterial, StockRecipe, make_stock
from app.science.errors import Invalid
from app.work.form import Choice, Faults, Field, Form
from app.work.form_fields import Grams, Number

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


def start_of(key: str) -> StockStart:
    """Return the starting material of a key.

    Raises:
        Invalid: at ``start``, when it is not one of those offered.
    """
    found = next((one for one in STARTS if one.key == key), None)
    if found is None:
        raise Invalid("start", "Choose what the solution is made from.")
    return found


class StartField(Field[StockStart]):
    """What a solution is made from."""

    control = "choice"

    def read(self, text: str, at: str, form: Form) -> StockStart:
        """Return the starting material."""
        return start_of(text)

    def choices(self) -> list[Choice]:
        """Return the starting materials."""
        return [Choice(one.key, one.words) for one in STARTS]


class StockForm(Form):
    """A stock solution to be made."""

    start = StartField("Made from", default=STARTS[0].key)
    assay = Number("Strength, %", low=LEAST, high=100)
    strength = Number("Strength to make, % w/w", low=LEAST, high=100)
    total = Grams("Amount to make, g", "Enter how much to make, such as 100 g.", low=LEAST, high=MOST_G, width="w6")


def stock_of(typed: StockForm) -> tuple[StockStart, StockRecipe]:
    """Work out a stock solution.

    Raises:
        Faults: at ``start``, ``assay``, ``strength`` or ``total``.
    """
    form = typed.checked()
    found = acid_base_table().find(form.start.inci)
    if found is None:
        raise Faults([Invalid("start", f"{form.start.inci} is missing from the tables.")])
    material = StockMaterial(found.substance, float(form.assay), form.start.liquid)
    try:
        return form.start, make_stock(material, float(form.strength), float(form.total))
    except Invalid as fault:
        field = {"strength_percent": "strength", "total_g": "total"}.get(fault.field, "start")
        raise Faults([Invalid(field, f"{fault.message[0].upper()}{fault.message[1:]}.")]) from fault
