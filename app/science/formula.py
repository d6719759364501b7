"""A formula as a value: lines with percentages, one of which may fill up to 100, and what follows from them.

Percentages are % w/w of the finished formula. ``q.s.`` (to 100): remainder = 100 - sum of the other lines.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from app.science.composition import DosedMaterial, Part
from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.numbers import exact_arithmetic, plain

HUNDRED = Decimal(100)
ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a draft. ``percent`` is None while empty and is not used on the q.s. line.

    ``parts`` is the composition of its material, None while no material is chosen. ``by_volume`` marks an amount
    typed as a volume, which needs ``density_g_ml``.
    """

    id: str
    percent: Decimal | None = None
    qs: bool = False
    phase: str = ""
    name: str = ""
    parts: tuple[Part, ...] | None = None
    density_g_ml: Decimal | None = None
    by_volume: bool = False


class FaultCode(StrEnum):
    """What can be wrong with a draft."""

    TOTAL = "total"
    NO_PERCENT = "no-percent"
    NEGATIVE = "negative"
    SECOND_QS = "second-qs"
    NEGATIVE_QS = "negative-qs"
    NO_MATERIAL = "no-material"
    NO_DENSITY = "no-density"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, at its line (None: at the total), in words that say what to do."""

    code: FaultCode
    line_id: str | None
    message: str


@dataclass(frozen=True, slots=True)
class Totals:
    """``sum_percent`` is the sum of the typed percentages; ``qs_percent`` the remainder, None without a q.s. line.

    ``total_percent`` is the sum with the q.s. line (never made up by a negative one).
    """

    sum_percent: Decimal
    qs_percent: Decimal | None
    total_percent: Decimal
    faults: tuple[Fault, ...]


def totals(lines: Sequence[Line]) -> Totals:
    """Sum a draft, work out the q.s. remainder and list everything that is wrong; never raises."""
    with exact_arithmetic():
        typed = sum((line.percent for line in lines if line.percent is not None and not line.qs), ZERO)
        remainder = HUNDRED - typed if any(line.qs for line in lines) else None
        total = typed + max(remainder or ZERO, ZERO)
    return Totals(typed, remainder, total, (*_line_faults(lines), *_total_faults(lines, total, remainder)))


def _line_faults(lines: Sequence[Line]) -> Iterable[Fault]:
    first_qs = next((line.id for line in lines if line.qs), None)
    for line in lines:
        if line.qs and line.id != first_qs:
            yield Fault(FaultCode.SECOND_QS, line.id, "Only one line can fill up to 100; give this one a percentage.")
        if not line.qs and line.percent is None:
            yield Fault(FaultCode.NO_PERCENT, line.id, "Write a percentage, or let this line fill up to 100.")
        if not line.qs and line.percent is not None and line.percent < 0:
            yield Fault(FaultCode.NEGATIVE, line.id, f"{plain(line.percent)} % is negative; write 0 or more.")
        if line.parts is None:
            yield Fault(FaultCode.NO_MATERIAL, line.id, "Choose the material of this line.")
        if line.by_volume and line.density_g_ml is None:
            yield Fault(FaultCode.NO_DENSITY, line.id, "This amount is a volume; give the density in g/mL or a weight.")


def _total_faults(lines: Sequence[Line], total: Decimal, remainder: Decimal | None) -> Iterable[Fault]:
    if remainder is not None:
        if remainder < 0:
            line_id = next(line.id for line in lines if line.qs)
            message = f"The other lines add up to {plain(total)} %; take {plain(-remainder)} away."
            yield Fault(FaultCode.NEGATIVE_QS, line_id, message)
    elif lines and total != HUNDRED:
        yield Fault(FaultCode.TOTAL, None, total_message(total))


def total_message(total: Decimal) -> str:
    """Say in words how a total of percentages stands to 100.

    >>> total_message(Decimal("101.2"))
    'The percentages add up to 101.2; take 1.2 away.'
    """
    if total == HUNDRED:
        return "The percentages add up to 100."
    deed = f"{plain(HUNDRED - total)} is missing" if total < HUNDRED else f"take {plain(total - HUNDRED)} away"
    return f"The percentages add up to {plain(total)}; {deed}."


def percents(lines: Sequence[Line]) -> dict[str, Decimal]:
    """Give each line's percentage by its id, the q.s. remainder filled in; empty lines and negatives count as 0."""
    qs_percent = totals(lines).qs_percent or ZERO
    first_qs = next((line.id for line in lines if line.qs), None)
    typed = {line.id: max(line.percent or ZERO, ZERO) for line in lines if not line.qs}
    filled = {line.id: max(qs_percent, ZERO) if line.id == first_qs else ZERO for line in lines if line.qs}
    return {line.id: typed.get(line.id, filled.get(line.id, ZERO)) for line in lines}


