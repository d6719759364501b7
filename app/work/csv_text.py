"""Tables as comma-separated text (RFC 4180), going out guarded and coming in checked line by line."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

MOST_ROWS = 20_000
MOST_FAULTS = 50
LONGEST_CELL = 100_000
ENCODINGS = {"utf-8": "UTF-8", "cp1252": "Windows-1252 (Western Europe)", "utf-16": "UTF-16"}

MOST_COLUMNS = 200

# A spreadsheet takes a cell that begins so for a formula (OWASP ASVS 5.0, 1.2.10); TAB, CR and NUL are skipped by some,
# and some take the full-width forms of the signs for the signs.
_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\x00", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_MARKS = ",;\t"


@dataclass(frozen=True, slots=True)
class LineFault:
    """What is wrong in one line of a file; line 1 is the heading, 0 the file as a whole."""

    line: int
    message: str

    @property
    def text(self) -> str:
        """The fault with its line."""
        return f"Line {self.line}: {self.message}" if self.line else self.message


class Unreadable(ValueError):
    """A file that cannot be taken, with what is wrong in which line."""

    def __init__(self, faults: Sequence[LineFault]) -> None:
        super().__init__("; ".join(fault.text for fault in faults[:5]))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class Record:
    """One line of a table: the number of its first line in the file, and its cells by column."""

    line: int
    cells: Mapping[str, str]


def guarded(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would take for a formula; `unguarded` takes it off.

    >>> guarded("=1+1"), guarded("Aqua")
    ("'=1+1", 'Aqua')
    """
    return f"'{text}" if text.startswith(_DANGEROUS) or _looks_guarded(text) else text


def unguarded(text: str) -> str:
    """Take off the apostrophe that `guarded` put there; any other stays."""
    return text[1:] if _looks_guarded(text) else text


def _looks_guarded(text: str) -> bool:
    return text.startswith("'") and text[1:].startswith((*_DANGEROUS, "'"))


def write_table(columns: Sequence[str], rows: Iterable[Mapping[str, str]], numbers: Iterable[str] = ()) -> str:
    """Write a table with a heading and CRLF line ends; cells outside the columns of ``numbers`` are guarded."""
    bare = set(numbers)
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([row.get(c, "") if c in bare else guarded(row.get(c, "")) for c in columns])
    return out.getvalue()


def decode(data: bytes, encoding: str = "utf-8") -> str:
    """Read the bytes of a file as text, with or without a byte-order mark.

    Raises:
        Unreadable: when they are not text in this encoding; the message names the line.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encoding = "utf-16"
    name = "utf-8-sig" if encoding == "utf-8" else encoding
    if encoding not in ENCODINGS:
        raise Unreadable([LineFault(0, "Choose one of the encodings of the list.")])
    try:
        return data.decode(name).removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        words = f"this is not {ENCODINGS[encoding]} text. Save the file as UTF-8, or choose its encoding here."
        raise Unreadable([LineFault(line, words)]) from error


def read_table(text: str, required: Sequence[str], known: Sequence[str]) -> list[Record]:
    """Read a table whose heading names its columns, in any order, separated by comma, semicolon or tab.

    Raises:
        Unreadable: when the heading lacks a column, holds an unknown or doubled one, or a line is ragged, too long
            or broken; every such line is named.
    """
    lines = _split(text)
    if not lines:
        raise Unreadable([LineFault(0, "The file is empty.")])
    heading = [cell.strip().casefold() for cell in lines[0][1]]
    if len(heading) > MOST_COLUMNS:
        raise Unreadable([LineFault(1, f"a table can have {MOST_COLUMNS} columns; this one has {len(heading):,}.")])
    missing = [name for name in required if name not in heading]
    strange = [name for name in heading if name not in known]
    doubled = sorted({name for name in heading if heading.count(name) > 1})
    messages = [
        _of_columns(missing, "missing"),
        _of_columns([f"“{name[:40]}”" for name in strange[:8]], "not known here"),
        _of_columns(doubled, "there twice"),
    ]
    faults = [LineFault(1, message) for message in messages if message]
    if faults:
        raise Unreadable(faults)
    body = [(line, cells) for line, cells in lines[1:] if any(cell.strip() for cell in cells)]
    ragged = [
        LineFault(line, f"{len(cells)} cells, but the heading has {len(heading)} columns.")
        for line, cells in body
        if len(cells) != len(heading)
    ]
    if ragged:
        raise Unreadable(ragged[:MOST_FAULTS])
    return [Record(line, dict(zip(heading, map(unguarded, cells), strict=True))) for line, cells in body]


def _of_columns(names: Sequence[str], what: str) -> str:
    """Say something of columns in a sentence; nothing where there are none."""
    if not names:
        return ""
    noun, verb = ("columns", "are") if len(names) > 1 else ("column", "is")
    return f"the {noun} {', '.join(names)} {verb} {what}."


def _split(text: str) -> list[tuple[int, list[str]]]:
    first = text.lstrip("\r\n").split("\n", 1)[0]
    mark = max(_MARKS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    rows: list[tuple[int, list[str]]] = []
    before = 0
    try:
        for cells in reader:
            line = before + 1
            if len(rows) > MOST_ROWS:
                raise Unreadable([LineFault(line, f"A file can have {MOST_ROWS:,} lines; split it.")])
            if any(len(cell) > LONGEST_CELL for cell in cells):
                raise Unreadable([LineFault(line, _broken("field larger"))])
            rows += [(before + 1, cells)] if cells else []
            before = reader.line_num
    except csv.Error as error:
        raise Unreadable([LineFault(before + 1, _broken(str(error)))]) from error
    return rows


def _broken(reason: str) -> str:
    if "field larger" in reason:
        return f"one cell is longer than {LONGEST_CELL:,} characters; a closing quotation mark may be missing."
    if "unexpected end" in reason:
        return "a quotation mark is opened here and never closed."
    return "the quotation marks do not fit together; a quotation mark inside a cell is written twice."
