"""A large workshop for measuring: the demonstration many times over, years of batches, and the ledger they leave.

Rows are written in bulk, past the actions of a person: nothing here is a way to change a workshop. What is written
holds together as if it had been worked: every weighing names its lot, every lot its delivery or the batch it was made
in, every gram is a line of the ledger. The same size gives the same rows.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import islice
from typing import Any

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from app.science.keeping_time import add_months
from app.science.names import inci_key
from app.store.batches import Batch, BatchEvent, BatchLine, BatchReading, BatchState, BatchWeighing, Tick, TickKind
from app.store.bulk import Row, free_id, put, rows_of
from app.store.distribution import Dispatch, DispatchKind, Receiver, ReceiverKind
from app.store.engine import Store
from app.store.formulas import DraftMaterial, DraftStep, FormulaRow, FormulaVersion, VersionLine
from app.store.materials import MaterialPart, MaterialRow, PackagingRow, PartAllergen, PriceRow
from app.store.packing import PackingLotUse, PackingRun, RetainedSample, RunState
from app.store.products import Product
from app.store.stock import Lot, LotState, MoveKind, StockMove, Supplier
from app.store.workshop import Jurisdiction, the_workshop
from app.work.batches.planning import Plan, plan_batch
from app.work.demo import load_demo

MATERIALS, FORMULAS, BATCHES, MOVES = 5_000, 2_000, 50_000, 1_000_000
LAST_DAY = date(2026, 11, 20)
DAYS = 5 * 365
LOTS_OF_A_MATERIAL = 8
LOTS_OF_PACKAGING = 400
RECEIVED_G = Decimal(1_000_000)
# Every lot of this one after the first is made in the house, by a batch that used the lot before it.
MADE_HERE = "Sodium hydroxide 10 %"
AT_ONCE = 1_000
OPEN_BATCHES = 30


@dataclass(frozen=True, slots=True)
class Size:
    """How much is written; the whole is what a large workshop has after five years."""

    materials: int
    formulas: int
    batches: int
    moves: int


def size_of(factor: float) -> Size:
    """Return the counts for a part of the whole; at least the demonstration, and ten batches."""
    return Size(*(max(least, round(whole * factor)) for whole, least in (
        (MATERIALS, 1), (FORMULAS, 1), (BATCHES, 10), (MOVES, 100),
    )))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sample:
    """What is multiplied: rows of the demonstration's materials, and each formula with one planned batch of it."""

    materials: tuple[Row, ...]
    parts: tuple[Row, ...]
    allergens: tuple[Row, ...]
    prices: tuple[Row, ...]
    formulas: tuple["SampleFormula", ...]


@dataclass(frozen=True, slots=True)
class SampleFormula:
    """A formula of the demonstration: its row, its draft, its version with lines, and a batch of it as planned."""

    formula: Row
    step: Row
    version: Row
    lines: tuple[Row, ...]
    batch: Row
    batch_lines: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Copies:
    """Where the materials stand: for each copy of the demonstration's shelf the id of every material by its first id,
    and for each material the ids of its lots, the oldest first."""

    copies: tuple[Mapping[int, int], ...]
    names: Mapping[int, str]
    lots: Mapping[int, tuple[int, ...]]


def make_large(store: Store, factor: float = 1.0) -> None:
    """Fill an empty workshop."""
    load_demo(store)
    multiply(store, size_of(factor))


def multiply(store: Store, size: Size) -> None:
    """Make a large workshop of the demonstration, which has to be as it was loaded."""
    with store.reading() as session:
        ids = list(session.scalars(select(FormulaRow.id).order_by(FormulaRow.id)))
    planned = [
        plan_batch(store, Plan(formula_id, None, "1 kg", loss="3", planned_on=LAST_DAY.isoformat(), made_by="Ines"))
        for formula_id in ids
    ]
    with store.transaction() as session:
        shop = the_workshop(session)
        shop.name, shop.is_demo = "Large workshop", False
        sample = _sample(session, ids, planned)
        shelf = _shelf(session, sample, size)
        versions = _formulas(session, sample, shelf, size)
        _batches(session, sample, shelf, versions, size)
        _packed_and_sent(session, size)
        _stock_takes(session, shelf, size)


