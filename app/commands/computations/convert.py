"""``compute convert``: a quantity as typed, in another unit."""

from pydantic import Field

from app.commands.computations._base import AnswerModel, Figure, Positive, RequestModel, Text
from app.science.quantities import check_density, convert, parse_quantity
from app.science.units import find_unit

SUMMARY = "a quantity as people type it (1/2 tsp, 0,75 g, 1 lb 3 oz, 20 drops) in another unit"


class Request(RequestModel):
    """A quantity and the unit it is wanted in; between weight and volume the density is needed."""

    quantity: Text
    to: Text
    density_g_ml: Positive | None = None


class Answer(AnswerModel):
    """The value in the unit asked for; ``exact`` when only exact definitions were used (no density, no drops)."""

    value: Figure
    unit: str
    exact: bool
    notes: list[str] = Field(description="how words with several readings were taken, and what is rough")


def compute(request: Request) -> Answer:
    """Answer a request.

    Raises:
        Invalid: when the quantity or the unit cannot be read, or the density is missing or implausible.
    """
    quantity = parse_quantity(request.quantity, "quantity")
    unit = find_unit(request.to, "to")
    if request.density_g_ml is not None:
        check_density(request.density_g_ml, "density_g_ml")
    found = convert(quantity, unit, request.density_g_ml, "density_g_ml")
    return Answer(value=found.value, unit=request.to, exact=found.exact, notes=list(found.notes))
