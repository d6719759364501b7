"""Interpret a draft: what each field means, and what is wrong with it at which field."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from unicodedata import category

from app.science.batch_size import BatchSize, read_batch_size
from app.science.errors import Invalid
from app.science.formula import HUNDRED, ZERO, Fault, FaultCode, Line, Totals, percents, total_message, totals
from app.science.numbers import parse_number
from app.science.quantities import check_density
from app.science.scales import ASSUMED_SCALE, Scale
from app.science.weighing import weighed_batch
from app.work.formulas.amounts import Measure, Typed, percent_lines
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.shelf import Shelf, ShelfMaterial
from app.work.formulas.sound import SoundFormula, SoundLine, SoundPackaging, SoundPhase
from app.work.typed import Reader

MOST_LINES = 300
TOO_MANY = f"A formula holds at most {MOST_LINES} lines; take some away or split it."
UNFINISHED = {FaultCode.NO_PERCENT, FaultCode.NO_MATERIAL}
PLACE = {
    FaultCode.NO_PERCENT: "amount",
    FaultCode.NEGATIVE: "amount",
    FaultCode.NEGATIVE_QS: "amount",
    FaultCode.NO_DENSITY: "amount",
    FaultCode.SECOND_QS: "qs",
    FaultCode.NO_MATERIAL: "typed",
}
_TEMPERATURE = re.compile(r"(?P<number>[-−]?[\d.,]+)\s*(°|º|deg(rees)?)?\s*(?P<unit>[CF]?)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class FieldFault:
    """What is wrong at one field of the page; ``unfinished`` when the field is only still empty.

    ``where`` names the line for those who read the sentence away from its field.
    """

    field: str
    message: str
    unfinished: bool = False
    where: str = ""

    @property
    def told(self) -> str:
        """The sentence with the line it speaks of, where it does not begin with it."""
        named = not self.where or self.message.startswith(self.where)
        return self.message if named else f"{self.where}: {self.message}"


@dataclass(frozen=True, slots=True)
class Usual:
    """What the workshop uses where nothing else is typed: its process loss in % and its scales."""

    loss_percent: Decimal = ZERO
    scales: tuple[Scale, ...] = (ASSUMED_SCALE,)


@dataclass(frozen=True, slots=True)
class Head:
    """The fields above the lines, read: densities in g/mL, weights in grams, ``loss_percent`` 0 to under 100."""

    density_g_ml: Decimal | None = None
    size: BatchSize | None = None
    weighed_g: Decimal | None = None
    loss_percent: Decimal = ZERO
    target_ph: Decimal | None = None
    labour_minutes: Decimal = ZERO
    price: Decimal | None = None


@dataclass(frozen=True, slots=True)
class ReadLine:
    """A line with its material and its percentage w/w (0 while it cannot be read)."""

    draft: DraftLine
    letter: str
    material: ShelfMaterial | None
    percent: Decimal
    qs: bool


@dataclass(frozen=True, slots=True)
class Reading:
    """A draft read through: every value it holds and every fault, each at its field."""

    draft: Draft
    head: Head
    lines: tuple[ReadLine, ...]
    science: tuple[Line, ...]
    totals: Totals
    temperatures: dict[str, Decimal | None]
    packaging: tuple[SoundPackaging, ...]
    faults: tuple[FieldFault, ...]

    def faults_at(self, field: str) -> tuple[FieldFault, ...]:
        """List the faults of one field."""
        return tuple(fault for fault in self.faults if fault.field == field)


class NotSound(ValueError):
    """The draft does not add up yet; ``faults`` says where."""

    def __init__(self, faults: tuple[FieldFault, ...]) -> None:
        super().__init__(faults[0].message if faults else "")
        self.faults = faults


def read(draft: Draft, shelf: Shelf, usual: Usual | None = None) -> Reading:
    """Read a draft against the shelf; never raises."""
    usual = usual or Usual()
    reader = Reader()
    head = _read_head(draft, usual, reader)
    rows = [Typed(line, shelf.get(line.material_id or 0)) for line in draft.in_page_order()]
    lines, unreadable = percent_lines(rows, Measure(draft.basis, head.density_g_ml, head.weighed_g))
    reader.faults.extend(unreadable)
    sums = totals(lines)
    filled = percents(lines)
    read_lines = tuple(
        ReadLine(row.line, draft.letter_of(row.line.phase), row.material, filled[row.line.id], row.fills_up)
        for row in rows
    )
    temperatures = {phase.id: reader.take(read_temperature, phase) for phase in draft.phases}
    packaging = tuple(_read_packaging(draft, reader))
    return Reading(draft, head, read_lines, lines, sums, temperatures, packaging, _listed(reader, sums, rows))


def _listed(reader: Reader, sums: Totals, rows: Iterable[Typed]) -> tuple[FieldFault, ...]:
    """List every fault once: first what could not be read, then what does not add up."""
    lines: dict[str, DraftLine] = {}
    names: dict[str, str] = {}
    for number, row in enumerate(rows, start=1):
        lines[row.line.id] = row.line
        names[row.line.id] = row.material.name if row.material else row.line.typed.strip()[:60] or f"Line {number}"
    found = {(f.field, f.message): FieldFault(f.field, f.message) for f in reader.faults}
    told = {fault.field for fault in reader.faults}
    for fault in sums.faults:
        place = _placed(fault, lines.get(fault.line_id or ""))
        silent = fault.code in (FaultCode.NO_DENSITY, FaultCode.NO_PERCENT) and _told(place.field, told)
        if not silent:
            found.setdefault((place.field, place.message), place)
    return tuple(replace(fault, where=names.get(_line_of(fault.field), "")) for fault in found.values())


def _line_of(field: str) -> str:
    """Give the id of the line that a field belongs to; empty when it belongs to none."""
    group, _, rest = field.partition(".")
    return rest.partition(".")[0] if group == "line" else ""


def _told(field: str, told: set[str]) -> bool:
    """An amount that could not be read, or not without the product's density, is not said to be missing as well."""
    return field in told or "density" in told


