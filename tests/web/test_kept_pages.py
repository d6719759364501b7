"""Every page and paper of a version, of a planned batch and of a released one, before and after all else changed."""

import re
from datetime import date
from decimal import Decimal

from flask.testing import FlaskClient
from sqlalchemy import select, text

from app.store.engine import Store
from app.store.materials import MaterialRow, PackagingRow, PriceKind, PriceRow
from app.store.products import Product
from app.store.workshop import CostBy, Jurisdiction, ScaleRow, Workshop
from app.work.clock import now
from app.work.ph.entries import PhReadingForm, SessionRef, add_reading
from app.work.ph.sessions import SessionForm, end_session, look_at_session, start_session

FORMULA, VERSION, RELEASED, PLANNED = 2, 2, 2, 5
EARLIER, LATER = date(2026, 10, 1), date(2099, 1, 1)
PAPERS = ("batch-sheet", "cost-sheet", "declaration", "recipe", "checks", "checks-sheet")
PAGES = (
    f"/formulas/{FORMULA}/versions/1",
    f"/formulas/{FORMULA}/compare?left=1&right=1&every=1",
    *(f"/formulas/{FORMULA}/{paper}?version={VERSION}" for paper in PAPERS),
    f"/formulas/{FORMULA}/declaration?version={VERSION}&jurisdiction=US",
    *(f"/batches/{batch}{page}" for batch in (RELEASED, PLANNED) for page in ("", "/sheet", "/record")),
    f"/packing/costs/{RELEASED}",
    "/packing/1/record",  # of that batch, and closed
    "/packing/1",
    "/trace/sent",
    f"/batches/{PLANNED}/ph",
)
# The keys of forms, and what is offered to choose from (so are pots and what the shelf holds), are of the moment.
OF_THE_MOMENT = re.compile(r'<option.*?</option>|name="(form_)?key" value="[^"]*"', re.DOTALL)
SETTINGS = {
    "currency": "JPY", "jurisdiction": Jurisdiction.US, "cost_by": CostBy.AVERAGE, "start_up": "Another list",
    "clear_before": "Nothing", "clear_after": "Nothing", "batch_number_pattern": "{year}-{count}",
    "labour_rate": Decimal(99), "overhead_percent": Decimal(77), "tax_percent": Decimal(1), "loss_percent": Decimal(15),
    "tight_percent": Decimal(9), "band_percent": Decimal(9), "yield_low_percent": Decimal(99),
    "yield_high_percent": Decimal(100), "bulk_low_percent": Decimal(100), "bulk_high_percent": Decimal(100),
}  # fmt: skip


def change_everything(store: Store) -> None:
    """Change every setting, scale, price, density, composition, name, range, caution, function and product name."""
    with store.transaction() as session:
        for name, value in SETTINGS.items():
            setattr(session.get_one(Workshop, 1), name, value)
        session.execute(text("DELETE FROM scale"))
        session.add(ScaleRow(name="Only one", readability_g=Decimal(10), capacity_g=Decimal(20000)))
        for piece in session.scalars(select(PackagingRow)):
            piece.units_per_pack = Decimal(7)
            if piece.prices:  # what never had one takes the first there is
                piece.prices += [price(Decimal(70)), price(Decimal(71), EARLIER)]
        for product in session.scalars(select(Product)):
            product.name = f"Other product {product.id}"
        for material in session.scalars(select(MaterialRow)):
            material.name, material.name_key = f"Other {material.id}", f"OTHER {material.id}"
            material.density_g_ml, material.use_low, material.use_high = Decimal("1.7"), Decimal(0), Decimal("0.01")
            material.cautions, material.functions, material.certificate = "Beware.", "colour", ""
            material.retired_at = now()
            if material.prices:
                material.prices += [price(Decimal(91)), price(Decimal(92), EARLIER)]
            for part in material.parts:
                part.inci, part.percent = "Talc", Decimal(7)


def price(amount: Decimal, day: date = LATER) -> PriceRow:
    kilogram = {"quantity_text": "1 kg", "quantity_g": Decimal(1000)}
    return PriceRow(kind=PriceKind.PAID, amount=amount, **kilogram, priced_on=day, noted_at=now())


def read(client: FlaskClient, path: str) -> list[str]:
    """Return the lines of a page without what is of the moment."""
    page = client.get(path)
    assert page.status_code == 200, path
    main = page.text.split("<main", 1)[1].split("</main>")[0]
    return re.sub(r">\s*<", ">\n<", OF_THE_MOMENT.sub("", main)).splitlines()


def with_a_ph_session(store: Store) -> None:
    """Adjust the pH of the planned batch at the bench: one reading, and the end."""
    with store.reading() as session:
        acid = session.scalars(select(MaterialRow.id).where(MaterialRow.name == "Lactic acid 88 %")).one()
    record = start_session(store, PLANNED, SessionForm(str(acid), "5.2", "491", "Ines"))
    add_reading(store, SessionRef(PLANNED, record, 1), PhReadingForm("7.0", "meter", who="Ines"))
    running = look_at_session(store, PLANNED).running
    assert running is not None
    end_session(store, PLANNED, record, running.record.row_version, who="Ines")


def test_whatever_changes_in_the_workshop_the_pages_of_what_is_kept_stay_letter_for_letter(
    demo_client: FlaskClient, demo: Store
) -> None:
    with_a_ph_session(demo)
    before = {path: read(demo_client, path) for path in PAGES}
    change_everything(demo)
    for path in PAGES:
        assert read(demo_client, path) == before[path], path
