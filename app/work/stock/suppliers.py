"""Suppliers: the list kept by a form, and finding one by the name that was typed."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.store.stock import Supplier
from app.work.equipment import Register
from app.work.form import Form
from app.work.form_fields import LongText, MaybeNumber, Name, ShortText


class SupplierForm(Form):
    """A supplier."""

    name = Name("Name", "Enter a name for the supplier.", width="w20")
    contact = ShortText("Contact", hint="A person, a telephone number or an e-mail address.", width="w20")
    delivery_days = MaybeNumber("Usual delivery, days", high=3650, hint="From the order to the door.")
    address = LongText("Address")
    notes = LongText("Notes", lines=2)


def all_suppliers(session: Session) -> list[Supplier]:
    """Return every supplier, those not retired first, by name."""
    return list(session.scalars(select(Supplier).order_by(Supplier.retired_at.is_not(None), func.lower(Supplier.name))))


SUPPLIERS = Register(Supplier, SupplierForm, all_suppliers)


def supplier_named(session: Session, name: str) -> Supplier | None:
    """Return the supplier of a name, in any case, made now when there is none; None for an empty name."""
    wanted = " ".join(name.split())
    if not wanted:
        return None
    found = session.scalar(select(Supplier).where(func.lower(Supplier.name) == wanted.lower()).limit(1))
    if found is None:
        found = Supplier(name=wanted)
        session.add(found)
        session.flush()
    return found
