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

from app.science.names import inci_key
from app.store.batches import Batch, BatchEvent, BatchLine, BatchReading, BatchState, BatchWeighing, Tick, TickKind
from app.store.bulk import Row, free_id, put, rows_of
from app.store.engine import Store
from app.store.formulas import DraftMaterial, DraftStep, Formula, FormulaVersion, VersionLine
from app.store.materials import Material, MaterialPart, PartAllergen, Price
from app.store.stock import Lot, LotState, MoveKind, StockMove, Supplier
from app.store.workshop import the_workshop
from app.work.batches.planning import Plan, plan_batch
from app.work.demo import load_demo

MATERIALS, FORMULAS, BATCHES, MOVES = 5_000, 2_000, 50_000, 1_000_000
LAST_DAY = date(2026, 11, 20)
DAYS = 5 * 365
LOTS_OF_A_MATERIAL = 8
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
class Shelf:
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
        ids = list(session.scalars(select(Formula.id).order_by(Formula.id)))
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
        _stock_takes(session, shelf, size)


def _sample(session: Session, ids: list[int], planned: list[int]) -> Sample:
    formulas = []
    for formula_id, batch_id in zip(ids, planned, strict=True):
        batch = rows_of(session, Batch, Batch.id == batch_id)[0]
        formulas.append(
            SampleFormula(
                rows_of(session, Formula, Formula.id == formula_id)[0],
                rows_of(session, DraftStep, DraftStep.formula_id == formula_id)[-1],
                rows_of(session, FormulaVersion, FormulaVersion.id == batch["version_id"])[0],
                rows_of(session, VersionLine, VersionLine.version_id == batch["version_id"]),
                batch,
                rows_of(session, BatchLine, BatchLine.batch_id == batch_id),
            )
        )
    materials, parts, allergens, prices = (
        rows_of(session, model) for model in (Material, MaterialPart, PartAllergen, Price)
    )
    return Sample(materials, parts, allergens, prices, tuple(formulas))


def _shelf(session: Session, sample: Sample, size: Size) -> Shelf:
    """Copy the shelf until there are as many materials as asked for, and receive the lots of all of them."""
    wanted = max(size.materials, len(sample.materials))
    first, names = {row["id"]: row["id"] for row in sample.materials}, {r["id"]: r["name"] for r in sample.materials}
    copies: list[dict[int, int]] = [first]
    next_id, materials = free_id(session, Material), []
    while len(names) < wanted:
        copies.append({})
        for row in sample.materials[: wanted - len(names)]:
            name = f"{row['name']} {len(copies)}"
            materials.append({**row, "id": next_id, "name": name, "name_key": inci_key(name), "library_key": None})
            copies[-1][row["id"]] = next_id
            names[next_id] = name
            next_id += 1
    put(session, Material, materials)
    _parts(session, sample, copies[1:])
    if len(copies) > 1 and len(copies[-1]) < len(first):
        copies.pop()
    return Shelf(tuple(copies), names, _lots(session, names))


def _parts(session: Session, sample: Sample, copies: list[dict[int, int]]) -> None:
    """Copy what the materials are made of and what they cost."""
    parts = _copied(session, MaterialPart, sample.parts, "material_id", copies)
    _copied(session, Price, sample.prices, "material_id", copies)
    _copied(session, PartAllergen, sample.allergens, "part_id", parts)


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
    return {**row, "batch_id": None, "batch_line_id": None, **of}


def _formulas(session: Session, sample: Sample, shelf: Shelf, size: Size) -> list[tuple[int, int, int]]:
    """Copy the formulas; return for each version its id, which formula of the sample and which copy of the shelf."""
    count = len(sample.formulas)
    found = [(one.version["id"], place, 0) for place, one in enumerate(sample.formulas)]
    tables: dict[Any, list[Row]] = {model: [] for model in (Formula, DraftStep, DraftMaterial, FormulaVersion)}
    lines: list[Row] = []
    formula_id, version_id = free_id(session, Formula), free_id(session, FormulaVersion)
    for number in range(count, size.formulas):
        place, copy = number % count, number // count % len(shelf.copies)
        one, ids = sample.formulas[place], shelf.copies[number // count % len(shelf.copies)]
        words = {"name": f"{one.formula['name']} {number // count + 1}", "code": f"{one.formula['code']}{number}"}
        draft = json.dumps(_renamed(json.loads(one.step["content"]), words, ids, shelf.names))
        value = json.dumps(_renamed(json.loads(one.version["value"]), words, ids, shelf.names))
        tables[Formula].append({**one.formula, "id": formula_id, **words, "draft_step": 1})
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


def _batches(session: Session, sample: Sample, shelf: Shelf, versions: list[tuple[int, int, int]], size: Size) -> None:
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
    shelf: Shelf,
    versions: list[tuple[int, int, int]],
    first: tuple[int, int],
    size: Size,
) -> Iterator[dict[Any, list[Row]]]:
    """Give what each batch holds, a batch at a time, by table."""
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


def _made_here(session: Session, shelf: Shelf, versions: list[tuple[int, int, int]], first: int, size: Size) -> None:
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


def _stock_takes(session: Session, shelf: Shelf, size: Size) -> None:
    """Count lots over and over until there are as many lines in the ledger as asked for; then use the old ones up."""
    there = session.scalar(select(func.count(StockMove.id))) or 0
    lots = [lot for ids in shelf.lots.values() for lot in ids]
    old = [lot for ids in shelf.lots.values() for lot in ids[:-1]]
    left = max(0, size.moves - there - len(old))
    at = _at(LAST_DAY)
    put(session, StockMove, (_move(lots[n % len(lots)], MoveKind.COUNTED, Decimal(0), at) for n in range(left)))
    held = dict(session.execute(select(Lot.id, Lot.on_hand).where(Lot.id.in_(select(StockMove.lot_id)))).all())
    put(session, StockMove, (_move(lot, MoveKind.COUNTED, -held[lot], at) for lot in old if held[lot]))