def grams(lines: Sequence[Line], batch_g: Decimal) -> dict[str, Decimal]:
    """Give the grams of each line in a batch: mass = batch x percent / 100, exact and unrounded."""
    with exact_arithmetic():
        return {line_id: batch_g * percent / HUNDRED for line_id, percent in percents(lines).items()}


def dosed(lines: Sequence[Line]) -> tuple[DosedMaterial, ...]:
    """Give the lines as materials for :func:`app.science.composition.expand`; lines without material are left out."""
    filled = percents(lines)
    return tuple(DosedMaterial(line.name, filled[line.id], line.parts) for line in lines if line.parts is not None)


def percents_from_grams(amounts: Mapping[str, Decimal]) -> dict[str, Decimal]:
    """Turn weighed grams into % w/w: percent = 100 x mass / total mass.

    Raises:
        Invalid: when a weight is negative or all are zero.
    """
    total = sum(amounts.values(), ZERO)
    if any(amount < 0 for amount in amounts.values()) or not total:
        raise Invalid("", "Write weights of 0 or more, at least one of them above 0.")
    return {line_id: HUNDRED * amount / total for line_id, amount in amounts.items()}


def normalised(amounts: Mapping[str, Decimal]) -> dict[str, Decimal]:
    """Scale percentages that do not add up so that they do; only ever on request.

    Raises:
        Invalid: when a percentage is negative or all are zero.
    """
    return percents_from_grams(amounts)


def percent_w_w_from_w_v(percent_w_v: Decimal, product_g_ml: Decimal) -> Decimal:
    """Turn grams per 100 mL of product into % w/w: w/w = w/v / density of the product (g/mL, above 0)."""
    return percent_w_v / _above_zero(product_g_ml)


def percent_w_w_from_v_v(percent_v_v: Decimal, liquid_g_ml: Decimal, product_g_ml: Decimal) -> Decimal:
    """Turn % v/v of a liquid into % w/w: w/w = v/v x density of the liquid / density of the product (g/mL)."""
    return percent_v_v * _above_zero(liquid_g_ml) / _above_zero(product_g_ml)


def density_of_mixture(shares: Iterable[tuple[Decimal, Decimal]]) -> Decimal:
    """Estimate a density from (percent, density) pairs with additive volumes: 1/rho = sum(w_i / rho_i) / sum(w_i).

    An estimate only: ethanol and water contract by several percent.

    Raises:
        Invalid: when there is nothing in the mixture or a density is not above 0.
    """
    pairs = list(shares)
    volume = sum((percent / _above_zero(density) for percent, density in pairs), ZERO)
    if not volume:
        raise Invalid("", "The mixture is empty; give at least one part above 0 %.")
    return sum((percent for percent, _ in pairs), ZERO) / volume


def _above_zero(density_g_ml: Decimal) -> Decimal:
    if density_g_ml <= 0:
        raise Invalid("density_g_ml", "A density must be above 0 g/mL.")
    return density_g_ml


class Affinity(StrEnum):
    """The side of an emulsion on which something stands."""

    WATER = "water"
    OIL = "oil"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Split:
    """The shares of a formula, % w/w of the finished formula, that stand on the water side, oil side and neither."""

    water: Decimal
    oil: Decimal
    other: Decimal


def split_strip(
    lines: Sequence[Line],
    substances: Mapping[str, Affinity],
    phases: Mapping[str, Affinity] | None = None,
) -> Split:
    """Split a formula into water, oil and other for the drawn strip.

    ``substances`` tells the side by INCI key; a substance it does not hold takes the side of its phase in ``phases``,
    else 'other'. A material that declares less than 100 % leaves the rest to the side of its phase.
    """
    shares = dict.fromkeys(Affinity, ZERO)
    filled = percents(lines)
    for line in lines:
        side = (phases or {}).get(line.phase, Affinity.OTHER)
        rest = filled[line.id]
        for part in line.parts or ():
            share = filled[line.id] * part.percent / HUNDRED
            shares[substances.get(inci_key(part.inci), side)] += share
            rest -= share
        shares[side] += max(rest, ZERO)
    return Split(shares[Affinity.WATER], shares[Affinity.OIL], shares[Affinity.OTHER])
