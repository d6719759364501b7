"""The demo workshop: an invented one, put into an empty database so that there is something to look at."""

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.reference.material import slug
from app.reference.materials import material as library_material
from app.science.numbers import plain, to_step
from app.science.quantities import parse_quantity, to_grams
from app.store.batches import Batch, BatchState, TickKind
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.formulas import FormulaRow
from app.store.materials import MaterialRow, PackagingRow, PriceKind, PriceRow
from app.store.products import Product, ProductPackaging
from app.store.stock import Lot, LotState
from app.store.workshop import Jurisdiction, Paper, Person, ScaleRow, Workshop
from app.work.batches.batch_readings import ReadingForm, YieldForm, add_reading, record_yield
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.batches.ticks import TickForm, tick
from app.work.batches.weighing import WeighingForm, record_weighings
from app.work.clock import as_of, now
from app.work.demo_packing import load_packing
from app.work.demo_papers import load_papers
from app.work.demo_tracing import load_tracing
from app.work.equipment import note_pack_price
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import insert
from app.work.formulas.versions import keep_version
from app.work.materials.material_form import MaterialForm, PartForm, from_library
from app.work.materials.shelf import insert_material
from app.work.stock.listing import lots_of
from app.work.stock.lots import (
    DecisionForm,
    OutputForm,
    ReceiveForm,
    decide_lot,
    house_lot,
    lot_context,
    receive_lot,
    receive_output,
)
from app.work.stock.suppliers import supplier_named

FOLDER = Path(__file__).resolve().parents[2] / "seed_data" / "demo"
Row = Mapping[str, Any]


def load_demo(store: Store) -> None:
    """Put the demo workshop into an empty database: settings, shelf, formulas, versions and a few batches."""
    shop, materials, formulas, batches = (_file(n) for n in ("workshop", "materials", "formulas", "batches"))
    with store.transaction() as session:
        settings = shop["workshop"]
        words = {key: _exact(key, value) for key, value in settings.items()}
        words |= {"paper": Paper(settings["paper"]), "jurisdiction": Jurisdiction(settings["jurisdiction"])}
        session.add(Workshop(id=1, is_demo=True, **words))
        session.add_all(ScaleRow(**{k: _exact(k, v) for k, v in row.items()}) for row in shop["scales"])
        session.add_all(Person(**row) for row in shop["people"])
        packs = {row["name"]: _packaging(session, row) for row in shop["packaging"]}
        shelf = {row["name"]: _shelved(session, row) for row in materials["shelf"]}
        shelf |= {row["name"]: _own(session, row) for row in materials["own"]}
        ids = {row["code"]: _formula(session, row, shelf) for row in formulas["formulas"]}
        sold = [row for row in formulas["formulas"] if "price" in row]
        session.add_all(_product(row, ids[row["code"]], shop["workshop"], packs) for row in sold)
        session.add_all(_more_products(ids, shop["workshop"]["tax_percent"]))
    for row in formulas["formulas"]:
        with as_of(row["written_at"][:10], "17:00"):
            keep_version(store, ids[row["code"]], "First version of the demonstration", "Ines")
    with store.transaction() as session:
        _stock(session, _file("stock"), shelf)
        for row in formulas["formulas"]:
            formula = session.get_one(FormulaRow, ids[row["code"]])
            formula.created_at = formula.changed_at = datetime.fromisoformat(row["written_at"]).astimezone(UTC)
    planned = [(row, _plan(store, row, ids[row["formula"]])) for row in batches["batches"]]
    for row, batch_id in sorted(planned, key=lambda one: str(one[0]["planned_on"])):
        if row["state"] != BatchState.PLANNED:
            _make(store, batch_id, row)
    load_packing(store, _file("packing"), ids)
    load_tracing(store, _file("tracing"))
    load_papers(store, _file("papers"), ids)


def _file(name: str) -> Any:
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def _exact(key: str, value: str) -> str | Decimal:
    return Decimal(value) if key.endswith(("_g", "_percent", "_rate", "_pack")) else value


def _packaging(session: Session, row: Row) -> int:
    pack = PackagingRow(
        name=row["name"],
        units_per_pack=Decimal(row["units_per_pack"]),
        supplier=row["supplier"],
    )
    session.add(pack)
    session.flush()
    note_pack_price(session, pack, Decimal(row["price"]) if row["price"] else None)
    return pack.id


def _shelved(session: Session, row: Row) -> MaterialRow:
    shipped = library_material(slug(row["library"]))
    if shipped is None:
        raise NotFound(f"The library has no {row['library']}.")
    return _priced(session, from_library(shipped).but(name=row["name"]), row)


