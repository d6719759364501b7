"""Formulas as people keep them in spreadsheets: each sheet read as a formula, with a question at every doubtful cell.

Above the table stand a name and notes, below it totals and more notes; phases are a column or headings; amounts are
percentages, fractions of one, or weights. Nothing is guessed in silence: what could be meant in two ways is asked, and
what is left unanswered comes into the draft as it stands, where the page of the formula says what is wrong with it.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import count
from pathlib import PurePosixPath
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.numbers import parse_number, plain
from app.science.quantities import parse_quantity, to_grams
from app.science.units import Measure
from app.work.csv_text import LineFault, Unreadable
from app.work.formulas.draft import Draft, DraftPhase
from app.work.formulas.paste import with_rows
from app.work.formulas.pasted_table import heading_role, is_measure, is_phase_heading, is_total
from app.work.formulas.resolve import FILLS_UP, MOST_LINES
from app.work.handover.tables import BROKEN, LARGEST

MOST_SHEETS, MOST_ROWS, MOST_COLUMNS = 40, 2_000, 60
LONGEST_CELL = 2_000
LONGEST_NAME, LONGEST_NOTES = 200, 8_000
NEAR_HUNDRED = Decimal("0.05")
NEAR_ONE = Decimal("0.005")
PERCENT, WEIGHTS = "percent", "weights"
_ERROR = re.compile(r"#(REF|VALUE|NAME\?|DIV/0|N/A|NUM|NULL)!?", re.IGNORECASE)
_GRAMS = re.compile(
    r"(?i)(?!.*(%|prozent))(.*\(\s*g(rams?)?\s*\)|g|gram(me)?s?|(weight|gewicht|poids|peso).*|.*\bin g(rams?)?)\s*:?"
)
# What a spreadsheet program calls a sheet that nobody named.
_UNNAMED = re.compile(r"(?i)((sheet|tabelle|feuil|hoja|foglio|blad)\d*)?")


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell as text, with its place (``C7``); ``doubt`` says what is wrong with it before it is even read."""

    text: str
    place: str
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class CellQuestion:
    """A doubtful cell: where it stands, what stands there, what is asked, and the answers to choose from, if any."""

    key: str
    place: str
    text: str
    asks: str
    choices: tuple[tuple[str, str], ...] = ()
    answer: str = ""


@dataclass(frozen=True, slots=True)
class KeptLine:
    """A line of a formula as it was kept: its row, name, amount, phase, note, and the question at it, if any."""

    row: int
    name: str
    amount: str
    phase: str
    note: str = ""
    question: CellQuestion | None = None


@dataclass(frozen=True, slots=True)
class KeptFormula:
    """A sheet read as a formula: its lines, what it was taken for, what is asked, and the draft it becomes."""

    sheet: str
    name: str
    lines: tuple[KeptLine, ...]
    basis: str
    remarks: tuple[str, ...]
    questions: tuple[CellQuestion, ...]
    notes: str

    @property
    def draft(self) -> Draft:
        """The formula as it is typed into a draft."""
        ids = (f"k{number}" for number in count(1))
        home = DraftPhase("p1")
        rows = [(line.name, line.amount, line.phase) for line in self.lines]
        draft = with_rows(Draft(name=self.name, phases=(home,)), rows, "p1", lambda: next(ids))
        lines = tuple(replace(new, note=old.note) for new, old in zip(draft.lines, self.lines, strict=True))
        used = {line.phase for line in lines}
        phases = tuple(phase for phase in draft.phases if phase.id in used) or (home,)
        basis = "amounts" if self.basis == WEIGHTS else "w/w"
        return replace(draft, lines=lines, phases=phases, notes=self.notes, basis=basis)


