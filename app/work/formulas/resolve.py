"""From words to numbers: a draft against the shelf becomes a formula, or faults at their fields.

Nothing else reads what is typed in a draft. A draft that does not add up yet still gives the formula as far as it
can be read, so that the page shows what is known and says what is not.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from app.science.batch_size import BatchSize, read_batch_size
from app.science.errors import Invalid
from app.science.formula import (
    HUNDRED,
    ZERO,
    Formula,
    HouseholdMeasure,
    Line,
    Material,
    Packaging,
    Phase,
    Rates,
    percent_w_w_from_v_v,
    percent_w_w_from_w_v,
    remainder_percent,
    total_message,
)
from app.science.jurisdiction import Jurisdiction
from app.science.numbers import exact_arithmetic, parse_number, plain, to_places
from app.science.quantities import check_density, parse_quantity, to_grams
from app.science.scales import ASSUMED_SCALE, Scale
from app.science.specification import read_specification, read_tolerances
from app.science.weighing import weighed_batch
from app.work.form import FaultList
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.faults import FieldFault, IncompleteFormula

MOST_LINES = 300
TOO_MANY = f"A formula holds at most {MOST_LINES} lines; remove some or split it."
BASES: Mapping[str, str] = {"w/w": "% w/w", "w/v": "% w/v", "v/v": "% v/v", "amounts": "amount"}
FILLS_UP = re.compile(
    r"\s*(q\.?\s?s\.?(\s?p\.?)?|ad|((make|fill)\s+)?(up\s+)?to|rest|remainder|balance)"
    r"(\s*(to|ad)?\s*100\s*(%|g|ml)?)?\s*",
    re.IGNORECASE,
)
USUAL_BATCH = "500 g"
PLACES = 6
# Spoons and cups hold what is heaped on them (common practice).
SPOONS = ("spoon", "cup", "pinch", "dash", "drop")
NEAR_HUNDRED = Decimal("0.05")
_TEMPERATURE = re.compile(r"(?P<number>[-−]?[\d.,]+)\s*(°|º|deg(rees)?)?\s*(?P<unit>[CF]?)", re.IGNORECASE)

Materials = Mapping[int, Material]


@dataclass(frozen=True, slots=True)
class Defaults:
    """What a draft does not say: process loss in % where none is typed, scales, rates, law, and how it is sold.

    ``price`` is that of a unit with tax, ``claims`` the words on the label; both, and the packaging, are those of the
    product that a formula is sold in first.
    """

    loss_percent: Decimal = ZERO
    scales: tuple[Scale, ...] = (ASSUMED_SCALE,)
    rates: Rates = field(default_factory=Rates)
    packaging: tuple[Packaging, ...] = ()
    price: Decimal | None = None
    claims: str = ""
    jurisdiction: Jurisdiction = Jurisdiction.EU


@dataclass(frozen=True, slots=True)
class Resolution:
    """A draft read through.

    Attributes:
        formula: every line whose percentage is known; a material that is not on the shelf stands there by its name
            alone, with the id 0. It is complete only when :meth:`complete` gives it back.
        sum_percent: the sum of the percentages that were written.
        remainder_percent: what is left for the line that fills up, below 0 when there is too much; None without one.
        unknown: the keys of the lines whose percentage is not known.
        faults: everything that is wrong, each at its field.
    """

    draft: Draft
    formula: Formula
    sum_percent: Decimal
    remainder_percent: Decimal | None
    unknown: tuple[str, ...]
    faults: tuple[FieldFault, ...]

    @property
    def adds_up(self) -> bool:
        """Whether every percentage is known and they make exactly 100."""
        return not self.unknown and bool(self.formula.lines) and self.formula.total_percent == HUNDRED

    def complete(self) -> Formula:
        """Return the formula when nothing is wrong with it.

        Raises:
            IncompleteFormula: with every fault, when there is one or the percentages do not make exactly 100.
        """
        faults = self.faults
        if not self.formula.lines and not faults:
            faults = (FieldFault("total", "Enter at least one line."),)
        elif not self.adds_up and not faults:
            faults = (FieldFault("total", total_message(self.formula.total_percent)),)
        if faults:
            raise IncompleteFormula(faults)
        return self.formula


def resolve(draft: Draft, materials: Materials, defaults: Defaults | None = None, formula_id: int = 0) -> Resolution:
    """Return what a draft means; never raises for anything that can be typed."""
    defaults = defaults or Defaults()
    reader = FaultList()
    if not draft.name.strip():
        reader.refuse("name", "Enter a name for the formula.")
    typed = reader.read(_number, draft.density, "density", ZERO, Decimal(10_000))
    density = reader.read(check_density, typed, "density") if typed is not None else None
    typed_loss = reader.read(_number, draft.loss_percent, "loss_percent", ZERO, Decimal(99))
    loss = defaults.loss_percent if typed_loss is None else typed_loss
    amounts, size = _amounts_and_size(draft, materials, density, loss, defaults.scales, reader)
    rows = draft.in_page_order()
    remainder_key = next((row.id for row in rows if fills_up(row)), None)
    rest = None if remainder_key is None else remainder_percent(amounts.percents.values())
    lines = _lines(rows, materials, amounts, remainder_key, rest)
    missed = reader.read(read_tolerances, draft.specification, [line.name for line in lines.values()]) or {}
    lines = {key: replace(line, tolerance_percent=missed.get(line.name)) for key, line in lines.items()}
    labour = reader.read(_number, draft.labour_minutes, "labour_minutes", ZERO, Decimal(100_000))
    formula = Formula(
        name=draft.name,
        phases=tuple(_phases(draft, lines, reader)),
        code=draft.code,
        product_type=draft.product_type,
        product_kind=draft.product_kind,
        exposure=draft.exposure,
        special_uses=draft.special_uses,
        claims=defaults.claims,
        notes=draft.notes,
        size=size,
        density_g_ml=density,
        loss_percent=loss,
        scales=defaults.scales,
        target_ph=reader.read(_number, draft.target_ph, "target_ph", ZERO, Decimal(14)),
        packaging=defaults.packaging,
        labour_minutes=labour or ZERO,
        price=defaults.price,
        rates=defaults.rates,
        checks=reader.read(read_specification, draft.specification) or (),
        jurisdiction=defaults.jurisdiction,
        formula_id=formula_id,
    )
    faults = _faults(rows, materials, amounts, rest, reader)
    unknown = tuple(row.id for row in rows if not fills_up(row) and row.id not in amounts.percents)
    return Resolution(draft, formula, sum(amounts.percents.values(), ZERO), rest, unknown, faults)


@dataclass(frozen=True, slots=True)
class _Amounts:
    """The amounts that could be read, by the keys of their lines: % w/w, and the measure where it was one."""

    percents: Mapping[str, Decimal]
    measures: Mapping[str, HouseholdMeasure]


def fills_up(line: DraftLine) -> bool:
    """Return whether a line is the one to 100, by its mark or by its words (``q.s.``, ``to 100``)."""
    return line.qs or bool(FILLS_UP.fullmatch(line.amount))


def _amounts_and_size(
    draft: Draft,
    materials: Materials,
    density: Decimal | None,
    loss_percent: Decimal,
    scales: Sequence[Scale],
    reader: FaultList,
) -> tuple[_Amounts, BatchSize | None]:
    """Read every amount and the batch size.

    Amounts that are weights and measures make the batch themselves, unless another size is asked for.
    """
    rows = draft.in_page_order()
    filled = any(fills_up(row) for row in rows)
    if draft.basis == "amounts":
        grams, measures = _weights(rows, materials, reader)
        summed = sum(grams.values(), ZERO)
        if draft.batch.strip() or filled or not summed:
            typed = draft.batch if draft.batch.strip() or filled else USUAL_BATCH
            size = reader.read(read_batch_size, typed, draft.fill, density)
        else:
            with exact_arithmetic():
                net_g = summed * (1 - loss_percent / HUNDRED)
            size = reader.read(read_batch_size, f"{plain(to_places(net_g, PLACES))} g", draft.fill, density)
        asked_g = weighed_batch(size.net_g, loss_percent, scales) if size else None
        whole = asked_g if filled else summed
        with exact_arithmetic():
            percents = {key: HUNDRED * value / whole for key, value in grams.items()} if whole else {}
        return _Amounts(_in_places(percents, filled=filled), measures), size
    size = reader.read(read_batch_size, draft.batch.strip() or USUAL_BATCH, draft.fill, density)
    found: dict[str, Decimal] = {}
    for row in _written(rows):
        value = reader.read(_percent, row, materials.get(row.material_id or 0), draft.basis, density)
        if value is not None:
            found[row.id] = value
    return _Amounts(found if draft.basis == "w/w" else _in_places(found, filled=filled), {}), size


def _written(rows: Iterable[DraftLine]) -> Iterable[DraftLine]:
    return (row for row in rows if row.amount.strip() and not fills_up(row))


def _weights(
    rows: Iterable[DraftLine], materials: Materials, reader: FaultList
) -> tuple[dict[str, Decimal], dict[str, HouseholdMeasure]]:
    """Read amounts that are weights, volumes and measures: grams, and the measure where it was not grams."""
    grams: dict[str, Decimal] = {}
    measures: dict[str, HouseholdMeasure] = {}
    for row in _written(rows):
        material = materials.get(row.material_id or 0)
        density, field = material.density_g_ml if material else None, amount_field(row)
        quantity = reader.read(parse_quantity, row.amount, field, default_unit="g")
        weight = reader.read(to_grams, quantity, density, field) if quantity else None
        if quantity is None or weight is None:
            continue
        grams[row.id] = weight
        if quantity.amount and quantity.unit.name != "gram":
            is_rough = quantity.rough or quantity.unit.name.endswith(SPOONS)
            with exact_arithmetic():
                each_g = to_places(weight / quantity.amount, 12)
            measures[row.id] = HouseholdMeasure(quantity.unit.symbol, each_g, is_rough)
    return grams, measures


def _percent(row: DraftLine, material: Material | None, basis: str, density: Decimal | None) -> Decimal:
    name = amount_field(row)
    percent = parse_number(row.amount, name, low=ZERO, high=HUNDRED * 30)
    if basis == "w/w":
        if percent > HUNDRED:
            raise Invalid(name, "A line cannot be more than 100 %.")
        return percent
    if density is None:
        raise Invalid("density", "Enter the density of the product in g/mL, so that volumes become weights.")
    if basis == "w/v":
        return percent_w_w_from_w_v(percent, density)
    if material is None or material.density_g_ml is None:
        raise Invalid(name, "This amount is a volume; enter a density for the material, or a weight.")
    return percent_w_w_from_v_v(percent, material.density_g_ml, density)


def _in_places(percents: Mapping[str, Decimal], *, filled: bool) -> dict[str, Decimal]:
    """Round percentages that were worked out to six places; the largest line takes what rounding left."""
    rounded = {key: to_places(value, PLACES) for key, value in percents.items()}
    off = remainder_percent(rounded.values())
    if rounded and not filled and off and abs(off) <= NEAR_HUNDRED:
        rounded[max(rounded, key=lambda key: rounded[key])] += off
    return rounded


def amount_field(line: DraftLine) -> str:
    """The name of the field that holds the amount of a line."""
    return f"line.{line.id}.amount"


def _lines(
    rows: Iterable[DraftLine], materials: Materials, amounts: _Amounts, remainder_key: str | None, rest: Decimal | None
) -> dict[str, Line]:
    """Return the lines whose percentage is known; only the first that fills up takes the rest."""
    found: dict[str, Line] = {}
    for row in rows:
        material = materials.get(row.material_id or 0) or Material(0, row.typed.strip())
        if fills_up(row):
            is_first = row.id == remainder_key
            percent = max(rest or ZERO, ZERO) if is_first else ZERO
            found[row.id] = Line(row.id, material, percent, is_remainder=is_first, note=row.note)
        elif row.id in amounts.percents:
            measure = amounts.measures.get(row.id)
            found[row.id] = Line(row.id, material, amounts.percents[row.id], note=row.note, measure=measure)
    return found


def _phases(draft: Draft, lines: Mapping[str, Line], reader: FaultList) -> Iterable[Phase]:
    """Yield the phases with their lines; lines of a phase that is gone stand in the last."""
    phases = draft.phases or (DraftPhase(""),)
    known = {phase.id for phase in phases}
    for phase in phases:
        strays = [row for row in draft.lines if row.phase not in known] if phase is phases[-1] else []
        yield Phase(
            draft.letter_of(phase.id),
            phase.name,
            reader.read(read_temperature, phase),
            tuple(step.strip() for step in phase.method.splitlines() if step.strip()),
            tuple(lines[row.id] for row in (*draft.lines_of(phase.id), *strays) if row.id in lines),
        )


def _faults(
    rows: Sequence[DraftLine], materials: Materials, amounts: _Amounts, rest: Decimal | None, reader: FaultList
) -> tuple[FieldFault, ...]:
    """Return every fault once: first what could not be read, then what is missing, then what does not add up."""
    found = {(f.field, f.message): FieldFault(f.field, f.message) for f in reader.faults}
    unread = {fault.field for fault in reader.faults}
    names: dict[str, str] = {}
    filling = next((row for row in rows if fills_up(row)), None)
    for number, row in enumerate(rows, start=1):
        material = materials.get(row.material_id or 0)
        names[row.id] = material.name if material else row.typed.strip()[:60] or f"Line {number}"
        is_said = bool({amount_field(row), "density"} & unread)
        is_missing = row.id not in amounts.percents and not is_said
        if is_missing and not fills_up(row):
            words = "Enter a percentage, or let this line fill up to 100."
            _add(found, amount_field(row), words, unfinished=True)
        elif is_missing and row is not filling:
            _add(found, f"line.{row.id}.qs", "Only one line can fill up to 100; enter a percentage for this one.")
        if material is None:
            name = row.typed.strip()
            words = f"{name[:60]} is not on the shelf. Choose a material, or put it on the shelf."
            asked = words if name else "Choose the material of this line."
            _add(found, f"line.{row.id}.typed", asked, unfinished=not name)
    total = sum(amounts.percents.values(), ZERO)
    if filling is not None and rest is not None and rest < 0:
        words = f"The other lines add up to {plain(total)} %; take {plain(-rest)} away."
        _add(found, amount_field(filling), words)
    elif filling is None and rows and total != HUNDRED:
        _add(found, "total", total_message(total))
    return tuple(replace(fault, where=names.get(_line_of(fault.field), "")) for fault in found.values())


Found = dict[tuple[str, str], FieldFault]


def _add(found: Found, name: str, message: str, *, unfinished: bool = False) -> None:
    found.setdefault((name, message), FieldFault(name, message, unfinished))


def _line_of(name: str) -> str:
    """Return the id of the line that a field belongs to; empty when it belongs to none."""
    group, _, rest = name.partition(".")
    return rest.partition(".")[0] if group == "line" else ""


def _number(text: str, name: str, low: Decimal, high: Decimal) -> Decimal | None:
    return parse_number(text, name, low=low, high=high) if text.strip() else None


def read_temperature(phase: DraftPhase) -> Decimal | None:
    """Return the temperature of a phase in degrees Celsius; Fahrenheit is converted, nothing typed is None.

    Raises:
        Invalid: at the phase's temperature field, when it is no single temperature between -50 and 300 C.
    """
    text, name = phase.temperature.strip(), f"phase.{phase.id}.temperature"
    if not text:
        return None
    match = _TEMPERATURE.fullmatch(text)
    if match is None:
        raise Invalid(name, "Enter one temperature, such as 75 or 75 °C; a range goes into the method.")
    value = parse_number(match["number"], name, low=Decimal(-500), high=Decimal(1000))
    is_fahrenheit = match["unit"].upper() == "F"
    celsius = (value - 32) * 5 / 9 if is_fahrenheit else value
    if not -50 <= celsius <= 300:
        raise Invalid(name, "Enter a temperature between -50 and 300 °C.")
    return celsius.quantize(Decimal("0.1")) if is_fahrenheit else value
