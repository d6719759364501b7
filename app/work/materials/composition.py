"""The composition of a material: rows as typed become parts, with their sum and what is missing to 100."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.reference.inci_names import cas_is_sound
from app.science.composition import AllergenShare, Kind, Part
from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.numbers import parse_number, plain
from app.science.percent_range import HUNDRED, PercentRange, fit_to_hundred, parse_range
from app.work.materials.typed_material import TypedMaterial, TypedPart, number
from app.work.typed import Reader, one_line

WATER = "Aqua"
MOST_PARTS = 200
MOST_ALLERGENS = 150

_CAS_SHAPE = re.compile(r"[0-9]{2,7}-[0-9]{2}-[0-9]")
_PASTED = re.compile(r"(?P<inci>.+?)[\s:|]+(?P<percent>[<>≤≥]?=?\s*\d[\d.,\s%()–—-]*)")
_ALLERGEN = re.compile(r"(?P<inci>.+?)[\s:;=|]+(?P<percent>[0-9.,]+) ?%?", re.ASCII)


@dataclass(frozen=True, slots=True)
class ReadPart:
    """A part of a material with the words about where its figures come from."""

    part: Part
    source: str = ""


@dataclass(frozen=True, slots=True)
class Sum:
    """What the rows that can be read add up to, % w/w of the material.

    ``counted`` has the percentage used for each row as typed, None where a row cannot be read or is blank.
    """

    total: Decimal
    counted: tuple[Decimal | None, ...]
    unread: int
    can_fit: bool

    @property
    def missing(self) -> Decimal:
        """What is missing to 100; below zero when there is too much."""
        return HUNDRED - self.total

    @property
    def sentence(self) -> str:
        """The sum in words."""
        words = f"Adds up to {plain(self.total)} %"
        if self.unread:
            words += f", without {self.unread} row{'s' if self.unread > 1 else ''} that cannot be read yet"
        if self.missing > 0:
            return f"{words}; {plain(self.missing)} % is missing to 100."
        return f"{words}." if not self.missing else f"{words}; {plain(-self.missing)} % too much."


def read_parts(rows: Sequence[TypedPart], reader: Reader) -> tuple[ReadPart, ...]:
    """Read the rows that are not blank; faults are kept at ``part-<row>-<field>``."""
    typed = [(place, row) for place, row in enumerate(rows) if not row.blank]
    alone = len(typed) == 1
    read = [part for place, row in typed if (part := reader.take(_read_part, place, row, alone=alone)) is not None]
    _check_whole(read, typed, reader)
    return tuple(read)


def _read_part(place: int, row: TypedPart, *, alone: bool) -> ReadPart:
    field = f"part-{place}"
    inci = one_line(row.inci, f"{field}-inci")
    if not inci:
        raise Invalid(f"{field}-inci", "Give the INCI name of this row, or empty the row.")
    share = _share(row, f"{field}-percent", alone=alone)
    part = Part(
        inci=inci,
        percent=share.typical,
        kind=_kind(row.kind, f"{field}-kind"),
        nano=row.nano,
        cas=one_line(row.cas, f"{field}-cas", longest=40) or None,
        may_contain=row.may_contain,
        allergens=read_allergens(row.allergens, f"{field}-allergens"),
        low=share.low,
        high=share.high,
    )
    return ReadPart(part, one_line(row.source, f"{field}-source", longest=500))


def _share(row: TypedPart, field: str, *, alone: bool) -> PercentRange:
    if row.percent.strip():
        return parse_range(row.percent, field)
    if alone:
        return PercentRange(HUNDRED)
    raise Invalid(field, "Give the percent of this row, such as 40 or 30-50.")


def _kind(text: str, field: str) -> Kind:
    try:
        return Kind(text)
    except ValueError as error:
        raise Invalid(field, "Choose what this substance is for.") from error


def _check_whole(read: Sequence[ReadPart], typed: Sequence[tuple[int, TypedPart]], reader: Reader) -> None:
    if len(typed) > MOST_PARTS:
        reader.fail("parts", f"A material can have {MOST_PARTS} rows; this one has {len(typed)}.")
    elif not typed:
        reader.fail("part-0-inci", "Give at least one INCI name: without it no label can be written.")
    elif len(read) == len(typed):
        _check_sum(read, typed, reader)


def _check_sum(read: Sequence[ReadPart], typed: Sequence[tuple[int, TypedPart]], reader: Reader) -> None:
    total = sum((row.part.percent for row in read), Decimal(0))
    if total > HUNDRED:
        reader.fail(
            f"part-{typed[-1][0]}-percent",
            f"The rows add up to {plain(total)} %; take {plain(total - HUNDRED)} away.",
        )


def read_allergens(text: str, field: str) -> tuple[AllergenShare, ...]:
    """Read an allergen sheet: a line each, the name and then the percent of this part (``Limonene 4.2``).

    Tabs, colons and a percent sign are allowed; lines without content are passed over.

    Raises:
        Invalid: at the first line that cannot be read, naming it, or when the percentages pass 100.
    """
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if len(lines) > MOST_ALLERGENS:
        raise Invalid(field, f"An allergen sheet can have {MOST_ALLERGENS} lines; this one has {len(lines)}.")
    shares = tuple(_allergen(place, line, field) for place, line in enumerate(lines, start=1))
    total = sum((share.percent for share in shares), Decimal(0))
    if total > HUNDRED:
        raise Invalid(field, f"The allergens add up to {plain(total)} %, more than the whole part.")
    return shares


def _allergen(place: int, line: str, field: str) -> AllergenShare:
    match = _ALLERGEN.fullmatch(line) if len(line) <= 200 else None
    if match is None:
        raise Invalid(field, f"Line {place}: write the name and the percent, such as Limonene 4.2.")
    try:
        percent = parse_number(match["percent"], field, low=Decimal(0), high=HUNDRED)
    except Invalid as fault:
        raise Invalid(field, f"Line {place}: {fault.message}") from fault
    return AllergenShare(one_line(match["inci"], field), percent)


def sum_of(rows: Sequence[TypedPart]) -> Sum:
    """Add up the rows as far as they can be read."""
    alone = sum(not row.blank for row in rows) == 1
    shares = [None if row.blank else _readable(row, alone=alone) for row in rows]
    found = [share for share in shares if share is not None]
    return Sum(
        total=sum((share.typical for share in found), Decimal(0)),
        counted=tuple(share.typical if share else None for share in shares),
        unread=sum(share is None and not row.blank for share, row in zip(shares, rows, strict=True)),
        can_fit=_can_fit(found),
    )


def _readable(row: TypedPart, *, alone: bool) -> PercentRange | None:
    return Reader().take(_share, row, "", alone=alone)


def _can_fit(shares: Sequence[PercentRange]) -> bool:
    off = sum((share.typical for share in shares), Decimal(0)) != HUNDRED
    return off and fit_to_hundred(shares) is not None


def with_water(typed: TypedMaterial) -> TypedMaterial:
    """Make water the rest to 100; nothing changes when nothing is missing."""
    missing = sum_of(typed.parts).missing
    if missing <= 0:
        return typed
    place = next((n for n, row in enumerate(typed.parts) if inci_key(row.inci) == inci_key(WATER)), None)
    if place is not None:
        have = sum_of(typed.parts).counted[place] or Decimal(0)
        return _with_row(typed, place, replace(typed.parts[place], percent=plain(have + missing)))
    rows = [row for row in typed.parts if not row.blank]
    return replace(typed, parts=(*rows, TypedPart(inci=WATER, percent=plain(missing), cas="7732-18-5")))


def _with_row(typed: TypedMaterial, place: int, row: TypedPart) -> TypedMaterial:
    return replace(typed, parts=(*typed.parts[:place], row, *typed.parts[place + 1 :]))


def fitted(typed: TypedMaterial) -> TypedMaterial:
    """Move the typical values inside their ranges so that they sum to 100; unchanged when that cannot be done."""
    shares = [_readable(row, alone=False) for row in typed.parts]
    places = [n for n, share in enumerate(shares) if share is not None]
    moved = fit_to_hundred([share for share in shares if share is not None])
    for place, share in zip(places, moved or (), strict=False):
        typed = _with_row(typed, place, replace(typed.parts[place], percent=share.text))
    return typed


def with_pasted(typed: TypedMaterial, text: str) -> TypedMaterial:
    """Add the rows of a pasted text: a line each, the INCI name, the percent or range, and perhaps the CAS number."""
    kept = tuple(row for row in typed.parts if not row.blank)
    lines = (line.strip()[:400] for line in text.splitlines()[: MOST_PARTS + 1])
    return replace(typed, parts=kept + tuple(_pasted_row(line) for line in lines if line))


def _pasted_row(line: str) -> TypedPart:
    cells = [cell.strip() for cell in re.split(r"[\t;]", line) if cell.strip()]
    cas = next((cell for cell in cells[1:] if _CAS_SHAPE.fullmatch(cell)), "")
    rest = [cell for cell in cells if cell != cas]
    if len(rest) > 1:
        return TypedPart(inci=rest[0], percent=rest[1], cas=cas)
    match = _PASTED.fullmatch(rest[0] if rest else line)
    return TypedPart(match["inci"].strip(), match["percent"].strip(), cas) if match else TypedPart(line, "", "")


def cas_remark(cas: str) -> str:
    """Say what looks wrong with a CAS number; empty when nothing does. The number is kept as typed."""
    if not cas or cas_is_sound(cas):
        return ""
    if _CAS_SHAPE.fullmatch(cas):
        return f"The check digit of CAS {cas} does not fit; compare it with the data sheet."
    return f"{cas} does not have the form of a CAS number (such as 56-81-5); compare it with the data sheet."


def width_text(part: Part) -> str:
    """Write the range of a part, such as ``30-50``; empty when there was none."""
    return f"{number(part.low)}–{number(part.high)}" if part.low is not None and part.high is not None else ""