def _placed(fault: Fault, line: DraftLine | None) -> FieldFault:
    if line is None:
        return FieldFault("total", fault.message)
    return FieldFault(f"line.{line.id}.{PLACE[fault.code]}", _words(fault, line), _unfinished(fault, line))


def _unfinished(fault: Fault, line: DraftLine) -> bool:
    return fault.code in UNFINISHED and not (fault.code is FaultCode.NO_MATERIAL and line.typed.strip())


def _words(fault: Fault, line: DraftLine) -> str:
    name = line.typed.strip()
    if fault.code is FaultCode.NO_MATERIAL and name:
        return f"{name[:60]} is not on the shelf. Choose a material, or put it on the shelf."
    return fault.message


def _read_head(draft: Draft, usual: Usual, reader: Reader) -> Head:
    if not draft.name.strip():
        reader.fail("name", "Give the formula a name.")
    density = reader.take(_read_density, draft.density)
    size = reader.take(read_batch_size, draft.batch, draft.fill, density)
    typed_loss = reader.take(_number, draft.loss_percent, "loss_percent", ZERO, Decimal(99))
    labour = reader.take(_number, draft.labour_minutes, "labour_minutes", ZERO, Decimal(100_000))
    loss = usual.loss_percent if typed_loss is None else typed_loss
    return Head(
        density_g_ml=density,
        size=size,
        weighed_g=weighed_batch(size.net_g, loss, usual.scales) if size else None,
        loss_percent=loss,
        target_ph=reader.take(_number, draft.target_ph, "target_ph", ZERO, Decimal(14)),
        labour_minutes=labour or ZERO,
        price=reader.take(_number, _bare_money(draft.price), "price", ZERO, Decimal(10_000_000)),
    )


def _read_density(text: str) -> Decimal | None:
    value = _number(text, "density", ZERO, Decimal(10_000))
    return None if value is None else check_density(value, "density")


