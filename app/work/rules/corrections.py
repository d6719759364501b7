"""Shipped values that the maker looked up and put right: read, written, taken back. The shipped table stays beneath."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cache

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.reference.provenance import MemoryValue, from_memory
from app.reference.tables import decimal_or_none
from app.science.errors import Invalid
from app.science.numbers import parse_number
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.rulebook import ValueCorrection
from app.store.types import plain_text
from app.work.clock import now
from app.work.form import Field, Form
from app.work.form_fields import Name, ShortText
from app.work.typed_text import clean_text, one_line

Place = tuple[str, str, str]
RANGES: Mapping[str, tuple[str, str]] = {
    "max_percent": ("0", "100"),
    "natural_origin_index": ("0", "1"),
    "density_g_ml": ("0.01", "25"),
    "eu_area": ("1", "4"),
}
LIST_COLUMNS = frozenset({"electrolyte", "charge", "phase_hint"})
LONG_COLUMNS = frozenset({"notes", "why"})


@dataclass(frozen=True, slots=True)
class Correction:
    """A value put right: where it stands, what was shipped that day, the maker's value, and its source."""

    table: str
    key: str
    column: str
    shipped: str
    value: str
    source: str
    who: str
    at: datetime

    @property
    def place(self) -> Place:
        """Table, row and column."""
        return (self.table, self.key, self.column)

    @property
    def shipped_now(self) -> str | None:
        """What the shipped table says today; None when the row is gone or no longer rests on memory."""
        found = shipped_values().get(self.place)
        return None if found is None else found.value


@cache
def shipped_values() -> Mapping[Place, MemoryValue]:
    """Every shipped value that rests on memory, by its place; the first one where rows share a key."""
    return {(one.table, one.key, one.column): one for one in reversed(from_memory())}


def read_corrections(session: Session) -> tuple[Correction, ...]:
    """Read every correction, in the order in which they were made."""
    return tuple(
        Correction(
            table=row.table_name,
            key=row.row_key,
            column=row.column_name,
            shipped=row.shipped,
            value=row.value,
            source=row.source,
            who=row.corrected_by,
            at=row.corrected_at,
        )
        for row in session.scalars(select(ValueCorrection).order_by(ValueCorrection.id))
    )


def find_value(place: Place) -> MemoryValue:
    """Return the shipped value at a place.

    Raises:
        NotFound: when no value that rests on memory stands there.
    """
    found = shipped_values().get(place)
    if found is None:
        raise NotFound("There is no value from memory there.")
    return found


def choices_of(value: MemoryValue) -> tuple[str, ...]:
    """Return the words that a value can be, where its column holds words of a fixed list; empty elsewhere."""
    if value.column not in LIST_COLUMNS:
        return ()
    return tuple(sorted({v.value for v in from_memory() if (v.table, v.column) == (value.table, value.column)}))


def is_number(value: MemoryValue) -> bool:
    """Return whether the shipped value is a number, so that a correction has to be one."""
    try:
        return decimal_or_none(value.value) is not None
    except ValueError:
        return False


class CorrectedValue(Field[str]):
    """The value as it should be: a word of the column's list, a number, or a text, as the shipped one is."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the value as the tables write it."""
        shipped: MemoryValue = form.given
        allowed = choices_of(shipped)
        if allowed and text not in allowed:
            raise Invalid(at, f"Choose one of: {', '.join(allowed)}.")
        if is_number(shipped):
            low, high = RANGES.get(shipped.column, ("-1000", "1000000"))
            value = parse_number(text, at, low=Decimal(low), high=Decimal(high))
            if shipped.column == "eu_area" and value != value.to_integral_value():
                raise Invalid(at, "Enter the number of an area of use, 1 to 4.")
            return plain_text(value)
        found = clean_text(text, at) if shipped.column in LONG_COLUMNS else one_line(text, at)
        if not found:
            raise Invalid(at, "Enter the value as it should be.")
        return found


class ValueForm(Form):
    """A value in the place of a shipped one; checked with that one."""

    value = CorrectedValue("Value")
    source = Name("Source", "Name the source: the data sheet, the book, the law, with its date.")
    who = ShortText("By", longest=80)


def correct(store: Store, place: Place, value: str, source: str, who: str) -> None:
    """Write a value down in the place of a shipped one; a second correction replaces the first.

    Raises:
        Faults: at ``value``, ``source`` and ``who``, with everything that is wrong.
        NotFound: when no value that rests on memory stands there.
    """
    shipped = find_value(place)
    form = ValueForm(value, source, who).checked(shipped)
    with store.transaction() as session:
        row = _stored_correction(session, place) or ValueCorrection(
            table_name=place[0], row_key=place[1], column_name=place[2]
        )
        row.shipped, row.value, row.source = shipped.value, form.value, form.source
        row.corrected_by, row.corrected_at = form.who, now()
        session.add(row)


def take_back(store: Store, place: Place) -> None:
    """Let the shipped value count again.

    Raises:
        NotFound: when nothing was put right there.
    """
    with store.transaction() as session:
        row = _stored_correction(session, place)
        if row is None:
            raise NotFound("No value is corrected there.")
        session.delete(row)


def _stored_correction(session: Session, place: Place) -> ValueCorrection | None:
    where = zip((ValueCorrection.table_name, ValueCorrection.row_key, ValueCorrection.column_name), place, strict=True)
    return session.scalars(select(ValueCorrection).where(*(column == text for column, text in where))).first()
