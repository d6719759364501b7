"""What the forms of money, stock, packing and products take at most and at least, each bound from both sides.

Beyond these a slip of the finger is likelier than a truth; a maker of small batches stays far inside.
"""

import importlib
import pkgutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from sqlalchemy.orm import Session

import app.work
from app.store.engine import Store, sqlite_url
from app.store.stock import LotState
from app.work.clock import today
from app.work.equipment import PackagingForm
from app.work.form import Faults, Form
from app.work.materials.prices import PriceForm
from app.work.packing.fills import CorrectFillForm, FillForm
from app.work.packing.packaging_lots import LotUseForm
from app.work.packing.runs import FiguresForm, RunForm
from app.work.packing.samples import LookForm, SampleForm
from app.work.packing.units_by_hand import UnitsForm
from app.work.people import SignedBy
from app.work.ph.droppers import DropsForm
from app.work.products.product_form import PackForm, ProductForm, RateForm
from app.work.stock.lots import CountForm, DecisionForm, LotForm, MoveForm, OutputForm, ReceiveForm
from app.work.stock.orders import DeliveryForm, OrderForm, OrderLineForm

MONEY = SimpleNamespace(currency="EUR", locale="en", density_g_ml=None, pieces=False)
PIECES = SimpleNamespace(currency="EUR", locale="en", density_g_ml=None, pieces=True)
DAY = today()
RIGHT: dict[type[Form], dict[str, Any]] = {
    ProductForm: {"name": "Cream"},
    PackForm: {"packaging": "1"},
    RateForm: {"currency": "USD", "rate": "0.9"},
    FiguresForm: {"who": "I", "units_filled": "10"},
    RunForm: {"who": "I"},
    FillForm: {"who": "I", "weights": "60.1 60.2", "tare": "10"},
    CorrectFillForm: {"who": "I", "grams": "60", "reason": "misread"},
    LotUseForm: {"who": "I", "code": "L1", "issued": "10"},
    SampleForm: {"who": "I", "units": "2", "place": "Shelf", "keep_until": "2028-01-01"},
    LookForm: {"who": "I", "seen": "as before"},
    UnitsForm: {"who": "I", "units": "2", "why": "fell"},
    ReceiveForm: {"by": "I", "amount": "1 kg"},
    CountForm: {"by": "I", "amount": "1 kg"},
    MoveForm: {"by": "I", "amount": "1 kg"},
    OutputForm: {"by": "I", "amount": "1 kg"},
    DecisionForm: {"by": "I", "state": "accepted"},
    OrderForm: {"supplier": "Oils & Co", "made_by": "I", "lines": (OrderLineForm("Oil", "1 kg"),)},
    DeliveryForm: {"by": "I"},
    PriceForm: {"amount": "10", "quantity": "1 kg"},
    DropsForm: {"dropper": "Pipette", "drop_count": "20", "drop_grams": "1 g"},
    LotForm: {},
    PackagingForm: {"name": "Jar"},
}


@pytest.fixture(scope="module")
def session(migrated_file: Path) -> Iterator[Session]:
    store = Store(sqlite_url(migrated_file))
    with store.reading() as session:
        yield session
    store.close()


def given_to(form: type[Form], session: Session, money: object = MONEY) -> object:
    """Return what a form is checked with: the session where somebody signs it."""
    return session if any(isinstance(field, SignedBy) for field in form.fields.values()) else money


def faults_of(form: type[Form], session: Session, money: object = MONEY, **texts: Any) -> set[str]:
    given = given_to(form, session, money)
    try:
        form(**{**RIGHT[form], **texts}).checked(given)
    except Faults as wrong:
        return set(wrong.by_field)
    return set()


@pytest.mark.parametrize("form", RIGHT, ids=lambda form: form.__name__)
def test_what_is_right_is_taken(session: Session, form: type[Form]) -> None:
    assert faults_of(form, session) == set()


def days(count: int) -> str:
    return (DAY + timedelta(days=count)).isoformat()


