"""``net-content``: what a label says of its content, how large, and whether fills keep it."""

from decimal import Decimal
from typing import Any

from pydantic import Field, SerializerFunctionWrapHandler, model_serializer

from app.commands.computations._base import AnswerModel, Figure, Positive, RequestModel, Text
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.net_content import Panel, PanelShape, judge_fills, net_content
from app.science.quantities import Quantity, check_density
from app.science.units import Measure, find_unit

SUMMARY = "Net content of a label: its words, the least type height, exemption, tolerance, and judging of fills."
MOST_FILLS = 10_000


class NominalModel(RequestModel):
    """The content as declared."""

    value: Positive
    unit: Text


class PanelModel(RequestModel):
    """The panel in mm; the width of a cylinder or round face is its diameter, that of a wrap its whole length."""

    shape: PanelShape
    width_mm: Positive
    height_mm: Positive


class Request(RequestModel):
    """A content, the panel it stands on, and fills in grams where they are to be judged."""

    nominal: NominalModel
    panel: PanelModel
    density_g_ml: Positive | None = None
    jurisdiction: Jurisdiction
    fills_g: list[Positive] = Field(default=[], max_length=MOST_FILLS)
    rule: Jurisdiction | None = Field(default=None, description="whose rules judge the fills; or the jurisdiction")


class Answer(AnswerModel):
    """The statement; the tolerance is in grams or millilitres, null where no shipped table holds one."""

    text: str
    min_type_mm: Figure
    exempt: bool
    tolerable_negative_error: Figure | None
    lot_passes: bool | None = None
    why: list[str]

    @model_serializer(mode="wrap")
    def _keep_null(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Write the tolerance as null where none is known."""
        return {"tolerable_negative_error": None} | dict(handler(self))


def compute(request: Request) -> Answer:
    """Answer a request.

    Raises:
        Invalid: naming the field.
    """
    nominal = Quantity(request.nominal.value, find_unit(request.nominal.unit, "nominal.unit"))
    panel = Panel(request.panel.shape, request.panel.width_mm, request.panel.height_mm)
    found = net_content(nominal, panel, request.jurisdiction)
    why = list(found.why)
    judged = None
    if request.fills_g:
        fills = _in_its_measure(nominal, request.fills_g, request.density_g_ml)
        judged = judge_fills(nominal, fills, request.rule or request.jurisdiction)
        why += (
            judged.why
            if judged
            else [
                "Their mean is kept; single fills are not judged: no shipped table holds a tolerance for this content."
            ]
        )
    return Answer(
        text=found.text,
        min_type_mm=found.min_type_mm,
        exempt=found.exempt,
        tolerable_negative_error=found.tolerance,
        lot_passes=judged.passes if judged else None,
        why=why,
    )


def _in_its_measure(nominal: Quantity, fills_g: list[Decimal], density: Decimal | None) -> list[Decimal]:
    if nominal.unit.measure is Measure.MASS:
        return fills_g
    if density is None:
        raise Invalid("density_g_ml", "fills in grams of a volume need the density in g/mL")
    return [fill / check_density(density, "density_g_ml") for fill in fills_g]