def read_kept(data: bytes, answers: Mapping[str, str] | None = None, *, file_name: str = "") -> tuple[KeptFormula, ...]:
    """Return the formulas of a spreadsheet or of comma-separated text; ``answers`` are those given, by key.

    A formula that neither a cell nor its sheet names has the name of its file.

    Raises:
        Unreadable: when it cannot be read, or holds no formula.
    """
    if not data.strip():
        raise _fault("The file is empty.")
    if len(data) > LARGEST:
        raise _fault(f"The file is larger than {LARGEST // 1_000_000} MB.")
    grids = _xlsx(data) if data.startswith(b"PK") else [("", _csv(data))]
    read = (_formula(name, grid, answers or {}) for name, grid in grids)
    found = tuple(formula for formula in read if formula is not None)
    stem = PurePosixPath(file_name.replace("\\", "/")).stem.strip() or "Formula from a file"
    unnamed = [formula for formula in found if _UNNAMED.fullmatch(formula.name)]
    called = {one.sheet: stem if len(unnamed) == 1 else f"{stem}, {one.sheet}" for one in unnamed}
    found = tuple(replace(one, name=called.get(one.sheet, one.name)[:LONGEST_NAME]) for one in found)
    if not found:
        raise _fault("There is no formula in this file: no sheet has names with amounts beside them.")
    return found


def _fault(message: str) -> Unreadable:
    return Unreadable([LineFault(0, message)])


Grid = list[list[Cell]]


def _xlsx(data: bytes) -> list[tuple[str, Grid]]:
    try:
        values = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        typed = load_workbook(io.BytesIO(data), read_only=True, data_only=False)
        pairs = zip(values.worksheets[:MOST_SHEETS], typed.worksheets[:MOST_SHEETS], strict=True)
        return [(value.title, _grid(value, formula)) for value, formula in pairs]
    except BROKEN as error:
        raise _fault("This spreadsheet cannot be read; save it again as xlsx.") from error


def _grid(values: Any, typed: Any) -> Grid:
    rows = zip(
        values.iter_rows(max_row=MOST_ROWS, max_col=MOST_COLUMNS),
        typed.iter_rows(max_row=MOST_ROWS, max_col=MOST_COLUMNS, values_only=True),
        strict=False,
    )
    return [
        [
            _cell(one, formula, f"{get_column_letter(place)}{number}")
            for place, (one, formula) in enumerate(both, start=1)
        ]
        for number, (value_row, typed_row) in enumerate(rows, start=1)
        for both in [list(zip(value_row, typed_row, strict=False))]
    ]


def _cell(cell: Any, typed: object, place: str) -> Cell:
    value = cell.value
    if value is None and isinstance(typed, str) and typed.startswith("="):
        return Cell("", place, "This cell works something out and was saved without its result.")
    if value is None or isinstance(value, bool):
        return Cell("", place)
    if isinstance(value, int | float):
        number = Decimal(repr(value))
        if not number.is_finite():
            return Cell("", place, "This cell holds no number.")
        if "%" in str(getattr(cell, "number_format", "")):
            return Cell(f"{plain(_tidy(100 * number))} %", place)
        return Cell(plain(_tidy(number)), place)
    text = " ".join(str(value).split("\x00")).strip()[:LONGEST_CELL]
    return (
        Cell("", place, f"{text}: the spreadsheet could not work this out.")
        if _ERROR.fullmatch(text)
        else Cell(text, place)
    )


def _tidy(number: Decimal) -> Decimal:
    """Take off what binary fractions leave: twelve figures are kept."""
    return Decimal(f"{number:.12g}")


def _csv(data: bytes) -> Grid:
    text = _decoded(data)
    if "\x00" in text:
        raise _fault("This is neither a spreadsheet nor text.")
    lines = text.splitlines()[:MOST_ROWS]
    mark = max("\t;,|", key=lambda sign: sum(sign in line for line in lines))
    try:
        rows = list(csv.reader(lines, delimiter=mark))
    except csv.Error as error:
        raise _fault(f"This text cannot be read as a table: {error}.") from error
    return [
        [
            Cell(cell.strip()[:LONGEST_CELL], f"{get_column_letter(place)}{number}")
            for place, cell in enumerate(row[:MOST_COLUMNS], start=1)
        ]
        for number, row in enumerate(rows, start=1)
    ]


