"""The page of one material's or packaging's lots, with the forms of a delivery and, for packaging, of a price."""

from collections.abc import Mapping

from flask import render_template

from app.store.materials import MaterialRow
from app.web import context
from app.work.clock import today
from app.work.form import Form
from app.work.materials.prices import PriceForm
from app.work.stock import listing, lots, suppliers


def things(kind: str, thing_id: int) -> dict[str, int | None]:
    """Return the names under which actions are told what is meant."""
    return {
        "material_id": thing_id if kind == "material" else None,
        "packaging_id": thing_id if kind == "packaging" else None,
    }


def of_thing_page(
    kind: str,
    thing_id: int,
    form: Form,
    faults: Mapping[str, str],
    price_form: Form | None = None,
    price_faults: Mapping[str, str] | None = None,
) -> str:
    """Return the page of a material's or packaging's lots, with the forms as they were typed."""
    with context.store().reading() as session:
        thing = lots.material_or_packaging(session, **things(kind, thing_id))
        found = (
            listing.lots_of(session, material_ids=[thing_id], empty=True)
            if isinstance(thing, MaterialRow)
            else listing.lots_of(session, packaging_id=thing_id, empty=True)
        )
        row = listing.stock_row(session, thing)
        names = [one.name for one in suppliers.all_suppliers(session) if one.retired_at is None]
    return render_template(
        "stock/thing.html",
        kind=kind,
        thing=thing,
        lots=[lot for lot in found if lot.on_hand > 0],
        empty=[lot for lot in found if lot.on_hand <= 0],
        row=row,
        form=form,
        faults=faults,
        price_form=price_form or PriceForm(),
        price_faults=price_faults or {},
        suppliers=names,
        today=today(),
    )