# form, field, what is just taken, what is just refused
BOUNDS: list[tuple[type[Form], str, list[str], list[str]]] = [
    (ProductForm, "fill", ["0.01 g", ""], ["0 g", "-1 g"]),
    (ProductForm, "price", ["0", "999999999.99", "1000000000"], ["1000000000.01", "-0.01", "1.001"]),
    (ProductForm, "tax_percent", ["0", "100", ""], ["-0.1", "100.1"]),
    (ProductForm, "minimum", ["1", "100000", ""], ["0", "100001", "1.5"]),
    (ProductForm, "reorder", ["0", "10000000", ""], ["-1", "10000001", "1.5"]),
    (ProductForm, "open_months", ["1", "240", "12M", "6 months", ""], ["0", "241", "1.5"]),
    (ProductForm, "shelf_months", ["1", "240"], ["0", "241"]),
    (ProductForm, "languages", ["en, de; pt-BR", ""], ["en, xx-yy-zz"]),
    (PackForm, "per_unit", ["0.001", "10000", ""], ["0", "0.0009", "10000.1"]),
    (PackForm, "packaging", ["1", "999999999"], ["1000000000", "one", "-1", ""]),
    (RateForm, "rate", ["0.000001", "10000000"], ["0", "0.0000009", "10000000.1", ""]),
    (FiguresForm, "units_filled", ["0", "10000000", ""], ["-1", "10000001", "1.5"]),
    (FiguresForm, "units_spoilt", ["0", "10", ""], ["11"]),
    (FiguresForm, "bulk", ["0.01 g", ""], ["0", "-1"]),
    (FiguresForm, "rest", ["0", ""], ["-0.1"]),
    (FiguresForm, "waste", ["0", ""], ["-0.1"]),
    (FillForm, "weights", ["10.1", "60.1 g 60.2;60.3\n60.4", "60 " * 500], ["", "60 " * 501, "60 x", "60 -1", "60 0"]),
    (FillForm, "tare", ["0", "60", ""], ["60.1", "60.2", "-1"]),
    (CorrectFillForm, "grams", ["0.01", ""], ["0", "-1"]),
    (LotUseForm, "issued", ["0.5", "100000000"], ["0", "", "-1", "100000001"]),
    (LotUseForm, "used", ["0", "100000000", ""], ["-1", "100000001"]),
    (LotUseForm, "spoilt", ["0", "100000000", ""], ["-1", "100000001"]),
    (LotUseForm, "returned", ["0", "10", ""], ["-1", "10.1"]),
    (SampleForm, "units", ["1"], ["0", "", "-1"]),
    (SampleForm, "keep_until", ["2028-01-01"], ["", "01.02.2028"]),
    (SampleForm, "look_months", ["", "1", "240"], ["0", "241"]),
    (LookForm, "seen", ["x" * 2000], ["", "x" * 2001]),
    (LookForm, "units_used", ["", "0"], ["-1"]),
    (UnitsForm, "why", ["x"], ["", " "]),
    (ReceiveForm, "amount", ["0.000001", "1000 kg"], ["0", "", "-1", "1e13 g", "1 mL"]),
    (ReceiveForm, "paid", ["0", "", "10 EUR", "1.000001"], ["-1", "1.0000001", "1000000001"]),
    (ReceiveForm, "expires_on", [days(0), days(1), ""], [days(-1)]),
    (ReceiveForm, "received_on", ["1900-01-01"], ["1899-12-31", "yesterday"]),
    (ReceiveForm, "code", ["x" * 60], ["x" * 61]),
    (ReceiveForm, "supplier_lot", ["x" * 120], ["x" * 121]),
    (LotForm, "place", ["x" * 120], ["x" * 121]),
    (CountForm, "amount", ["0", "1000 kg"], ["-1", ""]),
    (MoveForm, "amount", ["0.1"], ["0", "-1"]),
    (OutputForm, "amount", ["0.1"], ["0", "-1"]),
    (DecisionForm, "state", ["accepted"], ["perhaps"]),
    (OrderForm, "expected_on", [days(0), days(1), ""], [days(-1)]),
    (PriceForm, "amount", ["0", "1000000000", "1.234567"], ["-1", "1000000001", "1.2345678", ""]),
    (PriceForm, "quantity", ["0.1 g"], ["0 g", "-1 g", "1 mL"]),
    (DropsForm, "drop_grams", ["0.2 g", "1 g"], ["0.0009 g", "1001 g", "0.01 g", "40 g"]),
]