def _decoded(data: bytes) -> str:
    """Return text whose encoding nobody named: by its mark, else UTF-8, else that of Western Europe."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


@dataclass(frozen=True, slots=True)
class _Columns:
    """Which column holds what, by its place; ``heading`` is the row the headings stand in, -1 without one."""

    heading: int
    name: int
    amount: int
    inci: int = -1
    phase: int = -1
    note: int = -1
    grams: int = -1
    amount_words: str = ""


def _columns(grid: Grid) -> _Columns | None:
    """Find the columns by their headings, else by what stands in them; None where nothing looks like a formula."""
    for number, row in enumerate(grid):
        roles = [heading_role(cell.text) for cell in row]
        amounts = [place for place, role in enumerate(roles) if role == "amount"]
        names = [place for role in ("name", "inci") for place, one in enumerate(roles) if one == role]
        if amounts and names:
            percent = [place for place in amounts if not _GRAMS.fullmatch(row[place].text)]
            amount = (percent or amounts)[0]
            grams = next((place for place in amounts if place != amount and _GRAMS.fullmatch(row[place].text)), -1)
            phase = roles.index("phase") if "phase" in roles else -1
            note = next(
                (place for place, cell in enumerate(row) if re.fullmatch(r"(?i)(notes?|comments?)", cell.text)), -1
            )
            inci = roles.index("inci") if "inci" in roles and roles.index("inci") != names[0] else -1
            return _Columns(number, names[0], amount, inci, phase, note, grams, row[amount].text)
    return _by_content(grid)


def _by_content(grid: Grid) -> _Columns | None:
    width = max(map(len, grid), default=0)
    best: tuple[int, int, int] | None = None
    for name in range(width):
        for amount in range(width):
            pairs = sum(
                _is_name(row[name].text) and _is_amount(row[amount].text)
                for row in grid
                if max(name, amount) < len(row) and name != amount
            )
            if pairs >= 2 and (best is None or pairs > best[0]):
                best = (pairs, name, amount)
    return _Columns(-1, best[1], best[2]) if best else None


def _amounts_left_out(grid: Grid, columns: _Columns, rows: set[int]) -> Iterator[str]:
    """Name the columns that are not read though most lines have an amount in them."""
    taken = {columns.name, columns.amount, columns.inci, columns.phase, columns.note, columns.grams}
    for place in range(max(map(len, grid), default=0)):
        heads = [_at(row, place).text for number, row in enumerate(grid, start=1) if number not in rows]
        heading = next((text for text in heads if text and not _is_amount(text)), "")
        cells = [_at(row, place).text for number, row in enumerate(grid, start=1) if number in rows]
        amounts = sum(_is_amount(text) for text in cells)
        if place not in taken and heading_role(heading) != "ignore" and amounts >= 2 and amounts * 2 > len(rows):
            yield f"Column {get_column_letter(place + 1)}{f' ({heading})' if heading else ''}"


def _is_name(text: str) -> bool:
    return len(text) > 1 and any(sign.isalpha() for sign in text) and not _is_amount(text) and not is_total(text)


def _is_amount(text: str) -> bool:
    if not text or FILLS_UP.fullmatch(text) or is_measure(text):
        return bool(text)
    try:
        parse_number(text)
    except Invalid:
        return False
    return True


def _formula(sheet: str, grid: Grid, answers: Mapping[str, str]) -> KeptFormula | None:
    columns = _columns(grid)
    if columns is None:
        return None
    above, lines, below, total = _body(sheet, grid, columns, answers)
    if not lines:
        return None
    left_out = [
        f"{words} holds amounts too and is not read; if it is a formula of its own, give it a sheet of its own."
        for words in _amounts_left_out(grid, columns, {line.row for line in lines})
    ]
    lines, basis, remarks, question = _judged(sheet, lines, columns, total, answers)
    remarks = [*remarks, *left_out]
    questions = tuple(line.question for line in lines if line.question)
    if len(lines) > MOST_LINES:
        raise _fault(f"The sheet {sheet or 'of this file'} has {len(lines)} lines; a formula holds {MOST_LINES}.")
    name, heads = _heads(sheet, above)
    notes = "\n".join([*heads, *below])[:LONGEST_NOTES]
    asked = (*questions, *((question,) if question else ()))
    return KeptFormula(sheet, name, tuple(lines), basis, tuple(remarks), asked, notes)


def _heads(sheet: str, above: Sequence[Sequence[str]]) -> tuple[str, list[str]]:
    """Return the name of the formula and the notes that stand above the table."""
    name, notes = "", []
    for words in above:
        first = words[0].rstrip(": ")
        if not name and re.fullmatch(r"(?i)(formula|product|name|recipe|title)", first) and len(words) > 1:
            name = words[1]
        elif not name and len(words) == 1 and not re.match(r"(?i)(date|batch|version|by)\b", first):
            name = words[0]
        else:
            notes.append(" ".join(words))
    return (name or sheet)[:LONGEST_NAME], notes


def _body(
    sheet: str, grid: Grid, columns: _Columns, answers: Mapping[str, str]
) -> tuple[list[list[str]], list[KeptLine], list[str], Decimal | None]:
    """Return what stands above the table, its lines, what stands below it, and the total that is written there."""
    above: list[list[str]] = []
    lines: list[KeptLine] = []
    below: list[str] = []
    phase, total, is_over = "", None, False
    for number, row in enumerate(grid):
        words = [cell.text for cell in row if cell.text]
        if number <= columns.heading or (columns.heading < 0 and not lines and not _holds(row, columns)):
            if words and number != columns.heading:
                above.append(words)
            continue
        doubts = any(cell.doubt for cell in row)
        if not words and not doubts:
            continue
        found = _total(row, columns)
        if found is not None:
            total, is_over = found, not re.match(r"(?i)\s*sub", words[0])
        elif is_over or (number == columns.heading):
            below.append(" ".join(words))
        elif _opens_phase(row, columns):
            phase = " ".join(words).strip(" :")
        else:
            own = _at(row, columns.phase).text
            phase = own or phase
            lines.append(_kept_line(sheet, row, columns, phase, answers))
    return above, [line for line in lines if line.name or line.amount], below, total


def _at(row: Sequence[Cell], place: int) -> Cell:
    return row[place] if 0 <= place < len(row) else Cell("", "")


def _holds(row: Sequence[Cell], columns: _Columns) -> bool:
    return bool(_at(row, columns.name).text) and _is_amount(_at(row, columns.amount).text)


def _total(row: Sequence[Cell], columns: _Columns) -> Decimal | None:
    """Return the figure of a row of totals; None for any other row, -1 where the total has no figure."""
    words = [cell.text for cell in row if cell.text and not _is_amount(cell.text)]
    amount = _at(row, columns.amount).text
    if words and not is_total(words[0]):
        return None
    if not words and not (amount and not _at(row, columns.name).text):
        return None
    try:
        return parse_number(amount.replace("%", "").strip() or "-1", low=Decimal(-1))
    except Invalid:
        return Decimal(-1)


def _opens_phase(row: Sequence[Cell], columns: _Columns) -> bool:
    words = [cell.text for cell in row if cell.text]
    if _at(row, columns.amount).text or _at(row, columns.amount).doubt or len(words) > 2:
        return False
    return bool(words) and is_phase_heading(words[0])


def _kept_line(sheet: str, row: Sequence[Cell], columns: _Columns, phase: str, answers: Mapping[str, str]) -> KeptLine:
    name = _at(row, columns.name).text or _at(row, columns.inci).text
    cell = _at(row, columns.amount)
    place = cell.place or row[0].place
    key = f"{sheet}!{place}"
    number = int(re.sub(r"\D", "", row[0].place) or 0)
    asks = cell.doubt or _doubt(name, cell.text)
    given = answers.get(key)
    amount = cell.text if given is None else given.strip()
    if given is not None:
        asks = _doubt(name, amount) if amount else ""
    question = CellQuestion(key, place, cell.text, asks, answer=amount) if asks else None
    return KeptLine(number, name[:LONGEST_NAME], amount, phase[:LONGEST_NAME], _at(row, columns.note).text, question)


def _doubt(name: str, amount: str) -> str:
    """Return what is to be asked of an amount; empty when it can be meant in one way only."""
    if not name:
        return f"What is it of which there is {amount}? Add it to the formula afterwards; the amount is kept."
    if not amount:
        return f"How much of {name}? Leave it empty to fill it in later."
    if FILLS_UP.fullmatch(amount) or is_measure(amount):
        return ""
    try:
        parse_number(amount)
    except Invalid as fault:
        return fault.message
    return ""


def _judged(
    sheet: str, lines: list[KeptLine], columns: _Columns, total: Decimal | None, answers: Mapping[str, str]
) -> tuple[list[KeptLine], str, list[str], CellQuestion | None]:
    """Tell percentages, fractions and weights apart, and ask where the sum leaves it open."""
    sums = sum((value for line in lines if (value := _amount_of(line.amount)) is not None), Decimal(0))
    fills = any(FILLS_UP.fullmatch(line.amount) for line in lines)
    twice = _twice(lines)
    remarks = [f"{name} stands there more than once; every line is kept." for name in twice]
    stated = total if total is not None and total >= 0 else None
    with_units = sum(is_measure(line.amount) and not line.amount.rstrip().endswith("%") for line in lines)
    key = f"{sheet}!total"
    if with_units * 2 > len(lines) or _GRAMS.fullmatch(columns.amount_words) or answers.get(key) == WEIGHTS:
        in_grams = [replace(line, amount=_grams(line.amount)) for line in lines]
        return (
            in_grams,
            WEIGHTS,
            [*remarks, "The amounts are taken as weights; the percentages follow from them."],
            None,
        )
    if not fills and abs(sums - 1) <= NEAR_ONE and all("%" not in line.amount for line in lines):
        hundredfold = [replace(line, amount=_times_hundred(line.amount)) for line in lines]
        return hundredfold, PERCENT, [*remarks, "The amounts are fractions of one, taken times 100."], None
    unread = any(line.question for line in lines)  # what is open may make it 100
    if fills or unread or abs(sums - 100) <= NEAR_HUNDRED or answers.get(key) == PERCENT:
        return lines, PERCENT, remarks, None
    says = f"; the sheet says {plain(stated)}" if stated is not None and stated != sums else ""
    choices = ((PERCENT, "percentages, of which some are wrong or missing"), (WEIGHTS, "weights in grams"))
    guess = WEIGHTS if sums > 100 + NEAR_HUNDRED and stated == sums else PERCENT
    asks = f"The amounts add up to {plain(sums)}, not to 100{says}. What are they?"
    question = CellQuestion(key, "the total", plain(sums), asks, choices, guess)
    return lines, PERCENT, remarks, question


def _amount_of(amount: str) -> Decimal | None:
    try:
        return parse_number(amount)
    except Invalid:
        pass
    try:
        quantity = parse_quantity(amount)
        return to_grams(quantity) if quantity.unit.measure is Measure.MASS else None
    except Invalid:
        return None


def _grams(amount: str) -> str:
    if not amount or is_measure(amount) or FILLS_UP.fullmatch(amount):
        return amount
    return f"{amount} g" if _amount_of(amount) is not None else amount


def _times_hundred(amount: str) -> str:
    value = _amount_of(amount)
    return amount if value is None else plain(100 * value)


def _twice(lines: Iterable[KeptLine]) -> Iterator[str]:
    seen: dict[str, int] = {}
    for line in lines:
        key = inci_key(line.name)
        seen[key] = seen.get(key, 0) + 1
        if line.name and seen[key] == 2:
            yield line.name
