"""What stands in the workshop besides materials: its scales and its packaging, each a list that is kept by a form."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Generic, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import plain
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.labels import LabelSheet
from app.store.material_queries import every_packaging
from app.store.materials import PackagingRow, PriceKind, PriceRow
from app.store.stock import Supplier
from app.store.workshop import ScaleRow, Vessel, scales, the_workshop, vessels
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults, Form, rule
from app.work.form_fields import Grams, LongText, MaybeGrams, MaybeMoney, MaybeNumber, Name, Number, ShortText

Row = TypeVar("Row", ScaleRow, Vessel, PackagingRow, Supplier, LabelSheet)


class ScaleForm(Form):
    """A scale; amounts without a unit are grams."""

    name = Name("Name", "Enter a name for the scale, such as Bench scale.")
    readability = Grams(
        "Smallest step it shows",
        "Enter the smallest step it shows, such as 0.1 g.",
        column="readability_g",
        hint="Grams, or with a unit.",
    )
    capacity = Grams(
        "Largest load",
        "Enter the largest load, such as 2 kg.",
        column="capacity_g",
        hint="Grams, or with a unit such as 2 kg.",
    )
    vessel = MaybeGrams(
        "Weight of the usual vessel",
        column="vessel_g",
        low=Decimal(0),
        hint="The beaker or pot that stands on it; the load left for a material is less by that.",
    )

    @rule
    def capacity_holds_a_step(self) -> None:
        """Refuse a largest load below the smallest step."""
        if self.capacity < self.readability:
            raise Invalid("capacity", f"The largest load is below the smallest step, {plain(self.readability)} g.")

    @rule
    def capacity_holds_the_vessel(self) -> None:
        """Refuse a vessel that leaves nothing to weigh into it."""
        if self.vessel is not None and self.vessel >= self.capacity:
            raise Invalid("vessel", f"With this vessel nothing can be weighed: it holds {plain(self.capacity)} g.")


class VesselForm(Form):
    """A pot or beaker; a weight without a unit is grams."""

    name = Name("Name", "Enter a name for the vessel, such as Pot 3 l.")
    tare = Grams("Weight empty", "Enter what it weighs empty, such as 850 g.", column="tare_g", hint="Grams, or kg.")
    holds = MaybeNumber("Holds, ml", column="holds_ml", high=10**7, hint="Leave empty when not known.")


class NewPrice(MaybeMoney):
    """A price to be noted beside those there are; so a stored piece shows none in this field."""

    def stored(self, row: Any) -> str:
        """Return nothing: earlier prices stay as they are."""
        return ""


class PackagingForm(Form):
    """A piece of packaging; a price that is given is noted with today's date beside the earlier ones."""

    name = Name("Name", "Enter a name for the packaging, such as Jar 60 ml with lid.", width="w20")
    units_per_pack = Number("Pieces in a pack", low=Decimal("0.001"), high=10**6, default="1")
    price = NewPrice("Price of a pack", hint="Noted as paid today; leave empty when not known.", width="w8")
    supplier = ShortText("Supplier")
    reorder = MaybeNumber("Order when below, pieces", high=10**9, hint="Leave empty for none.")
    notes = LongText("Notes", lines=2)


@dataclass(frozen=True)
class Register(Generic[Row]):
    """A list of rows with a name of their own, each kept by one form."""

    row: type[Row]
    form: type[Form]
    rows: Callable[[Session], Sequence[Row]]

    def list(self, store: Store) -> Sequence[Row]:
        """Return the rows in the order they are shown."""
        with store.reading() as session:
            return self.rows(session)

    def load(self, store: Store, row_id: int) -> Row:
        """Return one row.

        Raises:
            NotFound: when there is none.
        """
        with store.reading() as session:
            return self._get(session, row_id)

    def add(self, store: Store, typed: Form, key: str = "") -> None:
        """Add a row; the same form sent twice adds it once.

        Raises:
            Faults: with everything that is wrong, each at its field.
        """
        _add_row(store, self, typed, key=key)

    def revise(self, store: Store, row_id: int, typed: Form, seen: str) -> None:
        """Change a row; ``seen`` is the fingerprint of its form as it was read.

        Raises:
            Faults: with everything that is wrong, each at its field.
            Conflict: when it changed since it was read.
            NotFound: when there is no such row.
        """
        with store.transaction() as session:
            row = self._get(session, row_id)
            words = f"{row.name} was changed in the meantime."
            typed.refuse_overtaken(self.form.of(row), seen, words, given=the_workshop(session))
            self._write(session, row, typed)

    def remove(self, store: Store, row_id: int) -> str:
        """Take a row off the list and return its name, which what was done with it keeps.

        Raises:
            NotFound: when there is no such row.
        """
        with store.transaction() as session:
            row = self._get(session, row_id)
            session.delete(row)
            return row.name

    def retire(self, store: Store, row_id: int, *, back: bool = False) -> str:
        """Take a row out of the choices, or put it back, and return its name; what names it keeps it.

        Raises:
            NotFound: when there is no such row.
        """
        with store.transaction() as session:
            row: Any = self._get(session, row_id)
            row.retired_at = None if back else row.retired_at or now()
            return str(row.name)

    def _get(self, session: Session, row_id: int) -> Row:
        row = session.get(self.row, row_id)
        if row is None:
            raise NotFound("There is no such entry in the workshop.")
        return row

    def _write(self, session: Session, row: Row, typed: Form) -> None:
        values = self._columns(typed.checked(the_workshop(session)))
        name, kind = values["name"], self.row
        if session.scalar(select(kind.id).where(kind.name == name, kind.id != (row.id or 0))) is not None:
            raise Faults([Invalid("name", f"There is already one named {name}; give this one another name.")])
        for column, value in values.items():
            setattr(row, column, value)

    def _columns(self, form: Form) -> dict[str, Any]:
        """Return what a checked form writes into its row."""
        return form.columns()


class PackagingRegister(Register[PackagingRow]):
    """The list of packaging; a price in its form becomes a dated price of the pack."""

    def _write(self, session: Session, row: PackagingRow, typed: Form) -> None:
        super()._write(session, row, typed)
        note_pack_price(session, row, typed.checked(the_workshop(session)).value_of(PackagingForm.price))

    def _columns(self, form: Form) -> dict[str, Any]:
        return {name: value for name, value in form.columns().items() if name != "price"}


def note_pack_price(session: Session, piece: PackagingRow, price: Decimal | None) -> None:
    """Add what a pack cost today, in the workshop's currency, unless it is not known or noted already."""
    pack, day = piece.units_per_pack, today()
    if price is not None and (price, pack, day) not in {(p.amount, p.quantity_g, p.priced_on) for p in piece.prices}:
        piece.prices.append(
            PriceRow(
                kind=PriceKind.PAID,
                amount=price,
                currency=the_workshop(session).currency,
                quantity_text=f"{plain(pack)} pieces",
                quantity_g=pack,
                priced_on=day,
                supplier=piece.supplier,
                note="",
                noted_at=now(),
            )
        )


@action(once="{register.row.__tablename__}")
def _add_row(session: Session, register: Register[Any], typed: Form, *, key: str) -> None:
    row = register.row()
    register._write(session, row, typed)
    session.add(row)


SCALES = Register(ScaleRow, ScaleForm, scales)
VESSELS = Register(Vessel, VesselForm, vessels)
PACKAGING = PackagingRegister(PackagingRow, PackagingForm, every_packaging)
