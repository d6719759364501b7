"""What a person does with printed lists: paste one, correct it, say what is known, teach a name."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.reference.label_names import LabelNames
from app.science.label_list.reading import MOST_CHARACTERS
from app.science.names import inci_key
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.formulas import Formula
from app.store.label_lists import LabelList, StartedFormula, TaughtName
from app.store.materials import live_materials, newest_price
from app.store.workshop import Jurisdiction
from app.work.action import action
from app.work.clock import now
from app.work.field_reading import FieldReader, clean_text, one_line, required_line
from app.work.label_reading.constraints import UserConstraints, parse_known
from app.work.label_reading.estimate import LabelEstimate, read_text, work_out
from app.work.label_reading.observing import check_observed

LONGEST_TYPE = 200


@dataclass(frozen=True, slots=True)
class TypedList:
    """The form of a list, as typed."""

    title: str = ""
    text: str = ""
    product_type: str = ""
    jurisdiction: str = "EU"


@dataclass(frozen=True, slots=True)
class OpenList:
    """A list with everything that follows from it, the formulas started from it, and the other lists (id, title)."""

    id: int
    typed: TypedList
    row_version: int
    sheet: LabelEstimate
    started: tuple[Formula, ...]
    others: tuple[tuple[int, str], ...] = ()


def _write(row: LabelList, typed: TypedList, taught: dict[str, str]) -> None:
    """Check a form and write it into its row; nothing is written when something is wrong."""
    reader = FieldReader()
    title = (
        reader.read(required_line, typed.title, "title", "Give the list a title, such as the product it stands on.")
        or ""
    )
    text = reader.read(clean_text, typed.text, "text", longest=MOST_CHARACTERS)
    kind = reader.read(one_line, typed.product_type, "product_type", longest=LONGEST_TYPE) or ""
    if text is not None:
        reader.read(read_text, text, taught)
    if typed.jurisdiction not in set(Jurisdiction):
        reader.refuse("jurisdiction", "Choose EU or US.")
    reader.finish()
    row.title, row.text, row.product_type = title, text or "", kind
    row.jurisdiction, row.changed_at = Jurisdiction(typed.jurisdiction), now()


def taught_names(session: Session) -> dict[str, str]:
    """Return what printed names mean here, by their key."""
    return {row.printed_key: row.inci for row in session.scalars(select(TaughtName).order_by(TaughtName.printed_key))}


@action(once="label list")
def start_list(session: Session, typed: TypedList, key: str = "") -> int:
    """Keep a pasted list and give its id; the same form taken twice gives the same list.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    row = LabelList(created_at=now())
    _write(row, typed, taught_names(session))
    session.add(row)
    session.flush()
    return row.id