def _own(session: Session, row: Row) -> MaterialRow:
    plain_fields = ("name", "form", "phase_hint", "functions", "use_low", "use_high", "cautions", "source")
    typed = MaterialForm(
        **{key: row.get(key, "") for key in plain_fields},
        density=row.get("density_g_ml", ""),
        parts=tuple(_part(part) for part in row["parts"]),
    )
    return _priced(session, typed, row)


def _part(row: Row) -> PartForm:
    share = f"{row['low']}-{row['high']} ({row['percent']})" if "low" in row else row["percent"]
    allergens = "\n".join(f"{name} {percent}" for name, percent in row.get("allergens", ()))
    return PartForm(inci=row["inci"], percent=share, kind=row["kind"], allergens=allergens)


def _priced(session: Session, typed: MaterialForm, row: Row) -> MaterialRow:
    material = insert_material(session, typed.checked())
    material.prices.extend(
        PriceRow(
            kind=PriceKind(price["kind"]),
            amount=Decimal(price["amount"]),
            currency="EUR",
            quantity_text=price["quantity"],
            quantity_g=to_grams(parse_quantity(price["quantity"]), material.density_g_ml),
            priced_on=date.fromisoformat(price["on"]),
            supplier=price["supplier"],
            note=price["note"],
        )
        for price in row["prices"]
    )
    session.flush()
    return material


def _formula(session: Session, row: Row, shelf: Mapping[str, MaterialRow]) -> int:
    words = ("product_type", "exposure", "batch", "fill", "density", "target_ph", "labour_minutes")
    placed = [(f"p{n}", line) for n, phase in enumerate(row["phases"], start=1) for line in phase["lines"]]
    draft = Draft(
        **{key: row[key] for key in (*words, "notes")},
        special_uses=tuple(row.get("special_uses", ())),
        phases=tuple(
            DraftPhase(f"p{n}", phase["name"], phase["temperature"], phase["method"])
            for n, phase in enumerate(row["phases"], start=1)
        ),
        lines=tuple(
            DraftLine(
                id=f"l{place}",
                phase=phase,
                typed=line["material"],
                material_id=shelf[line["material"]].id,
                amount=line.get("percent", ""),
                qs=line.get("qs", False),
            )
            for place, (phase, line) in enumerate(placed, start=1)
        ),
    )
    return insert(session, row["name"], row["code"], draft, "Started").id


def _product(row: Row, formula_id: int, shop: Row, packs: Mapping[str, int]) -> Product:
    fill = parse_quantity(row["fill"])
    return Product(
        formula_id=formula_id,
        name=row["name"],
        jurisdiction=Jurisdiction(shop["jurisdiction"]),
        languages="en",
        fill_amount=fill.amount,
        fill_unit=fill.unit.symbol,
        price=Decimal(row["price"]),
        currency=shop["currency"],
        tax_percent=Decimal(shop["tax_percent"]),
        open_months=12,
        front_words=row["claims"],
        barcode=row.get("barcode", ""),
        created_at=now(),
        packaging=[
            ProductPackaging(position=place, packaging_id=packs[name], per_unit=Decimal(count))
            for place, (name, count) in enumerate(row["packaging"])
        ],
    )


def _more_products(ids: Mapping[str, int], tax_percent: str) -> list[Product]:
    """Give a small size of one formula and another market of a second, so that there is a choice to look at."""
    return [
        Product(
            formula_id=ids["HC"],
            name="Oat and shea hand cream, pocket size",
            languages="en",
            fill_amount=Decimal(15),
            fill_unit="g",
            price=Decimal("5.90"),
            currency="EUR",
            tax_percent=Decimal(tax_percent),
            minimum=12,
            open_months=12,
            front_words="Softens dry hands",
            created_at=now(),
        ),
        Product(
            formula_id=ids["GB"],
            name="Garden balm, US",
            jurisdiction=Jurisdiction.US,
            languages="en",
            fill_amount=Decimal("0.9"),
            fill_unit="oz",
            price=Decimal("12.00"),
            currency="USD",
            tax_percent=Decimal(0),
            shelf_months=18,
            front_words="For gardeners' knuckles",
            created_at=now(),
        ),
    ]


def _plan(store: Store, row: Row, formula_id: int) -> int:
    plan = Plan(formula_id, None, row["size"], loss="3", planned_on=row["planned_on"], made_by=row["made_by"])
    with as_of(row["planned_on"], "08:30"):
        return plan_batch(store, plan)