def _sample(session: Session, ids: list[int], planned: list[int]) -> Sample:
    formulas = []
    for formula_id, batch_id in zip(ids, planned, strict=True):
        batch = rows_of(session, Batch, Batch.id == batch_id)[0]
        formulas.append(
            SampleFormula(
                rows_of(session, FormulaRow, FormulaRow.id == formula_id)[0],
                rows_of(session, DraftStep, DraftStep.formula_id == formula_id)[-1],
                rows_of(session, FormulaVersion, FormulaVersion.id == batch["version_id"])[0],
                rows_of(session, VersionLine, VersionLine.version_id == batch["version_id"]),
                batch,
                rows_of(session, BatchLine, BatchLine.batch_id == batch_id),
            )
        )
    materials, parts, allergens, prices = (
        rows_of(session, model) for model in (MaterialRow, MaterialPart, PartAllergen, PriceRow)
    )
    return Sample(materials, parts, allergens, prices, tuple(formulas))


def _shelf(session: Session, sample: Sample, size: Size) -> Copies:
    """Copy the shelf until there are as many materials as asked for, and receive the lots of all of them."""
    wanted = max(size.materials, len(sample.materials))
    first, names = {row["id"]: row["id"] for row in sample.materials}, {r["id"]: r["name"] for r in sample.materials}
    copies: list[dict[int, int]] = [first]
    next_id, materials = free_id(session, MaterialRow), []
    while len(names) < wanted:
        copies.append({})
        for row in sample.materials[: wanted - len(names)]:
            name = f"{row['name']} {len(copies)}"
            materials.append({**row, "id": next_id, "name": name, "name_key": inci_key(name), "library_key": None})
            copies[-1][row["id"]] = next_id
            names[next_id] = name
            next_id += 1
    put(session, MaterialRow, materials)
    made = copies[1:]
    parts = _copied(session, MaterialPart, sample.parts, "material_id", made)
    _copied(session, PriceRow, sample.prices, "material_id", made)
    _copied(session, PartAllergen, sample.allergens, "part_id", parts)
    if len(copies) > 1 and len(copies[-1]) < len(first):
        copies.pop()
    return Copies(tuple(copies), names, _lots(session, names))


def _copied(
    session: Session, model: Any, rows: tuple[Row, ...], parent: str, copies: list[dict[int, int]]
) -> list[dict[int, int]]:
    """Copy rows to each copy of what they belong to; return for each copy the new ids by the first ones."""
    next_id, made, ids = free_id(session, model), list[Row](), list[dict[int, int]]()
    for copy in copies:
        ids.append({})
        for row in rows:
            if row[parent] in copy:
                made.append({**row, "id": next_id, parent: copy[row[parent]]})
                ids[-1][row["id"]] = next_id
                next_id += 1
    put(session, model, made)
    return ids


