"""A formula as a value: phases of lines with their materials, and everything that bears on a number of it.

No text in it stands for a number. Percentages are % w/w of the finished formula; ``q.s.`` (to 100): remainder =
100 - sum of the other lines. Weights, cost, ingredient list and checks are functions of this value.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from typing import Self

from app.science.batch_size import BatchSize
from app.science.composition import DosedMaterial, Part
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.names import inci_key
from app.science.numbers import exact_arithmetic, plain
from app.science.plain_data import from_plain, to_plain
from app.science.rules.names import is_water
from app.science.scales import ASSUMED_SCALE, Scale
from app.science.specification import Check

HUNDRED = Decimal(100)
ZERO = Decimal(0)
SCHEMA = 1


class Solvency(StrEnum):
    """What dissolves a material: water, oil, alcohol, or none of them as far as is known."""

    WATER = "water"
    OIL = "oil"
    ALCOHOL = "alcohol"
    NEITHER = "neither"


@dataclass(frozen=True, slots=True)
class Price:
    """What was paid, or offered (``is_offer``), for ``quantity_g`` grams or pieces on a day, in ``currency``.

    Without a currency the amount is in that of the formula's rates.
    """

    amount: Decimal
    quantity_g: Decimal
    is_offer: bool = False
    day: date | None = None
    currency: str = ""

    @property
    def per_g(self) -> Decimal:
        """The price of one gram."""
        return self.amount / self.quantity_g


@dataclass(frozen=True, slots=True)
class Material:
    """A material as it stood on the shelf: composition, density in g/mL, usual use in % w/w, and its prices.

    ``solvency`` is None where it is not known what dissolves it. ``id`` is that of the shelf, 0 for none.
    """

    id: int
    name: str
    parts: tuple[Part, ...] = ()
    density_g_ml: Decimal | None = None
    form: str = ""
    phase_hint: str = "any"
    functions: str = ""
    cautions: str = ""
    certificate: str = ""
    use_low: Decimal | None = None
    use_high: Decimal | None = None
    solvency: Solvency | None = None
    prices: tuple[Price, ...] = ()
    retired: bool = field(default=False, compare=False)

    @property
    def key(self) -> str:
        """The key under which its name is compared."""
        return inci_key(self.name)


def dissolves(solvent: Material, solvency: Solvency) -> bool:
    """Return whether a material is a solvent of a kind: one that is half water or alcohol, or an oil that pours."""
    if solvency in (Solvency.WATER, Solvency.ALCOHOL):
        is_solvent = is_water if solvency is Solvency.WATER else _is_alcohol
        return sum((part.percent for part in solvent.parts if is_solvent(part.inci)), ZERO) >= HUNDRED / 2
    return solvency is Solvency.OIL and solvent.solvency is Solvency.OIL and solvent.form == "liquid"


def _is_alcohol(inci: str) -> bool:
    return inci_key(inci) in ("ALCOHOL", "ALCOHOL DENAT.", "SD ALCOHOL 40-B")


@dataclass(frozen=True, slots=True)
class HouseholdMeasure:
    """The unit in which a line was measured out, with the grams that one of it weighs.

    ``is_rough`` marks spoons, drops and pinches.
    """

    unit: str
    unit_g: Decimal
    is_rough: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A line: a material at ``percent`` % w/w (0 to 100); ``is_remainder`` marks the one that fills up to 100.

    ``measure`` is the unit it was written in, where that was neither a percentage nor grams; ``tolerance_percent`` how
    far its weight may miss the plan, where the formula says so.
    """

    key: str
    material: Material
    percent: Decimal
    is_remainder: bool = False
    note: str = ""
    measure: HouseholdMeasure | None = None
    tolerance_percent: Decimal | None = None

    @property
    def name(self) -> str:
        """The name of its material."""
        return self.material.name

    @property
    def parts(self) -> tuple[Part, ...]:
        """The composition of its material."""
        return self.material.parts


@dataclass(frozen=True, slots=True)
class Phase:
    """A phase with its letter, its temperature in degrees Celsius, the steps of its method and its lines, in order."""

    letter: str
    name: str = ""
    temperature_c: Decimal | None = None
    method: tuple[str, ...] = ()
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class Packaging:
    """A piece of packaging, ``per_unit`` of it to a unit, and its prices, pieces in place of grams.

    Versions from before packaging had dated prices hold ``price``, which buys ``units_per_pack``.
    """

    id: int
    name: str
    per_unit: Decimal
    units_per_pack: Decimal = Decimal(1)
    price: Decimal | None = None
    prices: tuple[Price, ...] = ()


@dataclass(frozen=True, slots=True)
class Rates:
    """What a workshop reckons with: currency (ISO 4217), its decimals, labour an hour, overhead and tax in %."""

    currency: str = "EUR"
    digits: int = 2
    labour_rate: Decimal = ZERO
    overhead_percent: Decimal = ZERO
    tax_percent: Decimal = ZERO