def _make(store: Store, batch_id: int, row: Row) -> None:
    """Make a batch at the times of its day, as far as its state says."""
    day, by, state = row["planned_on"], row["made_by"], row["state"]
    points = [] if state == BatchState.IN_PROCESS else _load(store, batch_id).ticks
    with as_of(day, "08:50"):
        for one in points:
            if one.kind is TickKind.START_UP:
                tick(store, batch_id, [one.id], TickForm(who=by))
    with as_of(day, "09:10"):
        with store.transaction() as session:
            batch = load_batch(session, batch_id)
            entries = _from_the_shelf(session, batch, row)
        record_weighings(store, batch_id, batch.row_version, entries, who=by)
    with as_of(day, "11:00"):
        for one in points:
            if one.kind is TickKind.STEP:
                tick(store, batch_id, [one.id], TickForm(who=by))
    with as_of(day, "11:40"):
        for kind, words in row["readings"]:
            add_reading(store, batch_id, ReadingForm(kind, words, who=by))
    if state != BatchState.IN_PROCESS:
        came_out = to_step(_load(store, batch_id).weighed_g * Decimal("0.972"), Decimal(1))
        with as_of(day, "12:00"):
            record_yield(store, batch_id, YieldForm(plain(came_out), by))
        version = _load(store, batch_id).row_version
        with as_of(day, "16:20"):
            decide(store, batch_id, version, BatchDecision(state, row.get("why", ""), row["decided_by"]))
    if "makes" in row:
        # What a batch made, such as a stock solution, is kept as a lot of the shelf and accepted.
        made = row["makes"]
        with store.reading() as session:
            material_id = session.scalars(select(MaterialRow.id).where(MaterialRow.name == made["material"])).one()
        with as_of(day, "16:40"):
            lot_id = receive_output(store, batch_id, OutputForm(by=by, **made["texts"]), material_id=material_id)
            accepted = DecisionForm(state=LotState.ACCEPTED.value, by=row["decided_by"], why=made["accepted"])
            decide_lot(store, lot_id, accepted)


def _from_the_shelf(session: Session, batch: Batch, row: Row) -> list[WeighingForm]:
    """Weigh each line from the lots that are used first, from a second where the first does not reach.

    The weights miss a little, up and down in turn, as they do on a real scale.
    """
    day = date.fromisoformat(row["planned_on"])
    lines = batch.lines[: len(batch.lines) // 2] if row["state"] == BatchState.IN_PROCESS else batch.lines
    lots: dict[int | None, list[Lot]] = {}
    for lot in lots_of(session, material_ids={line.material_id for line in lines}):
        if lot.received_on <= day and not lot.why_not(day):
            lots.setdefault(lot.material_id, []).append(lot)
    entries = []
    for place, line in enumerate(lines):
        step = Decimal("0.01") if line.shown_g < 200 else Decimal("0.1")
        left = line.shown_g + to_step(line.shown_g * Decimal(row["spread"]) / 100 * (place % 3 - 1), step)
        material = session.get_one(MaterialRow, line.material_id)
        if material.drawn_here:
            drawn = house_lot(session, material, by=row["made_by"], day=day)
            entries.append(WeighingForm(line.id, plain(left), drawn.code))
            continue
        for lot in lots[material.id]:
            portion = min(left, lot.on_hand)
            if portion:
                entries.append(WeighingForm(line.id, plain(portion), lot.code))
                left -= portion
    return entries


def _stock(session: Session, stock: Row, shelf: Mapping[str, MaterialRow]) -> None:
    """Put a lot of everything on the shelf that was paid for and is not used up, and what the file says besides."""
    for material in shelf.values():
        found = session.get_one(MaterialRow, material.id)
        if found.name in stock["drawn_here"]:
            found.drawn_here = True
            continue
        paid = [price for price in found.prices if price.kind is PriceKind.PAID]
        for price in paid[:1] if found.name not in stock["used_up"] else ():
            texts = {"amount": price.quantity_text, "supplier": price.supplier, "received_on": str(price.priced_on)}
            lot = _lot(session, found, **texts, supplier_lot=stock["supplier_lots"][found.name])
            lot.paid, lot.currency = price.amount, price.currency
    for row in stock["lots"]:
        _lot(session, session.get_one(MaterialRow, shelf[row["material"]].id), **row["texts"])
    for row in stock["suppliers"]:
        supplier = supplier_named(session, row["name"])
        if supplier is not None:
            supplier.contact, supplier.delivery_days = row["contact"], Decimal(row["delivery_days"])
    for name, grams in stock["keep"].items():
        session.get_one(MaterialRow, shelf[name].id).reorder_g = Decimal(grams)


def _lot(session: Session, material: MaterialRow, **texts: str) -> Lot:
    typed = ReceiveForm(**{"accepted": "yes", "by": "Tom", "place": "Store room", **texts})
    with as_of(texts["received_on"], "08:15"):
        return receive_lot(session, material, typed.checked(lot_context(session, material)))


def _load(store: Store, batch_id: int) -> Batch:
    with store.reading() as session:
        return load_batch(session, batch_id)
