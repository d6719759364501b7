"""Everything that follows from a draft, worked out in one go for the page."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.composition import SubstanceTotal, expand
from app.science.formula import HUNDRED, Split, dosed, split_strip
from app.science.numbers import exact_arithmetic, plain
from app.science.scales import ASSUMED_SCALE
from app.science.scales import Scale as Readability
from app.store.materials import Packaging
from app.store.workshop import Jurisdiction, Scale, Workshop, scales, the_workshop
from app.work.formulas.costing import DraftCost, draft_cost
from app.work.formulas.declaring import Declared, declared
from app.work.formulas.draft import Draft
from app.work.formulas.reading import FieldFault, NotSound, Reading, ReadLine, Usual, read, sound
from app.work.formulas.sections import load_all
from app.work.formulas.shelf import Shelf, shelf_of
from app.work.formulas.sides import phase_sides, substance_sides
from app.work.formulas.sound import SoundFormula
from app.work.formulas.steps import OpenDraft


@dataclass(frozen=True, slots=True)
class Ground:
    """What the workshop brings to every formula: its settings, its scales and its packaging."""

    workshop: Workshop
    scales: tuple[Scale, ...] = ()
    packaging: dict[int, Packaging] = field(default_factory=dict)

    @property
    def usual(self) -> Usual:
        """What stands where a draft says nothing else."""
        readable = tuple(Readability(s.readability_g, s.capacity_g) for s in self.scales)
        return Usual(self.workshop.loss_percent, readable or (ASSUMED_SCALE,))


@dataclass(frozen=True, slots=True)
class LineResult:
    """A line with its percentage w/w, its grams in the weighed batch, and its share of the material cost in %."""

    read: ReadLine
    percent: Decimal
    grams: Decimal | None
    cost_share: Decimal | None
    priced: bool
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Total:
    """The total as a figure and in words; ``state`` is ``whole``, ``short`` or ``over``."""

    percent: Decimal
    words: str
    state: str


@dataclass(frozen=True, slots=True)
class Results:
    """A draft with everything that follows from it; ``sound`` is None while something is wrong.

    ``loaded`` holds what the sections of other areas read from the store, by their names.
    """

    reading: Reading
    lines: tuple[LineResult, ...]
    total: Total
    split: Split
    substances: tuple[SubstanceTotal, ...]
    declarations: tuple[Declared, ...]
    cost: DraftCost | None
    faults: tuple[FieldFault, ...]
    sound: SoundFormula | None
    ground: Ground
    places_g: int = 2
    loaded: Mapping[str, Any] = field(default_factory=dict)

    def line(self, line_id: str) -> LineResult | None:
        """Give the result of one line."""
        return next((line for line in self.lines if line.read.draft.id == line_id), None)

    def faults_by_field(self) -> dict[str, list[FieldFault]]:
        """Group the faults by the field they stand at."""
        found: dict[str, list[FieldFault]] = {}
        for fault in self.faults:
            found.setdefault(fault.field, []).append(fault)
        return found


def read_ground(session: Session) -> Ground:
    """Read what the workshop brings."""
    packaging = {item.id: item for item in session.scalars(select(Packaging))}
    return Ground(the_workshop(session), tuple(scales(session)), packaging)


def results_of(session: Session, there: OpenDraft, *, typed: Draft | None = None) -> Results:
    """Work out a stored draft, or what is typed in its place."""
    draft = there.draft if typed is None else typed
    found = results(there, draft, shelf_of(session, draft), read_ground(session))
    return replace(found, loaded=load_all(session, there.formula_id))


def results(there: OpenDraft, draft: Draft, shelf: Shelf, ground: Ground) -> Results:
    """Work out a draft against the shelf and the ground; pure, and never raises for anything that can be typed."""
    reading = read(draft, shelf, ground.usual)
    cost = draft_cost(reading, ground.workshop, ground.packaging)
    mixture = dosed(reading.science)
    with exact_arithmetic():
        return Results(
            reading=reading,
            lines=tuple(_line(line, reading, cost) for line in reading.lines),
            total=total_of(reading),
            split=split_strip(reading.science, substance_sides(), phase_sides(reading.lines)),
            substances=_by_weight(expand(mixture)),
            declarations=declared(mixture, draft.exposure, _home_first(ground.workshop.jurisdiction)),
            cost=cost,
            faults=reading.faults,
            sound=_sound(reading, there.formula_id),
            ground=ground,
            places_g=_places(reading.head.weighed_g),
        )


def _home_first(home: Jurisdiction) -> tuple[Jurisdiction, ...]:
    return (home, *(other for other in Jurisdiction if other is not home))


def _by_weight(totals: Sequence[SubstanceTotal]) -> tuple[SubstanceTotal, ...]:
    return tuple(sorted(totals, key=lambda total: -total.percent))


def _sound(reading: Reading, formula_id: int) -> SoundFormula | None:
    try:
        return sound(reading, formula_id)
    except NotSound:
        return None


def _places(weighed_g: Decimal | None) -> int:
    if weighed_g is None or weighed_g < 100:
        return 3
    return 2 if weighed_g < 10_000 else 1


def _line(line: ReadLine, reading: Reading, cost: DraftCost | None) -> LineResult:
    weighed = reading.head.weighed_g
    return LineResult(
        read=line,
        percent=line.percent,
        grams=None if weighed is None else weighed * line.percent / HUNDRED,
        cost_share=cost.shares.get(line.draft.id) if cost else None,
        priced=line.material is not None and line.material.price_per_kg is not None,
        remarks=tuple(_remarks(line)),
    )


def _remarks(line: ReadLine) -> list[str]:
    material = line.material
    if material is None:
        return []
    found = [f"{material.name} is retired on the shelf."] if material.retired else []
    if not material.parts:
        found.append(f"{material.name} has no composition yet, so the label and the checks leave it out.")
    if material.use_high is not None and line.percent > material.use_high:
        found.append(f"Above its usual use of {_usual_range(material.use_low, material.use_high)} %.")
    return found


def _usual_range(low: Decimal | None, high: Decimal) -> str:
    return f"up to {plain(high)}" if low is None else f"{plain(low)} to {plain(high)}"


def total_of(reading: Reading) -> Total:
    """Say how the total stands to 100, with the figures."""
    sums = reading.totals
    over = sums.sum_percent if sums.qs_percent is not None else sums.total_percent
    if over > HUNDRED:
        return Total(over, f"{percent_words(over - HUNDRED)} % too much", "over")
    if sums.qs_percent is not None:
        return Total(HUNDRED, _filled_words(reading, sums.qs_percent), "whole")
    if sums.total_percent == HUNDRED:
        return Total(HUNDRED, "adds up", "whole")
    missing = HUNDRED - sums.total_percent
    return Total(sums.total_percent, f"{percent_words(missing)} % missing", "short")


def _filled_words(reading: Reading, rest: Decimal) -> str:
    name = next((line.material.name if line.material else "" for line in reading.lines if line.qs), "")
    return f"{name or 'the q.s. line'} fills up with {percent_words(rest)} %"


def percent_words(value: Decimal) -> str:
    """Write a percentage with two places, or with as many more as it needs, up to six."""
    exponent = value.normalize().as_tuple().exponent
    places = min(max(2, -exponent if isinstance(exponent, int) else 2), 6)
    return f"{value.quantize(Decimal(1).scaleb(-places)):f}"


def read_sound(session: Session, there: OpenDraft) -> SoundFormula:
    """Read a draft as a formula that adds up.

    Raises:
        NotSound: with everything that is wrong, each at its field.
    """
    ground = read_ground(session)
    return sound(read(there.draft, shelf_of(session, there.draft), ground.usual), there.formula_id)