def _lots(session: Session, names: Mapping[int, str]) -> dict[int, tuple[int, ...]]:
    """Receive the lots of every material, each for its part of the years; return their ids by material."""
    supplier = session.scalar(select(func.min(Supplier.id)))
    next_id, lots, found = free_id(session, Lot), list[Row](), dict[int, tuple[int, ...]]()
    for material_id in names:
        found[material_id] = tuple(range(next_id, next_id + LOTS_OF_A_MATERIAL))
        for place, lot_id in enumerate(found[material_id]):
            day = LAST_DAY - timedelta(days=DAYS - place * DAYS // LOTS_OF_A_MATERIAL + 3)
            lots.append(
                {
                    "id": lot_id, "code": f"L{material_id}-{place + 1}", "material_id": material_id,
                    "supplier_id": supplier, "supplier_lot": f"S{material_id * 7 + place}", "received_on": day,
                    "amount_text": "1000 kg", "expires_on": day + timedelta(days=2000), "place": "Store room",
                    "notes": "", "composition": "", "currency": "", "state": LotState.ACCEPTED, "decided_by": "Tom",
                    "decided_at": _at(day), "decided_why": "accepted on receipt", "on_hand": Decimal(0),
                    "created_at": _at(day), "row_version": 1,
                }
            )  # fmt: skip
        next_id += LOTS_OF_A_MATERIAL
    put(session, Lot, lots)
    put(session, StockMove, (_move(lot["id"], MoveKind.RECEIVED, RECEIVED_G, lot["created_at"]) for lot in lots))
    return found


def _at(day: date, hour: int = 9) -> datetime:
    return datetime.combine(day, time(hour), UTC)


def _move(lot_id: int, kind: MoveKind, amount: Decimal, at: datetime, **of: int) -> Row:
    row = {"lot_id": lot_id, "kind": kind, "amount": amount, "at": at, "by": "Tom", "why": ""}
    return {**row, "batch_id": None, "batch_line_id": None, "packing_run_id": None, **of}


def _formulas(session: Session, sample: Sample, shelf: Copies, size: Size) -> list[tuple[int, int, int]]:
    """Copy the formulas; return for each version its id, which formula of the sample and which copy of the shelf."""
    count = len(sample.formulas)
    found = [(one.version["id"], place, 0) for place, one in enumerate(sample.formulas)]
    tables: dict[Any, list[Row]] = {model: [] for model in (FormulaRow, DraftStep, DraftMaterial, FormulaVersion)}
    lines: list[Row] = []
    formula_id, version_id = free_id(session, FormulaRow), free_id(session, FormulaVersion)
    for number in range(count, size.formulas):
        place, copy = number % count, number // count % len(shelf.copies)
        one, ids = sample.formulas[place], shelf.copies[number // count % len(shelf.copies)]
        words = {"name": f"{one.formula['name']} {number // count + 1}", "code": f"{one.formula['code']}{number}"}
        draft = json.dumps(_renamed(json.loads(one.step["content"]), words, ids, shelf.names))
        value = json.dumps(_renamed(json.loads(one.version["value"]), words, ids, shelf.names))
        tables[FormulaRow].append({**one.formula, "id": formula_id, **words, "draft_step": 1})
        step = {key: cell for key, cell in one.step.items() if key != "id"}
        tables[DraftStep].append({**step, "formula_id": formula_id, "step": 1, "content": draft})
        used = {ids[line["material_id"]] for line in one.lines}
        tables[DraftMaterial] += [{"formula_id": formula_id, "material_id": each} for each in sorted(used)]
        kept = {"id": version_id, "formula_id": formula_id, "name": words["name"], "content": draft, "value": value}
        tables[FormulaVersion].append({**one.version, **kept})
        for line in one.lines:
            own = ids[line["material_id"]]
            row = {key: cell for key, cell in line.items() if key != "id"}
            lines.append({**row, "version_id": version_id, "material_id": own, "name": shelf.names[own]})
        found.append((version_id, place, copy))
        formula_id, version_id = formula_id + 1, version_id + 1
    for model, rows in tables.items():
        put(session, model, rows)
    put(session, VersionLine, lines)
    return found


def _renamed(value: Any, words: Row, ids: Mapping[int, int], names: Mapping[int, str]) -> Any:
    """Return a draft or a kept value under another name, with the materials of another copy of the shelf."""
    for phase in value["phases"]:
        for line in phase.get("lines", ()):
            own = ids[line["material"]["id"]]
            line["material"] |= {"id": own, "name": names[own]}
    for line in value.get("lines", ()):
        own = ids[line["material_id"]]
        line |= {"material_id": own, "typed": names[own]}
    return value | words


def _batches(session: Session, sample: Sample, shelf: Copies, versions: list[tuple[int, int, int]], size: Size) -> None:
    """Write the batches with all they hold, then decide them: what is decided takes no more lines."""
    first, first_line = free_id(session, Batch), free_id(session, BatchLine)
    put(session, Batch, _batch_rows(sample, versions, first, size))
    chunks = _filled(sample, shelf, versions, (first, first_line), size)
    while part := list(islice(chunks, AT_ONCE)):
        for model in (BatchLine, BatchWeighing, StockMove, BatchReading, Tick, BatchEvent):
            put(session, model, (row for batch in part for row in batch[model]))
    _made_here(session, shelf, versions, first, size)
    done = update(Batch).where(Batch.id >= first, Batch.id < first + size.batches - OPEN_BATCHES)
    decided = {"decided_at": Batch.started_at, "decided_by": "Tom", "yield_g": Decimal(980)}
    session.execute(done.where(Batch.id % 97 == 0).values(state=BatchState.REJECTED, **decided))
    session.execute(done.where(Batch.id % 97 != 0).values(state=BatchState.RELEASED, **decided))


def _day_of(number: int, size: Size) -> date:
    return LAST_DAY - timedelta(days=DAYS - number * DAYS // size.batches)


def _version_of(number: int, versions: list[tuple[int, int, int]]) -> tuple[int, int, int]:
    # A step that shares no divisor with usual counts, so that every formula is made again and again.
    return versions[number * 7919 % len(versions)]


def _batch_rows(sample: Sample, versions: list[tuple[int, int, int]], first: int, size: Size) -> Iterator[Row]:
    for number in range(size.batches):
        version_id, place, _copy = _version_of(number, versions)
        day = _day_of(number, size)
        own = {"id": first + number, "number": f"N{number + 1:06d}", "version_id": version_id, "planned_on": day}
        times = {"created_at": _at(day, 8), "started_at": _at(day, 10), "state": BatchState.IN_PROCESS}
        yield {**sample.formulas[place].batch, **own, **times, "row_version": 3}


def _filled(
    sample: Sample,
    shelf: Copies,
    versions: list[tuple[int, int, int]],
    first: tuple[int, int],
    size: Size,
) -> Iterator[dict[Any, list[Row]]]:
    """Yield what each batch holds, a batch at a time, by table."""
    batch_id, line_id = first
    blank = {"scale": "Bench scale", "vessel": "", "by": "Ines", "checked_by": "Tom", "reason": ""}
    for number in range(size.batches):
        _version, place, copy = _version_of(number, versions)
        at = _at(_day_of(number, size), 11)
        rows: dict[Any, list[Row]] = {BatchLine: [], BatchWeighing: [], StockMove: []}
        for line in sample.formulas[place].batch_lines:
            own = shelf.copies[copy][line["material_id"]]
            lot_id = shelf.lots[own][number * LOTS_OF_A_MATERIAL // size.batches]
            of_shelf = {"id": line_id, "batch_id": batch_id, "material_id": own, "name": shelf.names[own]}
            rows[BatchLine].append({**line, **of_shelf})
            if line["shown_g"] > 0:
                lot = {"lot_id": lot_id, "lot_text": f"L{own}-{number * LOTS_OF_A_MATERIAL // size.batches + 1}"}
                rows[BatchWeighing].append({**blank, **lot, "line_id": line_id, "grams": line["shown_g"], "at": at})
                of = {"batch_id": batch_id, "batch_line_id": line_id}
                rows[StockMove].append(_move(lot_id, MoveKind.WEIGHED_OUT, -line["shown_g"], at, **of))
            line_id += 1
        rows[BatchReading] = [{"batch_id": batch_id, "kind": "pH", "value": Decimal("5.4"), "words": "5.4",
                               "taken_at": at, "taken_by": "Ines"}]  # fmt: skip
        rows[Tick] = [{"batch_id": batch_id, "kind": TickKind.START_UP, "position": n, "phase": "", "words": words,
                       "done_at": at, "done_by": "Ines", "remark": ""}
                      for n, words in enumerate(("Papers are here", "Lots accepted", "Area clean"))]  # fmt: skip
        rows[BatchEvent] = [{"batch_id": batch_id, "at": at, "by": "Ines", "what": what, "old": "", "new": new,
                             "why": ""} for what, new in (("planned", "1 kg"), ("state", "in process"))]  # fmt: skip
        yield rows
        batch_id += 1


def _made_here(session: Session, shelf: Copies, versions: list[tuple[int, int, int]], first: int, size: Size) -> None:
    """Tie lots of one material to a batch made before them of the same copy of the shelf, in chains."""
    by_copy: dict[int, list[int]] = {}
    for number in range(size.batches):
        by_copy.setdefault(_version_of(number, versions)[2], []).append(number)
    source = next((own for own, name in shelf.names.items() if name == MADE_HERE), None)
    for copy, numbers in by_copy.items():
        if source is None:
            return
        for place, lot_id in enumerate(shelf.lots[shelf.copies[copy][source]][1:], start=1):
            earlier = [n for n in numbers if n * LOTS_OF_A_MATERIAL // size.batches == place - 1]
            if earlier:
                made = {"from_batch_id": first + earlier[-1], "supplier_id": None, "supplier_lot": ""}
                session.execute(update(Lot).where(Lot.id == lot_id).values(**made))


def _packed_and_sent(session: Session, size: Size) -> None:
    """Pack every released batch in one run out of one lot of packaging, and send two parts of it to receivers."""
    products = _products(session)
    lots = _packaging_lots(session)
    made = select(Batch.id, Batch.number, Batch.version_id, Batch.planned_on).where(
        Batch.number.startswith("N"), Batch.state == BatchState.RELEASED
    )
    batches = session.execute(made.order_by(Batch.id)).all()
    formulas = dict(session.execute(select(FormulaVersion.id, FormulaVersion.formula_id)).all())
    first = free_id(session, PackingRun)
    runs: list[Row] = [
        {
            "id": first + place, "number": f"{number}-P1", "batch_id": batch_id,
            "product_id": products[formulas[version_id]]["id"],
            "product_name": products[formulas[version_id]]["name"], "packed_on": day + timedelta(days=2), "place": "",
            "fill_amount": Decimal(50), "fill_unit": "g", "jurisdiction": Jurisdiction.EU, "units_filled": 20,
            "units_spoilt": 1, "units_sampled": 1, "bulk_g": Decimal(980), "rest_g": Decimal(0), "artwork": "",
            "code_printed": number, "best_before": add_months(day, 24), "early_why": "", "notes": "", "by": "Ines",
            "created_at": _at(day),
            "closed_by": "", "state": RunState.OPEN, "row_version": 2,
        }
        for place, (batch_id, number, version_id, day) in enumerate(batches)
    ]  # fmt: skip
    put(session, PackingRun, runs)
    _samples(session, runs)
    uses = [(run, lots[run["id"] * len(lots) // (first + len(runs))]) for run in runs]
    common = {"issued": Decimal(20), "used": Decimal(20), "spoilt": Decimal(0), "returned": Decimal(0), "reason": ""}
    put(session, PackingLotUse, (
        {**common, "run_id": run["id"], "lot_id": lot, "by": "Ines", "at": run["created_at"]} for run, lot in uses
    ))  # fmt: skip
    put(session, StockMove, (
        _move(lot, MoveKind.USED, Decimal(-20), run["created_at"], packing_run_id=run["id"]) for run, lot in uses
    ))  # fmt: skip
    closed = {"state": RunState.CLOSED, "closed_at": PackingRun.created_at, "closed_by": "Ines"}
    session.execute(update(PackingRun).where(PackingRun.id >= first).values(**closed))
    _sent(session, runs, max(10, size.batches // 10))


def _samples(session: Session, runs: list[Row]) -> None:
    """Keep a unit of every run for three years, with a look every half year; the old ones are thrown away."""
    kept = [
        {
            "run_id": run["id"], "units": 1, "place": "Cupboard", "kept_on": run["packed_on"], "look_months": 6,
            "keep_until": add_months(run["packed_on"], 36), "notes": "", "by": "Ines",
            # Looked at whenever it was due, but for the last that were forgotten.
            "look_on": LAST_DAY + timedelta(days=place % 180 - (10 if place % 50 == 0 else 0)),
        }
        for place, run in enumerate(runs)
    ]  # fmt: skip
    put(session, RetainedSample, kept)
    old = update(RetainedSample).where(RetainedSample.keep_until < LAST_DAY - timedelta(days=30))
    session.execute(old.values(discarded_on=RetainedSample.keep_until, discarded_by="Ines"))


def _products(session: Session) -> dict[int, Row]:
    """Return a product for every formula, new ones added, by formula."""
    there = {row["formula_id"]: row for row in rows_of(session, Product)}
    names = dict(session.execute(select(FormulaRow.id, FormulaRow.name)).all())
    like, next_id = next(iter(there.values())), free_id(session, Product)
    new = [formula for formula in names if formula not in there]
    own = [{**like, "id": next_id + n, "formula_id": one, "name": names[one]} for n, one in enumerate(new)]
    put(session, Product, own)
    return there | {row["formula_id"]: row for row in own}


def _packaging_lots(session: Session) -> list[int]:
    """Receive lots of packaging for all the years; return their ids, the oldest first."""
    packaging = [row["id"] for row in rows_of(session, PackagingRow)]
    like = rows_of(session, Lot, Lot.material_id.is_not(None))[-1]
    next_id, lots = free_id(session, Lot), []
    for place in range(LOTS_OF_PACKAGING):
        own = {"material_id": None, "packaging_id": packaging[place % len(packaging)], "from_batch_id": None}
        words = {"code": f"P-{place + 1}", "supplier_lot": f"SP{place}", "amount_text": "1000000 pieces"}
        lots.append({**like, **own, **words, "id": next_id + place, "on_hand": Decimal(0)})
    put(session, Lot, lots)
    put(session, StockMove, (_move(lot["id"], MoveKind.RECEIVED, RECEIVED_G, lot["created_at"]) for lot in lots))
    return [lot["id"] for lot in lots]


def _sent(session: Session, runs: list[Row], receivers: int) -> None:
    first = free_id(session, Receiver)
    put(session, Receiver, (
        {"id": first + n, "kind": ReceiverKind.SHOP if n % 9 == 0 else ReceiverKind.PERSON, "name": f"Receiver {n}",
         "contact": f"receiver{n}@x.example", "created_at": _at(LAST_DAY), "row_version": 1}
        for n in range(receivers)
    ))  # fmt: skip
    common = {"order_number": "", "by": "Tom", "cancelled_by": "", "cancelled_why": "", "kind": DispatchKind.SALE}
    put(session, Dispatch, (
        {**common, "batch_id": run["batch_id"], "product_id": run["product_id"],
         "product_name": run["product_name"], "run_id": run["id"], "units": units,
         "receiver_id": first + (run["id"] * step) % receivers, "sent_on": run["packed_on"] + timedelta(days=step),
         "created_at": run["created_at"]}
        for place, run in enumerate(runs)
        for step, units in ((3, 5), (11, 7 if place > len(runs) - len(runs) // 50 else 13))
    ))  # fmt: skip


def _stock_takes(session: Session, shelf: Copies, size: Size) -> None:
    """Count lots over and over until there are as many lines in the ledger as asked for; then use the old ones up."""
    there = session.scalar(select(func.count(StockMove.id))) or 0
    lots = [lot for ids in shelf.lots.values() for lot in ids]
    old = [lot for ids in shelf.lots.values() for lot in ids[:-1]]
    left = max(0, size.moves - there - len(old))
    at = _at(LAST_DAY)
    put(session, StockMove, (_move(lots[n % len(lots)], MoveKind.COUNTED, Decimal(0), at) for n in range(left)))
    held = dict(session.execute(select(Lot.id, Lot.on_hand).where(Lot.id.in_(select(StockMove.lot_id)))).all())
    put(session, StockMove, (_move(lot, MoveKind.COUNTED, -held[lot], at) for lot in old if held[lot]))
