"""Rows pasted from anywhere: each a name and an amount, shown with what they were taken for before they are used."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.science.errors import Invalid
from app.science.formula import HUNDRED
from app.science.numbers import parse_number, plain, to_places
from app.science.quantities import parse_quantity, to_grams
from app.science.units import Measure
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.pasted_table import is_measure, is_range, letter_in, read_table
from app.work.formulas.resolve import FILLS_UP, MOST_LINES

LONGEST_NAME = 200
LONGEST_AMOUNT = 40
PLACES = 4

Match = Callable[[str, str], Sequence["MaterialOffer"]]


@dataclass(frozen=True, slots=True)
class MaterialOffer:
    """A material that a pasted name may mean: ``value`` is ``shelf:<id>`` or ``library:<key>``.

    ``sure`` when it is called just so, ``likely`` when it is the obvious one.
    """

    value: str
    name: str
    sure: bool = False
    likely: bool = False


@dataclass(frozen=True, slots=True)
class PastedRow:
    """A pasted row: what was read, what it may mean, and what is wrong with it in words (empty when nothing is)."""

    place: int
    name: str
    amount: str
    choices: tuple[MaterialOffer, ...] = ()
    fault: str = ""
    phase: str = ""

    @property
    def sure(self) -> MaterialOffer | None:
        """The choice that is exactly the pasted name, or else the obvious one."""
        exact = next((choice for choice in self.choices if choice.sure), None)
        return exact or next((choice for choice in self.choices if choice.likely), None)


@dataclass(frozen=True, slots=True)
class PastePreview:
    """The rows that would be added, the role of each column, and how many lines were passed over.

    ``are_weights`` when most amounts carry a unit of weight or measure, ``phases`` the phases that were named.
    """

    rows: tuple[PastedRow, ...]
    passed_over: int
    columns: tuple[str, ...] = ()
    sample: tuple[str, ...] = ()

    @property
    def are_weights(self) -> bool:
        """Whether most amounts are weights or measures and not percentages."""
        return sum(is_measure(row.amount) for row in self.rows) * 2 > len(self.rows)

    @property
    def phases(self) -> tuple[str, ...]:
        """The phases that were named, in their order."""
        return tuple(dict.fromkeys(row.phase for row in self.rows if row.phase))


def preview(text: str, present: int, match: Match, columns: Sequence[str] = ()) -> PastePreview:
    """Read pasted text into rows; ``present`` lines stand in the formula already.

    Raises:
        Invalid: at ``rows``, when nothing is in it or it is more than a formula holds.
    """
    table = read_table(text, columns)
    if not table.rows:
        raise Invalid("rows", "There is no row with a name in it; copy two columns, the name and the percentage.")
    room = max(MOST_LINES - present, 0)
    if len(table.rows) > room:
        count = f"There are {len(table.rows):,} rows"
        raise Invalid("rows", f"{count}; a formula holds {MOST_LINES} lines, {room} are free.")
    rows = []
    for place, row in enumerate(table.rows):
        name, amount = row.name[:LONGEST_NAME], row.amount[:LONGEST_AMOUNT]
        found = tuple(match(name, row.inci)) if name else ()
        rows.append(PastedRow(place, name, amount, found, _fault(name, amount), row.phase[:LONGEST_NAME]))
    return PastePreview(tuple(rows), table.passed_over, table.columns, table.sample)


def _fault(name: str, amount: str) -> str:
    if not name:
        return f"No name in “{amount}”."
    if not amount or FILLS_UP.fullmatch(amount) or is_measure(amount):
        return ""
    if is_range(amount):
        return f"“{amount}” is a range: enter the amount that you weigh."
    try:
        parse_number(amount, "")
    except Invalid as fault:
        return fault.message
    return ""


def in_percent(rows: Iterable[PastedRow]) -> dict[int, str]:
    """Turn pasted weights into % w/w of what was pasted, by the place of the row; a volume stays as it is."""
    grams: dict[int, Decimal] = {}
    for row in rows:
        try:
            quantity = parse_quantity(row.amount, default_unit="g")
        except Invalid:
            continue
        if quantity.unit.measure is Measure.MASS:
            grams[row.place] = to_grams(quantity)
    whole = sum(grams.values(), Decimal(0))
    return {place: plain(to_places(HUNDRED * value / whole, PLACES)) for place, value in grams.items()} if whole else {}


def with_rows(draft: Draft, rows: Iterable[tuple[str, ...]], phase: str, new_id: Callable[[], str]) -> Draft:
    """Add rows of a name, an amount and the words of a phase as lines; the first ``q.s.`` fills up if none does yet.

    A row without words of a phase goes to the end of ``phase``. A phase is found by its letter or name, or added.
    """
    free = not any(line.qs for line in draft.lines)
    lines: list[DraftLine] = []
    homes: dict[str, str] = {"": phase}
    for name, amount, *words in rows:
        fills_up = bool(FILLS_UP.fullmatch(amount))
        heading = words[0].strip() if words else ""
        if heading not in homes:
            # What another heading, or a row without one, went into is no empty phase any more.
            taken = {home for words, home in homes.items() if words} | {line.phase for line in lines}
            draft, homes[heading] = _phase(draft, heading, taken, new_id)
        typed = "" if fills_up and free else amount
        lines.append(DraftLine(new_id(), homes[heading], name, None, typed, fills_up and free))
        free = free and not fills_up
    return replace(draft, lines=(*draft.lines, *lines))


def _phase(draft: Draft, heading: str, taken: set[str], new_id: Callable[[], str]) -> tuple[Draft, str]:
    """Find the phase that a heading means, or add it; an empty phase without a name becomes it."""
    letter = letter_in(heading)
    name = heading if not letter else heading.partition(":")[2].strip() or heading.partition("–")[2].strip()
    for phase in draft.phases:
        same = phase.name.strip().casefold() == heading.casefold()
        if phase.id not in taken and (same or (letter and draft.letter_of(phase.id) == letter)):
            named = phase.name or name
            phases = tuple(replace(one, name=named) if one is phase else one for one in draft.phases)
            return replace(draft, phases=phases), phase.id
    empty = next((p for p in draft.phases if p.id not in taken and not p.name and not draft.lines_of(p.id)), None)
    if empty is not None and not letter:
        phases = tuple(replace(one, name=name) if one is empty else one for one in draft.phases)
        return replace(draft, phases=phases), empty.id
    added = DraftPhase(new_id(), name)
    return replace(draft, phases=(*draft.phases, added)), added.id
