"""Receivers: found by name and contact or made, corrected, and forgotten when they ask for it."""

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.distribution import Dispatch, Receiver, ReceiverKind, get_receiver
from app.store.errors import Conflict
from app.store.quality import CaseFile
from app.work.action import action
from app.work.clock import now
from app.work.form import Form
from app.work.form_fields import LongText, Name, OneOf

PAGE = 100


class ReceiverForm(Form):
    """What is kept of a receiver: no more than is needed to reach them."""

    name = Name("Name", "Enter the name of the person or shop.", width="w20")
    kind = OneOf("Person or shop", ReceiverKind, "Choose person or shop.", default=ReceiverKind.PERSON.value)
    contact = LongText(
        "How to reach them", longest=500, lines=2, hint="An e-mail address, a telephone number or an address."
    )


def receivers_named(session: Session, name: str) -> list[Receiver]:
    """Return the receivers of a name, in any case, the oldest first."""
    asked = select(Receiver).where(func.lower(Receiver.name) == " ".join(name.split()).lower())
    return list(session.scalars(asked.where(Receiver.forgotten_at.is_(None)).order_by(Receiver.id)))


def receiver_for(
    session: Session, name: str, contact: str, kind: ReceiverKind, *, import_id: int | None = None
) -> Receiver | None:
    """Return the receiver of a name and contact, made when there is none; None for no name.

    A contact left empty means the one receiver of that name; one known without a contact gets it.

    Raises:
        Invalid: at ``contact``, when several of that name are known and none is meant clearly.
    """
    wanted, reach = " ".join(name.split()), _plain(contact)
    if not wanted:
        return None
    there = receivers_named(session, wanted)
    same = [one for one in there if _plain(one.contact) == reach] or ([] if reach else there)
    if len(same) > 1:
        raise Invalid(
            "contact", f"There are {len(same)} receivers named {same[0].name}; enter the contact of the one meant."
        )
    if same:
        return same[0]
    blank = [one for one in there if not one.contact]
    if blank:
        blank[0].contact = contact.strip()
        return blank[0]
    return new_receiver(session, wanted, contact, kind, import_id=import_id)


def new_receiver(
    session: Session, name: str, contact: str, kind: ReceiverKind, *, import_id: int | None = None
) -> Receiver:
    """Write a new receiver."""
    made = Receiver(name=name, contact=contact.strip(), kind=kind, created_at=now(), import_id=import_id)
    session.add(made)
    session.flush()
    return made


def _plain(contact: str) -> str:
    return " ".join(contact.split()).casefold()


@action()
def revise_receiver(session: Session, receiver_id: int, typed: ReceiverForm, row_version: int) -> None:
    """Correct name, kind or contact; what stood there before is not kept.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it changed since it was read, or was forgotten.
        NotFound: when there is no such receiver.
    """
    receiver, form = get_receiver(session, receiver_id), typed.checked()
    if receiver.forgotten_at is not None:
        raise Conflict("This receiver was forgotten on request; nothing is kept of them any more.")
    if receiver.row_version != row_version:
        raise Conflict(f"{receiver.name} was changed in the meantime.")
    receiver.name, receiver.kind, receiver.contact = form.name, form.kind, form.contact


@action()
def forget_receiver(session: Session, receiver_id: int) -> None:
    """Erase name, contact and order numbers of a receiver for good; the row and the counts of units stay.

    No history holds them: histories of recalls and cases name a receiver by its number only.

    Raises:
        NotFound: when there is no such receiver.
    """
    forget_now(session, get_receiver(session, receiver_id))


def forget_now(session: Session, receiver: Receiver) -> None:
    """Erase what is known of a receiver, inside a transaction that is open."""
    if receiver.forgotten_at is None:
        receiver.name, receiver.contact, receiver.forgotten_at = "", "", now()
    session.execute(update(Dispatch).where(Dispatch.receiver_id == receiver.id).values(order_number=""))


def cases_with(session: Session, receiver_id: int) -> list[CaseFile]:
    """Return the cases that a receiver told, whose words somebody has to look over when they are forgotten."""
    return list(session.scalars(select(CaseFile).where(CaseFile.receiver_id == receiver_id).order_by(CaseFile.id)))


def list_receivers(session: Session, words: str = "", *, skip: int = 0, most: int | None = None) -> list[Receiver]:
    """Return receivers by name, those with each word in name or contact; who was forgotten stands in no list."""
    asked = select(Receiver).where(Receiver.forgotten_at.is_(None)).order_by(Receiver.name, Receiver.id)
    for word in words.split()[:6]:
        asked = asked.where((Receiver.name + " " + Receiver.contact).icontains(word[:80], autoescape=True))
    return list(session.scalars(asked.offset(skip).limit(most)))
