"""One formula worked by hand, compared number by number with the page, the command and the PDF of every paper."""

import io
import json
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from pypdf import PdfReader

from app.commands.compute import answer
from app.store.engine import Store
from app.store.workshop import Workshop
from app.work.equipment import PACKAGING, SCALES, PackagingForm, ScaleForm
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.prices import PriceForm, add_price
from app.work.materials.shelf import add_material
from app.work.products.product_form import PackForm, ProductForm
from app.work.products.products import add_product

CASE: dict[str, Any] = json.loads((Path(__file__).parents[1] / "data" / "worked_papers.json").read_text())
PAPERS = {"batch-sheet": "weights", "cost-sheet": "cost", "declaration": "list"}


@pytest.fixture
def formula(store: Store) -> int:
    with store.transaction() as session:
        shop = session.get_one(Workshop, 1)
        for name, value in CASE["workshop"].items():
            setattr(shop, name, Decimal(value))
    for row in CASE["scales"]:
        SCALES.add(store, ScaleForm(name=row["name"], readability=row["step"], capacity=row["most"]))
    for row in CASE["materials"]:
        material_id = add_material(store, MaterialForm(name=row["name"], parts=(PartForm(row["inci"], "100"),)))
        add_price(store, material_id, PriceForm(amount=row["price"], quantity=row["pack"]))
    sold = CASE["product"]
    PACKAGING.add(
        store, PackagingForm(name=sold["packaging"], units_per_pack=sold["pack_of"], price=sold["pack_price"])
    )
    lines = tuple(DraftLine(f"l{n}", "p", row["name"], None, row["percent"]) for n, row in enumerate(CASE["lines"]))
    content = Draft(phases=(DraftPhase("p", "All"),), lines=lines, **CASE["head"])
    formula_id = create(store, "Lotion", content=content)
    tax = CASE["workshop"]["tax_percent"]
    given = {"fill": sold["fill"], "price": sold["price"], "tax_percent": tax}
    add_product(store, formula_id, ProductForm(name=sold["name"], packaging=(PackForm("1"),), **given))
    return formula_id


def on_page(client: FlaskClient, formula_id: int, paper: str) -> str:
    text = re.sub(r"<[^>]+>", " ", client.get(f"/formulas/{formula_id}/{paper}").text.split('<div class="paper">')[1])
    return " ".join(text.replace("&amp;", "&").split())


def on_paper(client: FlaskClient, formula_id: int, paper: str) -> str:
    pdf = PdfReader(io.BytesIO(client.get(f"/formulas/{formula_id}/{paper}.pdf").data))
    return " ".join(" ".join(page.extract_text() for page in pdf.pages).replace("\u200b", "").split())


WAYS = [pytest.param(on_page, id="page"), pytest.param(on_paper, id="PDF", marks=pytest.mark.paper)]


@pytest.mark.parametrize("read", WAYS)
def test_the_batch_sheet_shows_the_weights_worked_by_hand(client: FlaskClient, formula: int, read: Any) -> None:
    text, wanted = read(client, formula, "batch-sheet"), CASE["weights"]
    for name, grams in wanted["lines"].items():
        share = wanted["percent"][name]
        scale = rf"{wanted['scales'][name]}[^;\d]*(; step [\d, ]+)?"
        assert re.search(rf"{name} {scale} {share} ({share} % )?(q\.s\. )?{re.escape(grams)} g\b", text), name
    assert f"{wanted['to_weigh']} g" in text
    assert "6 units = 300 g" in text


@pytest.mark.parametrize("read", WAYS)
def test_the_cost_sheet_shows_the_money_worked_by_hand(client: FlaskClient, formula: int, read: Any) -> None:
    text, wanted = read(client, formula, "cost-sheet"), CASE["cost"]
    words = {
        "materials": "Materials",
        "packaging": "Packaging",
        "labour": "Labour, 25 min",
        "overhead": "Overhead, 12 %",
    }
    for kind, name in words.items():
        assert f"{name} €{wanted['unit'][kind]} €{wanted['batch'][kind]}" in text
    assert f"Total €{wanted['unit']['total']} €{wanted['batch']['total']}" in text
    for name, amount in wanted["materials"].items():
        grams = CASE["weights"]["lines"][name]
        assert re.search(rf"{name} {re.escape(grams)} €[\d.]+ €{re.escape(amount)}\b", text), name
    assert f"€{wanted['net_price']} before tax, margin {wanted['margin']} %" in text
    for parts in (wanted["unit"], wanted["batch"]):
        assert sum(Decimal(parts[kind]) for kind in words) == Decimal(parts["total"])


@pytest.mark.parametrize("read", WAYS)
def test_the_ingredient_list_is_in_the_order_worked_by_hand(client: FlaskClient, formula: int, read: Any) -> None:
    assert CASE["list"]["EU"] in read(client, formula, "declaration")


def test_the_commands_say_the_same_as_the_papers() -> None:
    percents = CASE["weights"]["percent"]
    lines = [
        {"id": name, "percent": p} if name != "Water" else {"id": name, "qs": True} for name, p in percents.items()
    ]
    scales = [{"readability_g": s["step"].split()[0], "capacity_g": s["most"].split()[0]} for s in CASE["scales"]]
    weigh = json.loads(
        answer("weigh", json.dumps({"lines": lines, "batch_g": 300, "loss_percent": 4, "scales": scales})),
        parse_float=Decimal,
    )
    for line in weigh["lines"]:
        step = Decimal(str(line["scale"]["readability_g"]))
        shown = Decimal(str(line["shown_g"]))
        assert abs(shown - Decimal(CASE["weights"]["lines"][line["id"]])) * 2 <= step
    prices, sold = {row["name"]: row for row in CASE["materials"]}, CASE["product"]
    job = {
        "lines": [
            {
                "id": line["id"],
                "grams": str(line["target_g"]),
                "price": prices[line["id"]]["price"],
                "price_for_g": prices[line["id"]]["pack"].split()[0],
            }
            for line in weigh["lines"]
        ],
        "packaging": [{"id": "b", "units_per_pack": sold["pack_of"], "price": sold["pack_price"]}],
        "labour_minutes": CASE["head"]["labour_minutes"],
        **{key: CASE["workshop"][key] for key in ("labour_rate", "overhead_percent", "tax_percent")},
        "batch_g": "312.5",
        "loss_percent": 4,
        "fill_g": 50,
        "price": CASE["product"]["price"],
        "currency": "EUR",
    }
    cost = json.loads(answer("cost", json.dumps(job)), parse_float=Decimal)
    assert cost["units"] == CASE["cost"]["units"]
    assert round(cost["batch"]["total"], 2) == Decimal(CASE["cost"]["batch"]["total"])
    assert round(cost["per_unit"]["total"], 2) == Decimal(CASE["cost"]["unit"]["total"])
    assert round(cost["margin_percent"], 1) == Decimal(CASE["cost"]["margin"])