@dataclass(frozen=True)
class Formula:
    """A formula with everything that bears on a number: lines, size, loss, scales, packaging, prices and rates.

    ``size`` is the batch size (net) with the fill per unit; ``price`` is that of a unit, tax included;
    ``jurisdiction`` is whose law it is made under. The ids and the number say where it is kept and are no part of the
    value: ``version_id`` is None for a draft.
    """

    name: str = ""
    phases: tuple[Phase, ...] = ()
    code: str = ""
    product_type: str = ""
    product_kind: str = ""
    exposure: str = "leave-on"
    special_uses: tuple[str, ...] = ()
    claims: str = ""
    notes: str = ""
    size: BatchSize | None = None
    density_g_ml: Decimal | None = None
    loss_percent: Decimal = ZERO
    scales: tuple[Scale, ...] = (ASSUMED_SCALE,)
    target_ph: Decimal | None = None
    packaging: tuple[Packaging, ...] = ()
    labour_minutes: Decimal = ZERO
    price: Decimal | None = None
    rates: Rates = Rates()
    checks: tuple[Check, ...] = ()
    jurisdiction: Jurisdiction = Jurisdiction.EU
    formula_id: int = field(default=0, compare=False)
    version_id: int | None = field(default=None, compare=False)
    version_number: int | None = field(default=None, compare=False)

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """All lines, phase by phase."""
        return tuple(line for phase in self.phases for line in phase.lines)

    @cached_property
    def dosed(self) -> tuple[DosedMaterial, ...]:
        """The formula as materials at percentages, for expansion into substances."""
        return tuple(DosedMaterial(line.name, line.percent, line.parts) for line in self.lines)

    @cached_property
    def total_percent(self) -> Decimal:
        """The sum of all lines; exactly 100 for a formula that is complete."""
        with exact_arithmetic():
            return sum((line.percent for line in self.lines), ZERO)

    def line(self, key: str) -> Line | None:
        """Return the line of a key."""
        return next((line for line in self.lines if line.key == key), None)

    def without_prices(self) -> Self:
        """Return the same formula with nothing that costs: what was made, apart from what it was worth that day."""
        bare = tuple(
            replace(phase, lines=tuple(replace(x, material=replace(x.material, prices=())) for x in phase.lines))
            for phase in self.phases
        )
        packs = tuple(replace(pack, price=None, prices=(), units_per_pack=Decimal(1)) for pack in self.packaging)
        return replace(self, phases=bare, packaging=packs, price=None, rates=Rates())

    def to_json(self) -> str:
        """Return the value as one JSON text: decimals as text, keys in a fixed order, with the number of its schema."""
        return json.dumps({"schema": SCHEMA, **to_plain(self)}, ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Return the value of a JSON text.

        Raises:
            ValueError: when the text is no formula, or one of a later schema.
        """
        data = json.loads(text)
        if not isinstance(data, dict) or not 1 <= data.get("schema", 0) <= SCHEMA:
            raise ValueError("this formula was written by a later program")
        return from_plain(cls, data)


def remainder_percent(percents: Iterable[Decimal]) -> Decimal:
    """Return what is left to 100 % w/w, below 0 when the others exceed it: remainder = 100 - sum."""
    with exact_arithmetic():
        return HUNDRED - sum(percents, ZERO)


def total_message(total: Decimal) -> str:
    """Say in words how a total of percentages stands to 100.

    >>> total_message(Decimal("101.2"))
    'The percentages add up to 101.2; take 1.2 away.'
    """
    if total == HUNDRED:
        return "The percentages add up to 100."
    off = f"{plain(HUNDRED - total)} is missing" if total < HUNDRED else f"take {plain(total - HUNDRED)} away"
    return f"The percentages add up to {plain(total)}; {off}."


def percent_w_w_from_w_v(percent_w_v: Decimal, product_g_ml: Decimal) -> Decimal:
    """Return % w/w of grams per 100 mL of product: w/w = w/v / density of the product (g/mL, above 0).

    Raises:
        Invalid: at ``density_g_ml``, when the density is not above 0.
    """
    return percent_w_v / _above_zero(product_g_ml)


def percent_w_w_from_v_v(percent_v_v: Decimal, liquid_g_ml: Decimal, product_g_ml: Decimal) -> Decimal:
    """Return % w/w of % v/v of a liquid: w/w = v/v x density of the liquid / density of the product (g/mL, above 0).

    Raises:
        Invalid: at ``density_g_ml``, when a density is not above 0.
    """
    return percent_v_v * _above_zero(liquid_g_ml) / _above_zero(product_g_ml)


def _above_zero(density_g_ml: Decimal) -> Decimal:
    if density_g_ml <= 0:
        raise Invalid("density_g_ml", "A density must be above 0 g/mL.")
    return density_g_ml