def _number(text: str, field: str, low: Decimal, high: Decimal) -> Decimal | None:
    return parse_number(text, field, low=low, high=high) if text.strip() else None


def _bare_money(text: str) -> str:
    return "".join(sign for sign in text if category(sign) != "Sc")


def read_temperature(phase: DraftPhase) -> Decimal | None:
    """Read the temperature of a phase in degrees Celsius; Fahrenheit is turned over, nothing typed is None.

    Raises:
        Invalid: at the phase's temperature field, when it is no single temperature between -50 and 300 C.
    """
    text, field = phase.temperature.strip(), f"phase.{phase.id}.temperature"
    if not text:
        return None
    match = _TEMPERATURE.fullmatch(text)
    if match is None:
        raise Invalid(field, "Write one temperature, such as 75 or 75 °C; a range goes into the method.")
    value = parse_number(match["number"], field, low=Decimal(-500), high=Decimal(1000))
    celsius = (value - 32) * 5 / 9 if match["unit"].upper() == "F" else value
    if not -50 <= celsius <= 300:
        raise Invalid(field, "Write a temperature between -50 and 300 °C.")
    return celsius.quantize(Decimal("0.1")) if match["unit"].upper() == "F" else value


def _read_packaging(draft: Draft, reader: Reader) -> Iterable[SoundPackaging]:
    for pack in draft.packaging:
        if pack.packaging_id is None:
            continue
        field, most = f"pack.{pack.id}.per_unit", Decimal(10_000)
        count = reader.take(parse_number, pack.per_unit or "1", field, low=ZERO, high=most)
        yield SoundPackaging(pack.packaging_id, Decimal(1) if count is None else count)


def sound(
    reading: Reading, formula_id: int, *, version_id: int | None = None, number: int | None = None
) -> SoundFormula:
    """Turn a reading without faults into a formula that adds up.

    Raises:
        NotSound: with every fault, when there is one or the percentages do not add up to exactly 100.
    """
    faults = reading.faults + _empty(reading)
    if faults:
        raise NotSound(faults)
    draft, head = reading.draft, reading.head
    return SoundFormula(
        formula_id=formula_id,
        code=draft.code,
        name=draft.name,
        product_type=draft.product_type,
        exposure=draft.exposure,
        special_uses=draft.special_uses,
        claims=draft.claims,
        phases=tuple(_sound_phase(reading, phase) for phase in draft.phases),
        batch=draft.batch,
        fill=draft.fill,
        density_g_ml=head.density_g_ml,
        loss_percent=head.loss_percent,
        target_ph=head.target_ph,
        labour_minutes=head.labour_minutes,
        price=head.price,
        packaging=reading.packaging,
        notes=draft.notes,
        version_id=version_id,
        version_number=number,
    )


def _empty(reading: Reading) -> tuple[FieldFault, ...]:
    if not reading.lines:
        return (FieldFault("total", "Write at least one line."),)
    exact = sum((line.percent for line in reading.lines), ZERO)
    return () if exact == HUNDRED else (FieldFault("total", total_message(exact)),)


def _sound_phase(reading: Reading, phase: DraftPhase) -> SoundPhase:
    lines = (line for line in reading.lines if line.draft.phase == phase.id)
    steps = tuple(step.strip() for step in phase.method.splitlines() if step.strip())
    letter = reading.draft.letter_of(phase.id)
    return SoundPhase(letter, phase.name, reading.temperatures[phase.id], steps, tuple(_sound_lines(lines)))


def _sound_lines(lines: Iterable[ReadLine]) -> Iterable[SoundLine]:
    for line in lines:
        material = line.material
        if material is None:
            continue
        yield SoundLine(
            key=line.draft.id,
            phase=line.letter,
            material_id=material.id,
            name=material.name,
            percent=line.percent,
            qs=line.qs,
            parts=material.parts,
            density_g_ml=material.density_g_ml,
            phase_hint=material.phase_hint,
            functions=material.functions,
            cautions=material.cautions,
            note=line.draft.note,
        )
