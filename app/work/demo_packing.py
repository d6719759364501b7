"""The packing runs of the demo workshop: one closed, with fill weights and a sample kept, and one open."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select

from app.science.numbers import plain
from app.store.batches import Batch, BatchState
from app.store.engine import Store
from app.store.formulas import FormulaVersion
from app.store.materials import PackagingRow
from app.store.packing import get_run
from app.store.products import products_of
from app.work.clock import as_of
from app.work.packing.deviations import close_run
from app.work.packing.fills import FillForm, add_weights
from app.work.packing.packaging_lots import LotUseForm, record_lot_use
from app.work.packing.runs import RunForm, figures_form, record_figures, start_run, tick_clearance
from app.work.packing.samples import LookForm, SampleForm, keep_sample, look_at_sample
from app.work.pricing import exchange_of, pack_price
from app.work.stock.lots import ReceiveForm, receive

Row = Mapping[str, Any]


def load_packing(store: Store, told: Row, ids: Mapping[str, int]) -> None:
    """Put packaging lots and packing runs into the demo workshop; ``ids`` are the formulas by their codes."""
    for row in told["lots"]:
        with store.reading() as session:
            pack = session.scalars(select(PackagingRow).where(PackagingRow.name == row["packaging"])).one()
            price = pack_price(pack, exchange_of(session))
        texts = {"amount": plain(pack.units_per_pack * row["packs"]), "supplier": pack.supplier, "accepted": "yes"}
        texts |= {"paid": "" if price is None else plain(price * row["packs"]), "by": "Tom", **row["texts"]}
        with as_of(row["texts"]["received_on"], "08:20"):
            receive(store, ReceiveForm(**texts), packaging_id=pack.id)
    for row in told["runs"]:
        _run(store, row, ids[row["formula"]])


def _run(store: Store, row: Row, formula_id: int) -> None:
    with store.reading() as session:
        version = select(FormulaVersion.id).where(FormulaVersion.formula_id == formula_id)
        of_formula = select(Batch.id).where(Batch.version_id.in_(version), Batch.state == BatchState.RELEASED)
        batch_id, product_id = session.scalars(of_formula).first() or 0, products_of(session, formula_id)[0].id
    who, day = row["who"], row["texts"]["packed_on"]
    with as_of(day, "13:30"):
        run_id = start_run(store, batch_id, product_id, RunForm(who=who, **row["texts"]))
        with store.reading() as session:
            before = [tick.id for tick in get_run(session, run_id).ticks if tick.kind.value == "before"]
        tick_clearance(store, run_id, before, who=who)
        for lot in row["lots"]:
            record_lot_use(store, run_id, LotUseForm(who=who, **lot))
    with as_of(day, "14:10"):
        add_weights(store, run_id, FillForm(weights=row["weights"], who=who))
    if "closed_by" in row:
        with store.reading() as session:
            run = get_run(session, run_id)
            seen, form = run.row_version, figures_form(run, who=who).but(**row["figures"])
            after = [tick.id for tick in run.ticks if tick.kind.value == "after"]
        with as_of(day, "15:45"):
            record_figures(store, run_id, seen, form)
            sample_id = keep_sample(store, run_id, SampleForm(who=who, **row["sample"]))
            tick_clearance(store, run_id, after, who=who)
            with store.reading() as session:
                seen = get_run(session, run_id).row_version
            close_run(store, run_id, seen, who=row["closed_by"])
        with as_of(row["look"]["looked_on"], "10:00"):
            look_at_sample(store, sample_id, LookForm(who=who, **row["look"]))
