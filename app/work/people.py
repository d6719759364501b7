"""The people who work here: who did what is one of them, never an empty field."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.workshop import Person
from app.work.action import action
from app.work.clock import now
from app.work.field_reading import FieldReader, one_line, required_line

LONGEST_NAME, LONGEST_INITIALS = 80, 8


@dataclass(frozen=True, slots=True)
class PersonRow:
    """A person as the list shows them."""

    id: int
    name: str
    initials: str
    has_left: bool


def people(session: Session) -> list[PersonRow]:
    """Return everybody by name, those who left last."""
    found = session.scalars(select(Person))
    rows = [PersonRow(one.id, one.name, one.initials, one.left_at is not None) for one in found]
    return sorted(rows, key=lambda row: (row.has_left, row.name.casefold()))


def load_people(store: Store) -> list[PersonRow]:
    """Return everybody, for a page."""
    with store.reading() as session:
        return people(session)


def person_named(session: Session, text: str, field: str, asked: str) -> str:
    """Return the full name of a person typed by name or initials.

    While the list of people is empty, any name is taken.

    Raises:
        Invalid: at ``field``, when nothing is typed (``asked`` is the sentence that asks), or nobody here is called so.
    """
    typed = required_line(text, field, asked)
    if len(typed) > LONGEST_NAME:
        raise Invalid(field, f"Shorten the name to {LONGEST_NAME} characters; it has {len(typed)}.")
    present = [row for row in people(session) if not row.has_left]
    if not present:
        return typed
    key = typed.casefold()
    found = [row for row in present if key in (row.name.casefold(), row.initials.casefold())]
    if len(found) != 1:
        names = ", ".join(row.name for row in present[:8])
        raise Invalid(field, f"Nobody here is called {typed[:40]}. Choose {names}, or add the person in the workshop.")
    return found[0].name


@action(once="person")
def add_person(session: Session, full_name: str, initials: str, *, key: str = "") -> int:
    """Add a person and return the id.

    Raises:
        Faults: at ``name`` or ``initials``, when one is missing, too long or taken.
    """
    reader = FieldReader()
    typed = reader.read(required_line, full_name, "name", "Write the person's name.")
    short = reader.read(one_line, initials, "initials", longest=LONGEST_INITIALS)
    if typed and len(typed) > LONGEST_NAME:
        reader.refuse("name", f"Shorten the name to {LONGEST_NAME} characters; it has {len(typed)}.")
    for row in people(session):
        if typed and row.name.casefold() == typed.casefold():
            reader.refuse("name", f"{row.name} is on the list already.")
        if short and not row.has_left and row.initials.casefold() == short.casefold():
            reader.refuse("initials", f"{row.name} has these initials.")
    reader.finish()
    person = Person(name=typed, initials=short)
    session.add(person)
    session.flush()
    return person.id


@action()
def change_presence(session: Session, person_id: int, *, left: bool) -> None:
    """Note that a person left, or is back.

    Raises:
        NotFound: when there is no such person.
    """
    person = session.get(Person, person_id)
    if person is None:
        raise NotFound("There is no such person.")
    person.left_at = now() if left else None