def find_list(session: Session, list_id: int) -> LabelList:
    """Read a list.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(LabelList, list_id)
    if found is None:
        raise NotFound("There is no such list.")
    return found


def all_lists(store: Store) -> tuple[list[LabelList], list[TaughtName]]:
    """List what was read, newest first, and what was taught, by name."""
    with store.reading() as session:
        lists = session.scalars(select(LabelList).order_by(LabelList.changed_at.desc(), LabelList.id.desc()))
        return list(lists), list(session.scalars(select(TaughtName).order_by(TaughtName.printed_key)))


def open_list(session: Session, list_id: int, constraints: UserConstraints | None = None) -> OpenList:
    """Read a list and work it out, with what is stored of it or with ``constraints`` in its place.

    Raises:
        NotFound: when there is none.
        Invalid: when what is stored cannot be read any more.
    """
    row = find_list(session, list_id)
    typed = TypedList(row.title, row.text, row.product_type, row.jurisdiction.value)
    reading = read_text(row.text, taught_names(session))
    constraints = constraints or UserConstraints.from_json(row.known)
    prices = substance_prices(session) if constraints.observed.get("price") else {}
    sheet = work_out(reading, constraints, typed.product_type, typed.jurisdiction, prices)
    started = tuple(_started(session, list_id))
    return OpenList(row.id, typed, row.row_version, sheet, started, tuple(_others(session, list_id)))


def _others(session: Session, list_id: int) -> Iterator[tuple[int, str]]:
    query = select(LabelList.id, LabelList.title).where(LabelList.id != list_id).order_by(LabelList.changed_at.desc())
    return ((number, title) for number, title in session.execute(query))


def _started(session: Session, list_id: int) -> Sequence[Formula]:
    query = select(Formula).join(StartedFormula, StartedFormula.formula_id == Formula.id)
    return session.scalars(query.where(StartedFormula.label_list_id == list_id).order_by(StartedFormula.id)).all()


def revise_list(store: Store, list_id: int, typed: TypedList, row_version: int) -> None:
    """Correct a list; what is known of its names stays.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it was changed since version ``row_version`` was read.
        NotFound: when there is none.
    """
    with store.transaction() as session:
        row = find_list(session, list_id)
        if row.row_version != row_version:
            _write(LabelList(), typed, taught_names(session))
            raise Conflict("This list was changed in another place in the meantime.")
        _write(row, typed, taught_names(session))


def delete_list(store: Store, list_id: int) -> str:
    """Delete a list and give its title; formulas that were started from it stay.

    Raises:
        NotFound: when there is none.
    """
    with store.transaction() as session:
        row = find_list(session, list_id)
        session.delete(row)
        return row.title


def say_known(store: Store, list_id: int, values: dict[str, str]) -> OpenList:
    """Change what is known of some names, by their keys; an empty text frees a name.

    Raises:
        Faults: at ``value-<place>``, with every value that cannot be read; nothing is written then.
        NotFound: when there is no such list.
    """
    with store.transaction() as session:
        row = find_list(session, list_id)
        there = read_text(row.text, taught_names(session))
        constraints = UserConstraints.from_json(row.known).changed(
            {n.key: values[n.key] for n in there.names if n.key in values}
        )
        _check_all(row, constraints, session)
        row.known, row.changed_at = constraints.to_json(), now()
        session.flush()
        return open_list(session, list_id)


def say_observed(store: Store, list_id: int, observed: dict[str, str]) -> None:
    """Note what was seen and measured of the product; empty fields are taken away.

    Raises:
        Faults: at ``observed-<field>``, with everything that cannot be read; nothing is written then.
        NotFound: when there is no such list.
    """
    reader = FieldReader()
    for field, message in check_observed(observed):
        reader.refuse(field, message)
    reader.finish()
    _change_constraints(store, list_id, lambda constraints: constraints.observing(observed))


def substance_prices(session: Session) -> dict[str, float]:
    """Return the price of a kilogram by the key of each substance that the shelf has alone and priced."""
    found: dict[str, float] = {}
    for material in live_materials(session):
        price = newest_price(material.prices)
        if price is not None and len(material.parts) == 1 and price.quantity_g > 0:
            found[inci_key(material.parts[0].inci)] = float(price.amount / price.quantity_g) * 1000
    return found


def _check_all(row: LabelList, constraints: UserConstraints, session: Session) -> None:
    reader = FieldReader()
    for place, read in enumerate(read_text(row.text, taught_names(session)).names):
        if constraints.values.get(read.key):
            reader.read(parse_known, constraints.values[read.key], f"value-{place}")
    reader.finish()


def give_up(store: Store, list_id: int, kind: str, key: str) -> None:
    """Return up one statement of a list: a value the maker said, or a rule.

    Raises:
        NotFound: when there is no such list.
    """
    with store.reading() as session:
        there = open_list(session, list_id).sheet
    if key in {name.key for name in there.names}:
        _change_constraints(store, list_id, lambda constraints: constraints.without(kind, key))


def take_back(store: Store, list_id: int, kind: str, key: str) -> None:
    """Let a rule hold again that was set aside.

    Raises:
        NotFound: when there is no such list.
    """
    _change_constraints(store, list_id, lambda constraints: constraints.again(kind, key))


def free_all(store: Store, list_id: int) -> None:
    """Forget everything that was said of a list.

    Raises:
        NotFound: when there is no such list.
    """
    _change_constraints(store, list_id, lambda _told: UserConstraints())


def _change_constraints(store: Store, list_id: int, change: Callable[[UserConstraints], UserConstraints]) -> None:
    with store.transaction() as session:
        row = find_list(session, list_id)
        row.known, row.changed_at = change(UserConstraints.from_json(row.known)).to_json(), now()


def teach(store: Store, printed: str, meaning: str) -> None:
    """Note what a printed name means; used at every later reading.

    Raises:
        Faults: at ``meaning``, when it is no name that is known here.
    """
    reader = FieldReader()
    text = reader.read(required_line, meaning, "meaning", "Write the INCI name that it means.")
    key = inci_key(reader.read(required_line, printed, "printed", "There is no name to teach.") or "")
    known = LabelNames().find(text) if text else None
    if text and known is None:
        reader.refuse(
            "meaning", f"{text} is no name that is known here; choose one of the suggestions or write another."
        )
    reader.finish()
    with store.transaction() as session:
        row = session.get(TaughtName, key) or TaughtName(printed_key=key)
        row.inci, row.taught_at = known.inci if known else "", now()
        session.add(row)


def forget(store: Store, printed_key: str) -> None:
    """Take back what a printed name was taught to mean.

    Raises:
        NotFound: when it was not taught.
    """
    with store.transaction() as session:
        row = session.get(TaughtName, printed_key)
        if row is None:
            raise NotFound("That name was not taught.")
        session.delete(row)
