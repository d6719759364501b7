"""The table in a pasted text: its cells, what its columns are, and the rows between headings and totals.

People keep formulas with a column for the phase or with the phases as headings, with totals below, as a list of
``water - 70 %``, as ``70 % water`` or ``3 tbsp water``, or all in one line. Whatever it is, it is shown before anything
is written. An amount 'as needed' or 'q.s. to pH 5' stays empty: it is no part of the sum.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import islice

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain, to_places
from app.science.quantities import parse_quantity
from app.work.formulas.resolve import FILLS_UP

LONGEST_PASTE = 400_000
MOST_COLUMNS = 30
ROLES = ("phase", "name", "inci", "amount", "ignore")
# In English, German, French, Spanish and Italian, in which cells with a decimal comma are mostly written.
HEADINGS = {
    "phase": r"phase|ph|part|teil|fase",
    "inci": r"inci( name)?|inci/?latin|inci-?(name|bezeichnung)",
    "name": r"ingredients?|materials?|raw materials?|components?|(trade ?)?name|substance"
    r"|zutat(en)?|rohstoffe?|inhaltsstoffe?|ingrédients?|mati[èe]res? premi[èe]res?|ingredientes?|materias? primas?"
    r"|ingredienti?|materi[ae] prim[ae]|nom|nombre|nome",
    "amount": r"%( ?\(?(w/?w|by weight|weight)\)?)?|percent(age)?|w/?w( ?%)?|(wt\.?|weight) ?\(?%\)?|amount|quantity"
    r"|weight( ?\(?g\)?)?|g|gram(me)?s?|(gew(ichts)?\.?-?)?(prozent|%)|menge( in %| ?\(%\))?|gewicht( ?\(g\)| in g)?"
    r"|pour ?centage|quantité|poids( ?\(g\))?|porcentaje|cantidad|peso( ?\(g\))?|percentuale|quantità",
    "ignore": r"functions?|notes?|comments?|suppliers?|cas( no\.?)?|why|use|batch|cost|price|lot|no\.?|#"
    r"|funktion|notiz(en)?|bemerkung(en)?|lieferant|preis|kosten|charge|nr\.?|fonctions?|fournisseur|prix|función"
    r"|notas?|proveedor|precio|funzione|note|fornitore|prezzo",
}
_HEADING = {role: re.compile(rf"\s*(?:{words})\s*:?\s*", re.IGNORECASE) for role, words in HEADINGS.items()}
_TOTAL = re.compile(r"\s*((sub|grand )?total(s|e)?|sum(me)?|suma|somme|gesamt|together|in all|)\s*:?\s*", re.IGNORECASE)
_RULE = re.compile(r"[\s|:+=_-]*")
_BULLET = re.compile(r"^\s*(?:[-*+•·–]|\d{1,2}[.)]|[a-z]\))\s+(?:\[[ xX]\]\s+)?|^\s*\[[ xX]\]\s+")
_QUOTE_MARKS = re.compile(r"^\s*(?:>\s*)+|^\s*#{1,6}\s+")  # of an answered message, of a heading in plain text
_ROUGHLY = re.compile(r"(?<=[\s(])(?:~|≈|about|approx\.?|approximately|ca\.?|circa)\s*(?=\d)", re.IGNORECASE)
_BY_WEIGHT = re.compile(r"(?<=%)\s*\(?w/w\)?", re.IGNORECASE)
_PARTS = re.compile(r"(?P<count>\d[\d.,]*)\s*(?:parts?|teile?)", re.IGNORECASE)
_PHASE_BEFORE = re.compile(r"[(\[]?(?P<letter>[A-Z]\d?)[)\].:]*\s+(?=\S)")
_EMPHASIS = re.compile(r"(\*\*|__)(.*?)\1")
_NEEDED = r"traces?|(?:q\.?\s?s\.?\s*)?(?:to|for|until)\s+pH\b.*|as (?:needed|required)|if (?:needed|required)"
_AS_NEEDED = re.compile(_NEEDED, re.IGNORECASE)
_NUMBER = r"\d[\d.,]*(?:[-–]\d[\d.,]*)?"
_UNIT = r"(?:%|[a-z]{1,8}\.?(?:\s?oz)?)"
_AMOUNT = (
    rf"(?:{_NUMBER}(?:\s*{_UNIT})?|{_NEEDED}|q\.?\s?s\.?(?:\s.*)?"
    r"|(?:(?:make|fill)\s+)?(?:up\s+)?to\s+100\s*%?)"
)
_NAME_FIRST = re.compile(rf"(?P<name>.*?\S)\s*(?:[-–—:=]|\.{{2,}}|\s)\s*(?P<amount>{_AMOUNT})", re.IGNORECASE)
_NOTE_AFTER = re.compile(
    rf"(?P<name>\D.*?\S)\s*(?:[-–—:=]|\s)\s*(?P<amount>{_NUMBER}\s*{_UNIT})\s*(?:[(\[].*[)\]]|[-–—:,]\s.*)",
    re.IGNORECASE,
)
_IN_NAME = re.compile(r"%\s*$")
_RANGE = re.compile(r"\d[\d.,]*\s*[-–]\s*\d[\d.,]*\s*(?:%|g)?", re.IGNORECASE)
_IN_BRACKETS = re.compile(r"(?P<name>.*\S)\s*[(\[]\s*(?P<amount>\d[\d.,]*\s*(?:%|[a-z]{1,4}))\s*[)\]]", re.IGNORECASE)
_AMOUNT_FIRST = re.compile(
    r"(?P<amount>\d[\d.,]*\s*(?:%|g\b)|q\.?\s?s\.?|(?:up\s+)?to\s+100\s*%?)[\s:–-]+(?:of\s+)?(?P<name>\D.*)",
    re.IGNORECASE,
)
_PART_OF_LIST = re.compile(r"[,;]\s+|\s+[/•|]\s+|(?<=[%g])\s+(?:and|&|und|et|y|en)\s+")
_LISTED = re.compile(r",\s+")
_MOST_UNIT_WORDS = 4  # of an amount at the head of a line, such as 1 1/2 fl oz
_TWO_SPACES = re.compile(r"\s{2,}")
_LETTER = re.compile(r"(?:phase|part)?\s*(?P<letter>[A-Z]\d?)", re.IGNORECASE)
_NAMED_PHASE = re.compile(r"(?:phase|part)\s+[A-Z\d]{1,2}\b.*", re.IGNORECASE)
_LIST_HEADING = re.compile(r"(?:ingredients?|materials?|recipe|formula|you need|what you need)\b.*:", re.IGNORECASE)
_PHASE_HEADING = re.compile(
    r"(?:(?:phase|part)\b.*|[A-Z]\d?[.:)]?|.*\bphase\b.*|cool[- ]?down.*|heated.*|.+:)", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class TableRow:
    """A row: name, amount and INCI name as written, and the words of the phase it stands in (empty without one)."""

    name: str
    amount: str
    inci: str = ""
    phase: str = ""


@dataclass(frozen=True, slots=True)
class PastedTable:
    """A pasted table: the role of each column, its rows, and how many lines were passed over."""

    columns: tuple[str, ...]
    rows: tuple[TableRow, ...]
    passed_over: int
    sample: tuple[str, ...] = ()


def read_table(text: str, columns: Sequence[str] = ()) -> PastedTable:
    """Return the table of a text; ``columns`` are the roles of its columns where somebody chose them."""
    lines = list(islice(_cells(text), LONGEST_PASTE))
    width = min(max(map(len, lines), default=0), MOST_COLUMNS)
    roles = _roles(lines, width)
    if columns:
        known = (role if role in ROLES else "ignore" for role in columns)
        roles = (*known, *["ignore"] * width)[:width]
    rows: list[TableRow] = []
    phase, passed = "", 0
    for cells in lines:
        heading = _phase_of(cells)
        if _names_columns(cells, roles) or _LIST_HEADING.fullmatch(" ".join(cells)):
            passed += 1
        elif heading is not None:
            phase, passed = heading, passed + 1
        elif (row := _table_row(cells, roles, phase)) is None:
            passed += 1
        else:
            phase = row.phase
            rows.append(row)
    first = next((cells for cells in lines if not is_heading(cells) and len(cells) > 1), ())
    return PastedTable(roles, tuple(_out_of_parts(rows)), passed, tuple(first[:width]))


def _out_of_parts(rows: Sequence[TableRow]) -> Iterable[TableRow]:
    """Turn ``3 parts`` into % where every amount is so many parts; other rows stay as they are."""
    counts = [one and parse_number(one["count"]) for one in (_PARTS.fullmatch(row.amount) for row in rows)]
    known = [count for count in counts if count]
    whole = sum(known, Decimal(0))
    if not whole or len(known) < len(rows):
        return rows
    return [
        replace(row, amount=plain(to_places(100 * count / whole, 4))) for row, count in zip(rows, known, strict=True)
    ]


def is_range(amount: str) -> bool:
    """Return whether an amount is from one to another, such as ``2-3 %``."""
    return bool(_RANGE.fullmatch(amount))


def _cells(text: str) -> Iterable[list[str]]:
    """Split lines into cells at tabs, bars or semicolons, else as comma-separated values, else at wide blanks."""
    lines = [_plain(line) for line in text.splitlines() if line.strip() and not _RULE.fullmatch(line)]
    if len(lines) == 1 and all(map(_spoken, parts := _PART_OF_LIST.split(lines[0].strip(" .")))):
        lines = parts
    mark = next((mark for mark in "\t|;" if sum(mark in line for line in lines) * 2 > len(lines)), "")
    framed = mark == "|" and all(line.strip().startswith("|") for line in lines)
    letters = [] if mark else _phases_before(lines)
    if len(letters) > 2 and len(set(letters)) == len(letters):  # they only count the lines
        lines, letters = [_PHASE_BEFORE.sub("", _BULLET.sub("", line).strip(), count=1) for line in lines], []
    # A blend is named with commas, a column is there on every line: only a text of several lines with as many cells.
    counts = {len(_LISTED.split(line)) for line in lines}
    columns = len(lines) > 1 and len(counts) == 1 and counts != {1}
    for place, line in enumerate(lines):
        whole = line.strip().removeprefix("|").removesuffix("|") if framed else line
        if letters:
            yield [letters[place], *_split(_PHASE_BEFORE.sub("", whole.strip(), count=1), mark, columns)]
        else:
            yield [cell.strip() for cell in _split(whole, mark, columns)]


def _plain(line: str) -> str:
    """Take off what is no part of a row: quotation marks of a message, emphasis, ``about``, ``w/w``, a last comma."""
    whole = _QUOTE_MARKS.sub("", line.replace("\u00a0", " ").replace("\u202f", " "))
    return _BY_WEIGHT.sub("", _ROUGHLY.sub("", _EMPHASIS.sub(r"\2", whole))).rstrip(" ,")


def _phases_before(lines: Sequence[str]) -> list[str]:
    """Return the letter of the phase before the name of each line; empty unless every line has one."""
    found = [_PHASE_BEFORE.match(_BULLET.sub("", line).strip()) for line in lines]
    letters = [one["letter"] for one in found if one is not None]
    return [] if len(letters) < len(lines) or len(lines) < 2 else letters


def _split(line: str, mark: str, columns: bool) -> list[str]:
    if mark and mark in line:
        return _quoted(line, mark)
    bare = _BULLET.sub("", line).strip()
    cells = [] if "," not in bare else _LISTED.split(bare) if ", " in bare and '"' not in bare else _quoted(bare, ",")
    several, spoken = len(cells) > 1, _spoken(bare)
    if several and heading_role(cells[0]):
        return cells
    if not columns and (blend := _with_commas(cells)):
        return blend
    if several and ((len(cells) == 2 and not spoken) or '"' in bare):
        return cells
    if spoken is not None:
        return spoken
    return cells if several and any(map(reads_as_amount, cells)) else _TWO_SPACES.split(bare)


def _with_commas(cells: Sequence[str]) -> list[str]:
    """Read a name with commas and its amount, such as ``cetearyl alcohol, ceteareth-20, 5 %``; empty for others."""
    rows = (_spoken(cell) for cell in cells[:-1])  # ceteareth-20 is a name, glycerin 5 % is a row of its own
    if len(cells) < 2 or any(map(reads_as_amount, cells[:-1])) or any(row and not row[1].isdigit() for row in rows):
        return []
    last = cells[-1]
    if reads_as_amount(last):
        return [", ".join(cells[:-1]), last] if len(cells) > 2 else []
    spoken = _spoken(last)
    return [", ".join([*cells[:-1], spoken[0]]), spoken[1]] if spoken else []


def _spoken(line: str) -> list[str] | None:
    """Read ``water - 70 %``, ``water (70 %)``, ``70 % water`` and ``1 1/2 tsp water``; None for anything else."""
    first = _AMOUNT_FIRST.fullmatch(line)
    if first is not None:
        return [first["name"].strip(), first["amount"].strip()]
    words = line.split()
    for count in range(min(_MOST_UNIT_WORDS, len(words) - 1), 0, -1):
        if is_measure(amount := " ".join(words[:count])):
            return [" ".join(words[count:]).removeprefix("of "), amount]
    found = _IN_BRACKETS.fullmatch(line) or _NAME_FIRST.fullmatch(line)
    noted = None if "," in line else _NOTE_AFTER.fullmatch(line)
    if noted is not None and (found is None or "%" in noted["amount"]) and not _IN_NAME.search(noted["name"]):
        found = noted if found is None or found.re is _IN_BRACKETS else found
    if found is None or "," in found["name"]:
        return None
    amount = found["amount"].strip()
    if not reads_as_amount(amount) and not _AS_NEEDED.fullmatch(amount):
        return None
    return [found["name"].strip(" :-–—=."), amount]


def _quoted(line: str, mark: str) -> list[str]:
    try:
        return next(csv.reader(io.StringIO(line), delimiter=mark), [])
    except csv.Error:
        return line.split(mark)


def reads_as_amount(cell: str) -> bool:
    """Return whether a cell is a number, a percentage, a weight or measure, or says that it fills up."""
    words = (FILLS_UP, _RANGE, _PARTS)
    return any(one.fullmatch(cell) for one in words) or _is(parse_number, cell) or is_measure(cell)


def is_measure(cell: str) -> bool:
    """Return whether a cell is an amount with a unit, such as ``12 g`` or ``2 tsp``."""
    return _is(parse_quantity, cell)


def _is(read: object, cell: str) -> bool:
    try:
        read(cell)  # type: ignore[operator]
    except Invalid:
        return False
    return True


def heading_role(cell: str) -> str:
    """Return what a column is whose heading is a cell: one of ROLES; empty where it is no heading."""
    return next((role for role, one in _HEADING.items() if cell.strip() and one.fullmatch(cell)), "")


def is_total(cell: str) -> bool:
    """Return whether a cell is the word of a total."""
    return bool(cell.strip()) and bool(_TOTAL.fullmatch(cell))


def is_phase_heading(cell: str) -> bool:
    """Return whether a cell opens a phase, such as ``Phase A``, ``B:`` or ``Oil phase``."""
    return bool(_PHASE_HEADING.fullmatch(cell)) and not is_total(cell)


def is_heading(cells: Sequence[str]) -> bool:
    """Return whether a line holds nothing but names of columns."""
    words = [cell for cell in cells if cell]
    return bool(words) and all(any(one.fullmatch(cell) for one in _HEADING.values()) for cell in words)


def _names_columns(cells: Sequence[str], roles: Sequence[str]) -> bool:
    """Tell whether a line names columns in words of its own: where the others have their amount it has a bare word."""
    if len([cell for cell in cells if cell]) < 2 or "amount" not in roles or roles.index("amount") >= len(cells):
        return False
    amount = cells[roles.index("amount")]
    said = any(map(str.isdigit, amount)) or FILLS_UP.fullmatch(amount) or _AS_NEEDED.fullmatch(amount)
    return bool(amount) and not said and not any(map(reads_as_amount, cells))


def _roles(lines: Sequence[Sequence[str]], width: int) -> tuple[str, ...]:
    """Return what each column is, by its heading or by what stands in it."""
    heading = next((cells for cells in lines if is_heading(cells)), None)
    if heading is not None and len(heading) > 1:
        roles = [next((r for r, one in _HEADING.items() if one.fullmatch(cell)), "ignore") for cell in heading]
        roles += ["ignore"] * (width - len(roles))
    else:
        roles = _by_content(lines, width)
    if "name" not in roles and "inci" in roles:
        roles[roles.index("inci")] = "name"
    return tuple(_each_once(roles))


def _by_content(lines: Sequence[Sequence[str]], width: int) -> list[str]:
    columns = [[cells[place] for cells in lines if place < len(cells) and cells[place]] for place in range(width)]
    numbers = [place for place, cells in enumerate(columns) if cells and _share(reads_as_amount, cells) >= 0.5]
    roles = ["ignore"] * width
    for place in numbers:
        if width == 2 or _nearly_hundred(columns[place]) or any("%" in cell for cell in columns[place]):
            roles[place] = "amount"
            break
    else:
        for place in numbers[:1]:
            roles[place] = "amount"
    for place, cells in enumerate(columns):
        if roles[place] == "ignore" and place not in numbers and cells:
            free = "name" not in roles
            is_phase = free and width > 2 and _share(_LETTER.fullmatch, cells) > 0.5
            roles[place] = "phase" if is_phase else "name" if free else "inci" if "inci" not in roles else "ignore"
    return roles


def _share(test: object, cells: Sequence[str]) -> float:
    return sum(bool(test(cell)) for cell in cells) / len(cells)  # type: ignore[operator]


def _nearly_hundred(cells: Sequence[str]) -> bool:
    values = [parse_number(cell) for cell in cells if _is(parse_number, cell)]
    return abs(sum(values, Decimal(0)) - 100) <= 1


def _each_once(roles: Sequence[str]) -> Iterable[str]:
    seen: set[str] = set()
    for role in roles:
        yield role if role == "ignore" or role not in seen else "ignore"
        seen.add(role)


def _phase_of(cells: Sequence[str]) -> str | None:
    """Return the words of a line that only opens a phase; None for any other line."""
    words = [cell for cell in cells if cell]
    if words and len(words) <= 2 and _NAMED_PHASE.fullmatch(words[0]) and any(map(reads_as_amount, words[1:])):
        return words[0].strip(" :")
    if not words or (is_heading(cells) and len(words) > 1) or any(map(reads_as_amount, words)):
        return None
    whole = " ".join(words)
    if len(words) <= 2 and _PHASE_HEADING.fullmatch(words[0]) and not _TOTAL.fullmatch(words[0]):
        return whole.strip(" :")
    return None


def _table_row(cells: Sequence[str], roles: Sequence[str], phase: str) -> TableRow | None:
    """Return a line as a row; None for headings, totals and blanks."""
    first = next((cell for cell in cells if cell), "")
    if not first or is_heading(cells):
        return None
    by_role = {role: cell for role, cell in zip(roles, cells, strict=False) if role != "ignore"}
    named = by_role.get("name", "")
    words = [cell for cell in cells if cell and not reads_as_amount(cell)]
    if any(_TOTAL.fullmatch(cell) for cell in words if cell) or (not words and len(cells) > 2):
        return None
    if "name" not in roles or ("amount" not in roles and len(cells) > 1):
        named = words[0] if words else ""
    amount = by_role.get("amount", "")
    if not amount and "amount" not in by_role:
        others = [cell for cell in cells if cell and cell != named]
        written = next((cell for cell in others if reads_as_amount(cell)), "")
        amount = written or (others[0] if len(others) == 1 and any(map(str.isdigit, others[0])) else "")
    if _AS_NEEDED.fullmatch(amount):
        amount = ""
    own = by_role.get("phase", "")
    if not named and reads_as_amount(first):
        return TableRow("", amount or first, by_role.get("inci", ""), own or phase)
    return TableRow(named, amount, by_role.get("inci", ""), own or phase)


def letter_in(words: str) -> str:
    """Return the letter that words of a phase begin with (``Phase A``, ``A``, ``A: water``); empty without one."""
    found = re.match(r"(?i)\s*(?:(?:phase|part)\s+)?([A-Z]\d?)(?=$|[\s.:)–-])", words)
    if found is None or (len(words.split()) > 1 and not re.match(r"(?i)\s*(phase|part)\b|\s*[A-Z]\d?[.:)–-]", words)):
        return ""
    return found[1].upper()
