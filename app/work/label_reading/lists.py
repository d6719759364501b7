"""What a person does with printed lists: paste one, correct it, say what is known, teach a name."""

from collections import defaultdict
from collections.abc import Callable, Collection
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.reference.label_names import LabelNames
from app.science.errors import Invalid
from app.science.formula_cost import price_for
from app.science.inference.infer import MOST_NAMES
from app.science.label_list.reading import MOST_CHARACTERS
from app.science.names import inci_key
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.formulas import FormulaRow
from app.store.label_lists import LabelList, StartedFormula, TaughtName
from app.store.materials import MaterialPart, MaterialRow, PriceRow, materials_by_id
from app.store.workshop import Jurisdiction
from app.work.action import action
from app.work.clock import now
from app.work.form import Form
from app.work.form_fields import LongText, Name, OneOf, ShortText
from app.work.label_reading.constraints import UserConstraints
from app.work.label_reading.estimate import LabelEstimate, read_text, work_out
from app.work.label_reading.observations import ObservedForm
from app.work.pricing import price_book

KILOGRAM = Decimal(1000)


class ListedNames(LongText):
    """An ingredient list with the names that were taught, which the form is given."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the text of a list that holds names, and not too many."""
        found = super().read(text, at, form)
        read_text(found, form.given or {}, at)
        return found


class ListForm(Form):
    """A printed list; given what printed names were taught to mean, by their key."""

    title = Name(
        "Title",
        "Enter a title for the list, such as the product it stands on.",
        hint="The product, in your own words.",
        width="w20",
    )
    ingredients = ListedNames(
        "Ingredient list",
        longest=MOST_CHARACTERS,
        lines=9,
        column="text",
        hint=f"As printed, in order: commas, line breaks, brackets, stars and percentages are read. Up to {MOST_NAMES} "
        f"names and {MOST_CHARACTERS:,} characters.",
    )
    product_type = ShortText("Kind of product", hint="Such as leave-on cream, shampoo, lip balm.", width="w20")
    jurisdiction = OneOf(
        "Law", Jurisdiction, "Choose EU or US.", default=Jurisdiction.EU.value, hint="Whose legal maxima count."
    )


class Meaning(Name):
    """An INCI name that is known here."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the name as the shipped tables have it."""
        typed = super().read(text, at, form)
        found = LabelNames().find(typed)
        if found is None:
            raise Invalid(at, f"{typed} is no name that is known here; choose one of the suggestions or enter another.")
        return found.inci


class TeachForm(Form):
    """What a printed name means."""

    printed = Name("Printed", "There is no name to teach.")
    meaning = Meaning(
        "Or another INCI name",
        "Enter the INCI name that it means.",
        hint="As it would stand on a label. It counts before a choice above.",
        width="w20",
    )


@dataclass(frozen=True, slots=True)
class OpenList:
    """A list with everything that follows from it, the formulas started from it, and the other lists (id, title)."""

    id: int
    typed: ListForm
    row_version: int
    sheet: LabelEstimate
    started: tuple[FormulaRow, ...]
    others: tuple[tuple[int, str], ...] = ()


def taught_names(session: Session) -> dict[str, str]:
    """Return what printed names mean here, by their key."""
    return {row.printed_key: row.inci for row in session.scalars(select(TaughtName).order_by(TaughtName.printed_key))}


@action(once="label list")
def start_list(session: Session, form: ListForm, key: str = "") -> int:
    """Keep a pasted list and give its id; the same form taken twice gives the same list.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    row = LabelList(created_at=now(), changed_at=now(), **form.checked(taught_names(session)).columns())
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
    """Return what was read, newest first, and what was taught, by name."""
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
    reading = read_text(row.text, taught_names(session))
    constraints = constraints or UserConstraints.from_json(row.known)
    prices = substance_prices(session, {name.key for name in reading.names})
    sheet = work_out(reading, constraints, row.product_type, row.jurisdiction.value, prices)
    started = session.scalars(
        select(FormulaRow)
        .join(StartedFormula, StartedFormula.formula_id == FormulaRow.id)
        .where(StartedFormula.label_list_id == list_id)
        .order_by(StartedFormula.id)
    )
    others = session.execute(
        select(LabelList.id, LabelList.title).where(LabelList.id != list_id).order_by(LabelList.changed_at.desc())
    )
    return OpenList(
        row.id, ListForm.of(row), row.row_version, sheet, tuple(started), tuple((one.id, one.title) for one in others)
    )


def revise_list(store: Store, list_id: int, form: ListForm, row_version: int) -> None:
    """Correct a list; what is known of its names stays.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it was changed since version ``row_version`` was read.
        NotFound: when there is none.
    """
    with store.transaction() as session:
        row = find_list(session, list_id)
        read = form.checked(taught_names(session))
        if row.row_version != row_version:
            raise Conflict("This list was changed in another place in the meantime.")
        for column, value in read.columns().items():
            setattr(row, column, value)
        row.changed_at = now()


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
        row.known, row.changed_at = constraints.to_json(), now()
        session.flush()
        return open_list(session, list_id)


def say_observed(store: Store, list_id: int, form: ObservedForm) -> None:
    """Note what was seen and measured of the product; empty fields are taken away.

    Raises:
        Faults: at ``observed-<field>``, with everything that cannot be read; nothing is written then.
        NotFound: when there is no such list.
    """
    observed = form.checked().text
    _change_constraints(store, list_id, lambda constraints: constraints.observing(observed))


def substance_prices(session: Session, keys: Collection[str]) -> dict[str, float]:
    """Return what a kilogram costs of each substance that the shelf has alone and priced, in the workshop's currency.

    Prices are those that the workshop reckons with, converted by the rates of their days; one of a currency without a
    rate is left out. Of several materials the cheapest counts, since the maker of the product may use that one.
    """
    parts: dict[int, list[str]] = defaultdict(list)
    with_price = select(PriceRow.material_id).where(PriceRow.material_id.is_not(None))
    stored = select(MaterialPart.material_id, MaterialPart.inci).join(MaterialRow)
    for material_id, inci in session.execute(
        stored.where(MaterialRow.retired_at.is_(None), MaterialRow.id.in_(with_price))
    ):
        parts[material_id].append(inci_key(inci))
    alone = {material_id: held[0] for material_id, held in parts.items() if len(held) == 1 and held[0] in keys}
    book, found = price_book(session), dict[str, float]()
    for material_id, material in materials_by_id(session, set(alone)).items():
        price = price_for(book.of_material(material), KILOGRAM)
        if price is not None:
            key, per_kg = alone[material_id], float(price.per_g * KILOGRAM)
            found[key] = min(per_kg, found.get(key, per_kg))
    return found


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


def teach(store: Store, form: TeachForm) -> None:
    """Note what a printed name means; used at every later reading.

    Raises:
        Faults: at ``meaning``, when it is no name that is known here.
    """
    read = form.checked()
    key = inci_key(read.printed)
    with store.transaction() as session:
        row = session.get(TaughtName, key) or TaughtName(printed_key=key)
        row.inci, row.taught_at = read.meaning, now()
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
