"""Rows pasted from a spreadsheet: a name and a percentage each, shown with what they were taken for before use."""

import csv
import io
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from app.science.errors import Invalid
from app.science.numbers import parse_number
from app.work.formulas.draft import Draft, DraftLine
from app.work.formulas.resolve import FILLS_UP, MOST_LINES

LONGEST_NAME = 200
LONGEST_PASTE = 400_000
HEADING = re.compile(r"(ingredients?|inci( name)?|name|material|raw material|percent(age)?|%|amount|phase)", re.I)
TOTAL = re.compile(r"(sub)?total|sum|", re.I)
_TWO_SPACES = re.compile(r"\s{2,}")
_NAME_THEN_NUMBER = re.compile(r"(?P<name>.*\D)\s+(?P<amount>[\d.,]+\s*%?|q\.?s\.?.*)", re.I)

Match = Callable[[str], Sequence["Choice"]]


@dataclass(frozen=True, slots=True)
class Choice:
    """A material that a pasted name may mean: ``value`` is ``shelf:<id>`` or ``library:<key>``."""

    value: str
    name: str
    sure: bool = False


@dataclass(frozen=True, slots=True)
class PastedRow:
    """A pasted row: what was read, what it may mean, and what is wrong with it in words (empty when nothing is)."""

    place: int
    name: str
    amount: str
    choices: tuple[Choice, ...] = ()
    fault: str = ""

    @property
    def sure(self) -> Choice | None:
        """The choice that is exactly the pasted name."""
        return next((choice for choice in self.choices if choice.sure), None)


@dataclass(frozen=True, slots=True)
class Preview:
    """The rows that would be added, and how many lines of the text were passed over (headings, totals, blanks)."""

    rows: tuple[PastedRow, ...]
    passed_over: int


def preview(text: str, present: int, match: Match) -> Preview:
    """Read pasted text into rows; ``present`` lines stand in the formula already.

    Raises:
        Invalid: at ``rows``, when nothing is in it or it is more than a formula holds.
    """
    cells = list(islice(_cells(text), LONGEST_PASTE))
    rows = [row for row in cells if _is_row(row)]
    if not rows:
        raise Invalid("rows", "There is no row with a name in it; copy two columns, the name and the percentage.")
    room = max(MOST_LINES - present, 0)
    if len(rows) > room:
        raise Invalid("rows", f"There are {len(rows):,} rows; a formula holds {MOST_LINES} lines, {room} are free.")
    read = (_row(place, row, match) for place, row in enumerate(rows))
    return Preview(tuple(read), len(cells) - len(rows))


def _cells(text: str) -> Iterable[list[str]]:
    """Split lines into cells at tabs, else semicolons, else as comma-separated values, else at wide blanks."""
    lines = [line for line in text.splitlines() if line.strip()]
    mark = next((mark for mark in "\t;" if any(mark in line for line in lines)), "")
    for line in lines:
        yield [cell.strip() for cell in _split(line, mark)]


def _split(line: str, mark: str) -> list[str]:
    if mark:
        return _quoted(line, mark)
    spoken = _NAME_THEN_NUMBER.fullmatch(line.strip())
    if spoken is not None and "," not in spoken["name"]:
        return [spoken["name"], spoken["amount"]]
    if "," in line and (len(cells := _quoted(line, ",")) == 2 or '"' in line):
        return cells
    if spoken is not None:
        return [spoken["name"], spoken["amount"]]
    return _TWO_SPACES.split(line.strip())


def _quoted(line: str, mark: str) -> list[str]:
    try:
        return next(csv.reader(io.StringIO(line), delimiter=mark), [])
    except csv.Error:
        return line.split(mark)


def _is_row(cells: Sequence[str]) -> bool:
    first = next((cell for cell in cells if cell), "")
    if not first or TOTAL.fullmatch(first):
        return False
    return not all(HEADING.fullmatch(cell) for cell in cells if cell)


def _row(place: int, cells: Sequence[str], match: Match) -> PastedRow:
    """Take the first cell that is no number for the name and the first that is one for the amount."""
    name = next((cell for cell in cells if cell and not _reads_as_amount(cell)), "")
    amounts = [cell for cell in cells if cell and cell is not name]
    amount = next((cell for cell in amounts if _reads_as_amount(cell)), amounts[0] if amounts else "")
    row = PastedRow(place, name[:LONGEST_NAME], amount[:40])
    return replace(row, choices=tuple(match(row.name)) if row.name else (), fault=_fault(row, cells))


def _reads_as_amount(cell: str) -> bool:
    if FILLS_UP.fullmatch(cell):
        return True
    try:
        parse_number(cell)
    except Invalid:
        return False
    return True


def _fault(row: PastedRow, cells: Sequence[str]) -> str:
    if not row.name:
        return f"No name in “{' '.join(cells)[:60]}”."
    if not row.amount or FILLS_UP.fullmatch(row.amount):
        return ""
    try:
        parse_number(row.amount, "", low=None)
    except Invalid as fault:
        return fault.message
    return ""


def with_rows(draft: Draft, rows: Iterable[tuple[str, str]], phase: str, new_id: Callable[[], str]) -> Draft:
    """Add rows of a name and an amount as lines at the end of a phase; the first ``q.s.`` fills up if none does yet."""
    free = not any(line.qs for line in draft.lines)
    lines = []
    for name, amount in rows:
        fills_up = bool(FILLS_UP.fullmatch(amount))
        lines.append(DraftLine(new_id(), phase, name, None, "" if fills_up and free else amount, fills_up and free))
        free = free and not fills_up
    return replace(draft, lines=(*draft.lines, *lines))
