"""A kept version is a value: nothing that is changed afterwards changes a figure of it or of a batch of it."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select, text

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.formulas import FormulaVersion
from app.store.materials import Material, Packaging, Price, PriceKind
from app.store.workshop import Scale, Workshop
from app.web import create_app
from app.work.batches.planning import Plan, plan_batch
from app.work.batches.sheets import sheet_of_batch
from app.work.formulas import declaring, resolve
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import SaveOrigin, create, open_draft, save_draft
from app.work.formulas.versions import keep_version, read_version
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.papers import PaperRequest, batch_sheet_of, cost_sheet_of, declaration_of

FORMULA = 2
KEPT = {"batch_sheet": batch_sheet_of, "cost_sheet": cost_sheet_of, "declaration": declaration_of}
amounts = st.decimals("0.01", 90, places=2)


def everything(store: Store, version_id: int, batch_id: int) -> dict[str, Any]:
    """Give every figure of a version and of a batch of it; what the checks find is of today and left out."""
    asked = PaperRequest(FORMULA, version_id)
    with store.reading() as session:
        found: dict[str, Any] = {name: make(session, asked) for name, make in KEPT.items()}
        found["version"] = read_version(session, version_id)
        found["batch"] = sheet_of_batch(session, batch_id)["sheet"]
    found["batch_sheet"] = (found["batch_sheet"].weighing, found["batch_sheet"].formula)
    found["batch"] = (found["batch"].weighing, found["batch"].formula)
    return found


changes = st.one_of(
    st.tuples(st.sampled_from(["loss_percent", "labour_rate", "overhead_percent", "tax_percent"]), amounts),
    st.tuples(st.just("currency"), st.sampled_from(["USD", "JPY", "GBP"])),
    st.tuples(st.just("scale"), st.sampled_from(["0.001", "0.5", "10"])),
    st.tuples(st.sampled_from(["price", "offer", "packaging", "density", "composition", "name", "vessel"]), amounts),
)


def change(store: Store, what: str, value: Any) -> None:
    """Change one thing of the workshop, its shelf or its equipment."""
    with store.transaction() as session:
        if what in ("loss_percent", "labour_rate", "overhead_percent", "tax_percent", "currency"):
            setattr(session.get_one(Workshop, 1), what, value)
        elif what == "scale":
            session.execute(text("DELETE FROM scale"))
            session.add(Scale(name="Only one", readability_g=Decimal(value), capacity_g=Decimal(20000)))
        elif what == "vessel":
            for scale in session.scalars(select(Scale)):
                scale.vessel_g = value
        elif what == "packaging":
            for piece in session.scalars(select(Packaging)):
                piece.price = value
        else:
            for material in session.scalars(select(Material)):
                _change_material(material, what, value)


def _change_material(material: Material, what: str, value: Decimal) -> None:
    if what in ("price", "offer"):
        kind = PriceKind.PAID if what == "price" else PriceKind.OFFERED
        day = date(2026, 11, 1)
        material.prices.append(
            Price(kind=kind, amount=value, quantity_text="1 kg", quantity_g=Decimal(1000), priced_on=day)
        )
    elif what == "density":
        material.density_g_ml = 1 + value / 100
    elif what == "composition":
        material.parts[0].percent = value
    else:
        material.name = f"{material.name} {value}"
        material.name_key = material.name.upper()


@pytest.fixture
def planned(demo: Store) -> tuple[Store, int, int]:
    """Give the demonstration with a version of its hand cream and a batch planned from that."""
    asked = select(FormulaVersion.id).where(FormulaVersion.formula_id == FORMULA)
    with demo.reading() as session:
        version_id = session.scalars(asked).one()
    return demo, version_id, plan_batch(demo, Plan(FORMULA, version_id, "700 g", planned_on="2026-11-30"))


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(changes, min_size=1, max_size=4))
def test_no_change_of_the_workshop_changes_a_figure_of_a_version_or_of_its_batch(
    planned: tuple[Store, int, int], found: list[tuple[str, Any]]
) -> None:
    store, version_id, batch_id = planned
    before = everything(store, version_id, batch_id)
    for what, value in found:
        change(store, what, value)
    assert everything(store, version_id, batch_id) == before


def test_the_pages_of_a_version_and_of_its_batch_stay_letter_for_letter(planned: tuple[Store, int, int]) -> None:
    store, version_id, batch_id = planned
    client = create_app(store, secret="x" * 32).test_client()
    paths = [f"/formulas/{FORMULA}/{paper}?version={version_id}" for paper in ("batch-sheet", "cost-sheet")]
    paths += [f"/formulas/{FORMULA}/declaration?version={version_id}", f"/batches/{batch_id}/sheet"]
    before = [paper_of(client, path) for path in paths]
    for what, value in (("loss_percent", Decimal(15)), ("currency", "USD"), ("scale", "10"), ("price", Decimal(80))):
        change(store, what, value)
    change(store, "composition", Decimal(1))
    assert [paper_of(client, path) for path in paths] == before


def paper_of(client: FlaskClient, path: str) -> str:
    """Give the paper on a page, without what the checks of today found."""
    page = client.get(path)
    assert page.status_code == 200
    lines = page.text.split('<div class="paper">')[1].split("<footer")[0].splitlines()
    return "\n".join(line for line in lines if "finding-open" not in line and "Found by the checks" not in line)


def test_neither_another_parser_nor_another_table_of_names_changes_a_version(
    planned: tuple[Store, int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    store, version_id, batch_id = planned
    before = everything(store, version_id, batch_id)

    def stricter(*_args: Any, **_more: Any) -> Any:
        raise Invalid("", "No number is good enough any more.")

    for name in ("parse_number", "parse_quantity", "read_batch_size", "to_grams"):
        monkeypatch.setattr(resolve, name, stricter)
    monkeypatch.setattr(declaring, "declare", stricter)
    monkeypatch.setattr(declaring, "name_book", stricter)
    assert everything(store, version_id, batch_id) == before


def test_a_version_kept_after_the_loss_changed_is_another_one_and_after_a_price_changed_the_same(
    planned: tuple[Store, int, int],
) -> None:
    store, *_ = planned
    change(store, "price", Decimal(77))
    with pytest.raises(Invalid, match="Nothing changed since version 1"):
        keep_version(store, FORMULA, "", "")
    change(store, "loss_percent", Decimal(9))
    again = keep_version(store, FORMULA, "other loss", "")
    with store.reading() as session:
        assert (read_version(session, again).loss_percent, read_version(session, again).version_number) == (9, 2)


def test_a_version_outlives_what_its_draft_becomes(planned: tuple[Store, int, int]) -> None:
    store, version_id, batch_id = planned
    before = everything(store, version_id, batch_id)
    with store.reading() as session:
        there = open_draft(session, FORMULA)
    save_draft(store, FORMULA, Draft(name="Nothing left", code=there.code), SaveOrigin(there.row_version, "one"))
    assert everything(store, version_id, batch_id) == before


@pytest.mark.parametrize(("loss", "batch"), [("15", "500 g"), ("0", "500 g")])
def test_a_version_by_amounts_prints_whatever_the_usual_loss_becomes(store: Store, loss: str, batch: str) -> None:
    """540 g and a line to 100 in 500 g fit with 15 % loss only; the sheet of the planned batch prints all the same."""
    for name in ("Water", "Glycerin"):
        add_material(store, MaterialForm(name=name, parts=(PartForm(name, "100"),)))
    change(store, "loss_percent", Decimal(15))
    lines = (DraftLine("w", "p", "Water", qs=True), DraftLine("g", "p", "Glycerin", None, "540 g"))
    content = Draft(phases=(DraftPhase("p"),), lines=lines, basis="amounts", batch=batch, fill="")
    version_id = keep_version(store, create(store, "Dense", content=content), "", "")
    batch_id = plan_batch(store, Plan(1, version_id, batch, planned_on="2026-11-30"))
    change(store, "loss_percent", Decimal(loss))
    with store.reading() as session:
        assert read_version(session, version_id).loss_percent == 15
        assert sheet_of_batch(session, batch_id)["sheet"].weighed_g == Decimal("588.24")