@pytest.mark.parametrize(("form", "field", "right", "wrong"), BOUNDS, ids=lambda v: getattr(v, "__name__", None))
def test_a_field_takes_what_lies_within_its_bounds(
    session: Session, form: type[Form], field: str, right: list, wrong: list
) -> None:
    for texts, expected in ((right, set()), (wrong, {field})):
        found = {text[:20]: faults_of(form, session, **{field: text}) for text in texts}
        assert found == dict.fromkeys(found, expected)


def test_pieces_are_counted_and_not_weighed(session: Session) -> None:
    for text in ("100000000", "12 pieces", "12 pcs", "0.5"):
        assert faults_of(ReceiveForm, session, PIECES, amount=text) == set(), text
        assert faults_of(PriceForm, session, PIECES, quantity=text) == set(), text
    for text in ("100000001", "1 kg", "0"):
        assert faults_of(ReceiveForm, session, PIECES, amount=text) == {"amount"}, text
        assert faults_of(PriceForm, session, PIECES, quantity=text) == {"quantity"}, text
    assert faults_of(PriceForm, session, PIECES, quantity="0.0009") == {"quantity"}


def test_rejecting_or_putting_back_needs_a_reason_and_an_order_needs_a_line(session: Session) -> None:
    for state in ("rejected", "quarantine"):
        word = next(one.value for one in LotState if state in (one.shown, one.value))
        assert faults_of(DecisionForm, session, state=word) == {"why"}
        assert faults_of(DecisionForm, session, state=word, why="smells") == set()
    assert faults_of(OrderForm, session, lines=()) == {"line-0-item"}
    many = tuple(OrderLineForm("Oil", "1 kg") for _ in range(201))
    assert faults_of(OrderForm, session, lines=many[:200]) == set()
    assert faults_of(OrderForm, session, lines=many) == {"lines"}
    packs = tuple(PackForm(packaging="1") for _ in range(13))
    assert faults_of(ProductForm, session, packaging=packs[:12]) == set()
    assert faults_of(ProductForm, session, packaging=packs) == {"packaging"}


def forms_of_the_store() -> Iterator[type[Form]]:
    for module in pkgutil.walk_packages(app.work.__path__, "app.work."):
        importlib.import_module(module.name)
    waiting = list(Form.__subclasses__())
    while waiting:
        form = waiting.pop()
        waiting += form.__subclasses__()
        if form.__module__.startswith(("app.work.stock", "app.work.packing")):
            yield form


SIGNED = ("who", "by", "made_by")
FIVE_HUNDRED = [
    (DecisionForm, "why"),
    (MoveForm, "why"),
    (CountForm, "why"),
    (UnitsForm, "why"),
    (RunForm, "early_why"),
    (LotUseForm, "reason"),
    (CorrectFillForm, "reason"),
    (SampleForm, "notes"),
    (PriceForm, "note"),
]


def test_a_name_is_signed_with_80_letters_at_most(session: Session) -> None:
    seen = 0
    for form in forms_of_the_store():
        for name in set(SIGNED) & set(form.fields):
            seen += 1
            assert name not in {fault.field for fault in typed(form, session, name, 80).faults()}, form
            assert name in {fault.field for fault in typed(form, session, name, 81).faults()}, form
    assert seen > 15


@pytest.mark.parametrize(("form", "name"), FIVE_HUNDRED)
def test_a_reason_has_500_letters_at_most(session: Session, form: type[Form], name: str) -> None:
    assert name not in {fault.field for fault in typed(form, session, name, 500).faults()}
    assert name in {fault.field for fault in typed(form, session, name, 501).faults()}


def typed(form: type[Form], session: Session, name: str, letters: int) -> Form:
    made = form(**{name: "x" * letters})
    made.given = given_to(form, session)
    return made
