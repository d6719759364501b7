"""The composition of a material as it is typed: its sum, what is missing to 100, and what is worth a second look."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.reference.inci_names import cas_is_sound, inci_names
from app.reference.label_names import nearest_name
from app.reference.library import find_substance
from app.science.composition import Part
from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.numbers import plain
from app.science.percent_range import HUNDRED, PercentRange, fit_to_hundred
from app.work.materials.material_form import MOST_PARTS, MaterialForm, PartForm

WATER = "Aqua"

_CAS_SHAPE = re.compile(r"[0-9]{2,7}-[0-9]{2}-[0-9]")
_PASTED = re.compile(r"(?P<inci>.+?)[\s:|]+(?P<percent>[<>≤≥]?=?\s*\d[\d.,\s%()–—-]*)")


@dataclass(frozen=True, slots=True)
class Sum:
    """What the rows that can be read add up to, % w/w of the material.

    ``counted`` has the percentage used for each row as typed, None where a row cannot be read or is blank.
    """

    total: Decimal
    counted: tuple[Decimal | None, ...]
    unread: int

    @property
    def missing(self) -> Decimal:
        """What is missing to 100; below zero when there is too much."""
        return HUNDRED - self.total

    @property
    def sentence(self) -> str:
        """The sum in words."""
        if not self.total and not self.unread:
            return "Nothing entered yet."
        words = f"Adds up to {plain(self.total)} %"
        if self.unread:
            words += f", without {self.unread} row{'s' if self.unread > 1 else ''} that cannot be read yet"
        if self.missing > 0:
            return f"{words}; {plain(self.missing)} % is missing."
        return f"{words}." if not self.missing else f"{words}; {plain(-self.missing)} % too much."


def sum_of(form: MaterialForm) -> Sum:
    """Return what the rows add up to, as far as they can be read."""
    rows: Sequence[PartForm] = form.text["parts"]
    shares = [None if row.blank else _readable(row) for row in rows]
    found = [share for share in shares if share is not None]
    total = sum((share.typical for share in found), Decimal(0))
    return Sum(
        total=total,
        counted=tuple(share.typical if share else None for share in shares),
        unread=sum(share is None and not row.blank for share, row in zip(shares, rows, strict=True)),
    )


def _readable(row: PartForm) -> PercentRange | None:
    try:
        return row.percent
    except Invalid:
        return None


def with_water(form: MaterialForm) -> MaterialForm:
    """Return the form with water as the rest to 100; nothing changes when nothing is missing."""
    added = sum_of(form)
    rows: tuple[PartForm, ...] = form.text["parts"]
    if added.missing <= 0:
        return form
    place = next((n for n, row in enumerate(rows) if inci_key(row.text["inci"]) == inci_key(WATER)), None)
    if place is not None:
        return _with_row(form, place, percent=plain((added.counted[place] or Decimal(0)) + added.missing))
    water = PartForm(inci=WATER, percent=plain(added.missing), cas="7732-18-5")
    return form.but(parts=(*(row for row in rows if not row.blank), water))


def _with_row(form: MaterialForm, place: int, **texts: str) -> MaterialForm:
    rows = form.text["parts"]
    return form.but(parts=(*rows[:place], rows[place].but(**texts), *rows[place + 1 :]))


def fitted(form: MaterialForm) -> MaterialForm:
    """Return the form with typical values moved inside their ranges to sum to 100; unchanged when that cannot be."""
    rows = form.text["parts"]
    shares = {place: share for place, row in enumerate(rows) if not row.blank and (share := _readable(row)) is not None}
    moved = fit_to_hundred(list(shares.values()))
    for place, share in zip(shares, moved or (), strict=False):
        form = _with_row(form, place, percent=share.text)
    return form


def with_pasted(form: MaterialForm, text: str) -> MaterialForm:
    """Return the form with the rows of a pasted text: a line each, INCI name, percent, perhaps CAS number."""
    kept = tuple(row for row in form.text["parts"] if not row.blank)
    lines = (line.strip()[:400] for line in text.splitlines()[: MOST_PARTS + 1])
    return form.but(parts=kept + tuple(_pasted_row(line) for line in lines if line))


def _pasted_row(line: str) -> PartForm:
    cells = [cell.strip() for cell in re.split(r"[\t;]", line) if cell.strip()]
    cas = next((cell for cell in cells[1:] if _CAS_SHAPE.fullmatch(cell)), "")
    rest = [cell for cell in cells if cell != cas]
    if len(rest) > 1:
        return PartForm(inci=rest[0], percent=rest[1], cas=cas)
    match = _PASTED.fullmatch(rest[0] if rest else line)
    return PartForm(match["inci"].strip(), match["percent"].strip(), cas) if match else PartForm(line)


def remarks(parts: Iterable[Part]) -> tuple[str, ...]:
    """Return what is worth a second look in a composition; none of it keeps the material from being saved."""
    listed = tuple(parts)
    found = [cas_remark(part.cas or "") for part in listed]
    for part in listed:
        if not find_substance(part.inci) and inci_key(part.inci) not in inci_names():
            near = nearest_name(part.inci)
            found.append(
                f"{part.inci} is not in the list of INCI names here (state of 2020)"
                f"{f'; did you mean {near}?' if near else '.'} Compare the spelling with the data sheet."
            )
    total = sum((part.percent for part in listed), Decimal(0))
    if total < HUNDRED:
        found.append(
            f"{plain(HUNDRED - total)} % of this material is not accounted for; labels and limits leave it out."
        )
    return tuple(dict.fromkeys(text for text in found if text))


def cas_remark(cas: str) -> str:
    """Return what looks wrong with a CAS number; empty when nothing does. The number is kept as typed."""
    if not cas or cas_is_sound(cas):
        return ""
    if _CAS_SHAPE.fullmatch(cas):
        return f"The check digit of CAS {cas} does not fit; compare it with the data sheet."
    return f"{cas} does not have the form of a CAS number (such as 56-81-5); compare it with the data sheet."


def width_text(part: Part) -> str:
    """Write the range of a part, such as ``30 to 50``; empty when there was none."""
    return f"{plain(part.low)} to {plain(part.high)}" if part.low is not None and part.high is not None else ""
