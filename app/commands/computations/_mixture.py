"""The part of a request that describes a mixture, shared by the acid-base computations."""

from typing import Literal

from pydantic import Field

from app.commands.computations._base import Number, Percent, RequestModel, Text
from app.reference.mixtures import Built, Conditions, MixtureEntry, build_mixture
from app.science.acid_base.model import water_percent
from app.science.acid_base.validity import MOSTLY_ALCOHOL, NO_NUMBER_WATER_SHARE, water_share
from app.science.acid_base.values import Mixture
from app.science.errors import Invalid

MOST_LINES = 300


class MixtureLineModel(RequestModel):
    """One material: INCI name, % w/w of the formula, strength and hydrate."""

    inci: Text
    percent: Percent
    assay_percent: Percent | None = None
    hydrate: str | None = Field(default=None, max_length=40)


class MixtureRequest(RequestModel):
    """A mixture with its water, temperature and what becomes of carbonate."""

    mixture: list[MixtureLineModel] = Field(max_length=MOST_LINES)
    water_percent: Percent | None = None
    temperature_c: Number | None = None
    carbonate: Literal["closed", "degassed"] = "closed"
    activity: Literal["davies", "ideal"] = Field(
        default="davies", description="ideal leaves every activity coefficient at 1, for exercises of a textbook"
    )

    def build(self) -> Built:
        """Translate into the values of the acid-base computation.

        Raises:
            Invalid: naming the field.
        """
        temperature = 25.0 if self.temperature_c is None else float(self.temperature_c)
        return build_mixture(
            entries(self.mixture),
            Conditions(self.water_percent, temperature, self.carbonate == "degassed", self.activity == "ideal"),
        )


def entries(lines: list[MixtureLineModel]) -> list[MixtureEntry]:
    """Translate request lines."""
    return [MixtureEntry(line.inci, line.percent, line.assay_percent, line.hydrate) for line in lines]


def require_watery(mixture: Mixture) -> None:
    """Refuse a mixture that is mostly alcohol or glycol, where a pH prediction made for water means nothing.

    Raises:
        Invalid: when water is less than half of water, alcohols and glycols together.
    """
    water = water_percent(mixture.lines, mixture.water_percent)
    if water > 0 and water_share(mixture, water) < NO_NUMBER_WATER_SHARE:
        raise Invalid("mixture", MOSTLY_ALCOHOL)


def tidy(value: float, digits: int = 7) -> float:
    """Cut a number to significant digits for the answer."""
    return float(f"{value:.{digits}g}")
