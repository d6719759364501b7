"""The people who work here: who did what is one of them, never an empty field."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session, object_session

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.workshop import Person
from app.work.action import action
from app.work.clock import now
from app.work.form import Field, Form, rule
from app.work.form_fields import Name, ShortText
from app.work.typed_text import required_line

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


def session_of(form: Form) -> Session:
    """Return the session that a form is checked with, or that of the stored record it is checked with."""
    session = form.given if isinstance(form.given, Session) else object_session(form.given)
    if session is None:
        raise RuntimeError("this form is checked with a session, or with a record that has one")
    return session


class SignedBy(Field[str]):
    """Who does something, by name or initials; a form with one is checked with the session or with a stored record.

    ``asked`` is the sentence for an empty field; without it the field may stay empty.
    """

    def __init__(self, asked: str = "", *, label: str = "By", column: str = "by") -> None:
        super().__init__(label, column=column, width="w8")
        self.asked = asked

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the full name."""
        if not text.strip() and not self.asked:
            return ""
        return person_named(session_of(form), text, at, self.asked)


class PersonForm(Form):
    """A person who works here; checked with the session that knows the others."""

    name = Name("Name", "Enter the person's name.", longest=LONGEST_NAME, width="w20")
    initials = ShortText("Initials", longest=LONGEST_INITIALS, width="w4")

    @rule
    def name_is_new(self) -> None:
        """Refuse a name that is on the list, also that of somebody who left."""
        for row in people(self.given):
            if row.name.casefold() == self.name.casefold():
                raise Invalid("name", f"{row.name} is on the list already.")

    @rule
    def initials_are_free(self) -> None:
        """Refuse initials of somebody who works here."""
        for row in people(self.given):
            if self.initials and not row.has_left and row.initials.casefold() == self.initials.casefold():
                raise Invalid("initials", f"{row.name} has these initials.")


@action(once="person")
def add_person(session: Session, typed: PersonForm, *, key: str = "") -> int:
    """Add a person and return the id.

    Raises:
        Faults: at ``name`` or ``initials``, when one is missing, too long or taken.
    """
    person = Person(**typed.checked(session).columns())
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
