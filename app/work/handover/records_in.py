"""Records in: what the suppliers, lots and batches of a file would become here, and writing them as they were.

A batch comes in once it was decided; from then on the database itself keeps it as it is. One that is still open is left
out and named: it comes when it is decided. Lots come with their ledger, or, where the file has none, with what is on
hand as the opening line of it.
"""

from collections.abc import Mapping, Set
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.names import inci_key
from app.store.batches import DECIDED, Batch, BatchState
from app.store.formulas import FormulaVersion
from app.store.materials import PackagingRow
from app.store.products import Product
from app.store.stock import Lot, LotEvent, MoveKind, StockMove, Supplier
from app.work.clock import now
from app.work.handover.records import SHEETS, row_of
from app.work.handover.records_read import LINKS, LONGEST_CODE, NUMBERED, PARTS, Row, Rows, values_of, with_ids_of

SAME, NEW, OUT = "same", "new", "out"


@dataclass(frozen=True, slots=True)
class IncomingRecord:
    """A lot or batch of a file: what it is, how it stands to what is here, and what it is called here.

    ``state`` is ``new``, ``same`` (it is here) or ``out``, with ``why`` it stays out.
    """

    name: str
    what: str
    state: str
    called: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class RecordPlan:
    """What the records of a file would become here."""

    suppliers: tuple[str, ...] = ()
    lots: tuple[IncomingRecord, ...] = ()
    batches: tuple[IncomingRecord, ...] = ()

    @property
    def is_new(self) -> bool:
        """Whether anything of it would be written."""
        return bool(self.suppliers) or any(one.state == NEW for one in (*self.lots, *self.batches))

    def taken(self, kind: str) -> dict[str, IncomingRecord]:
        """Return the lots or batches that would be written, by their names in the file."""
        return {one.name: one for one in getattr(self, kind) if one.state == NEW}


@dataclass(frozen=True, slots=True)
class KnownNames:
    """What records may refer to: materials by their keys, and versions by the code and number of the file.

    ``versions`` says why one that cannot be used cannot; None where it can.
    """

    materials: Set[str]
    versions: Mapping[tuple[str, str], str | None]


def plan_records(session: Session, tables: Rows, known: KnownNames) -> RecordPlan:
    """Return what the records of a file would become here; the file has no `record_faults`."""
    suppliers = {name.casefold() for name in session.scalars(select(Supplier.name))}
    batches = {row["number"]: _incoming_batch(session, row, known) for row in tables["batches"]}
    for row in tables["batch_lines"]:
        for column in ("on_shelf", "planned_on_shelf"):
            _needs(batches, row["batch"], row[column], known)
    for row in tables["ph_sessions"]:
        _needs(batches, row["batch"], row["material"], known)
    packaging = {*session.scalars(select(PackagingRow.name)), *(row["name"] for row in tables["packaging"])}
    codes = {row["code"] for row in tables["lots"]}
    lots = {row["code"]: _incoming_lot(session, row, known, packaging, codes) for row in tables["lots"]}
    made_by = {row["code"]: row["from_batch"] for row in tables["lots"] if row["from_batch"]}
    drawn_from = {(row["batch"], row["from_lot"]) for row in tables["weighings"] if row["from_lot"]}
    while True:  # a lot stays out with the batch that made it, and a batch with a lot it was weighed from
        more = [
            *((lots, code, f"it was made by batch {batch}, which stays out") for code, batch in made_by.items()
              if lots[code].state == NEW and (batch not in batches or batches[batch].state == OUT)),
            *((batches, batch, f"it was weighed from lot {lot}, which stays out") for batch, lot in drawn_from
              if batches[batch].state == NEW and lots[lot].state == OUT),
        ]  # fmt: skip
        if not more:
            break
        for records, name, why in more:
            records[name] = replace(records[name], state=OUT, why=why)
    named = (*(row["name"] for row in tables["suppliers"]), *(row["supplier"] for row in tables["lots"]))
    new = {name.casefold(): name for name in named if name.strip() and name.casefold() not in suppliers}
    return RecordPlan(tuple(new.values()), tuple(lots.values()), tuple(batches.values()))


def _incoming_batch(session: Session, row: Row, known: KnownNames) -> IncomingRecord:
    number = row["number"]
    what = f"{row['formula']}, version {row['version']}, {row['state']}"
    here = session.scalars(select(Batch).where(Batch.number == number)).one_or_none()
    if here is not None:
        # The formula may have come in beside another and so be called otherwise here.
        apart = ("formula", "version", "product")
        mine = {key: text for key, text in row_of("batches", here).items() if key not in apart}
        same = mine == {key: text for key, text in row.items() if key not in apart}
        why = "" if same else "another batch has its number"
        return IncomingRecord(number, what, SAME if same else OUT, number, why)
    if BatchState(row["state"]) not in DECIDED:
        return IncomingRecord(number, what, OUT, number, "it is still open there; it comes in once it is decided")
    missing = f"version {row['version']} of {row['formula']} is not in the file"
    against = known.versions.get((row["formula"], row["version"]), missing)
    return IncomingRecord(number, what, OUT if against else NEW, number, against or "")


def _needs(batches: dict[str, IncomingRecord], batch: str, name: str, known: KnownNames) -> None:
    if name and inci_key(name) not in known.materials and batches[batch].state == NEW:
        batches[batch] = replace(batches[batch], state=OUT, why=f"its material {name} is nowhere")


def _incoming_lot(
    session: Session, row: Row, known: KnownNames, packaging: Set[str], codes: Set[str]
) -> IncomingRecord:
    code, kind, name = row["code"], row["kind"], row["of"]
    here = session.scalars(select(Lot).where(Lot.code == code)).one_or_none()
    if here is not None:
        told_by = ("kind", "of", "supplier_lot", "received_on", "from_batch", "created_at")
        mine = row_of("lots", here)
        if all(mine[key] == row[key] for key in told_by):
            return IncomingRecord(code, name, SAME, code)
        stem = code[: LONGEST_CODE - 4]
        code = next(
            free
            for free in (f"{stem}-{n}" for n in range(2, 10_000))
            if free not in codes and session.scalar(select(Lot.id).where(Lot.code == free)) is None
        )
    there = {"material": inci_key(name) in known.materials, "packaging": name in packaging}
    if not there.get(kind, kind == "bulk" and bool(row["from_batch"])):
        return IncomingRecord(row["code"], name, OUT, code, f"{name or 'what is in it'} is nowhere")
    return IncomingRecord(row["code"], name, NEW, code)


@dataclass(frozen=True, slots=True)
class Here:
    """The ids of what records refer to: materials by key, packaging by name, formulas by their code in the file."""

    materials: Mapping[str, int]
    packaging: Mapping[str, int]
    formulas: Mapping[str, int]
    file_name: str
    by: str


def add_records(session: Session, tables: Rows, plan: RecordPlan, here: Here) -> dict[str, list[int]]:
    """Write the suppliers, lots and batches that are new, and return their ids by kind."""
    writer = _Writer(session, tables, plan, here)
    suppliers = writer.add_suppliers()
    writer.add_batches()
    writer.add_lots()
    writer.add_parts()
    writer.add_ledger()
    writer.decide()
    return {
        "suppliers": suppliers,
        "lots": [writer.lots[name].id for name in plan.taken("lots")],
        "batches": [writer.batches[name].id for name in plan.taken("batches")],
    }


@dataclass(frozen=True, slots=True)
class _Writer:
    """The records of a file on their way into the store; batches, lots and parts by their names in the file."""

    session: Session
    tables: Rows
    plan: RecordPlan
    here: Here
    batches: dict[str, Batch] = field(default_factory=dict)
    lots: dict[str, Lot] = field(default_factory=dict)
    parts: dict[tuple[str, str, str], Any] = field(default_factory=dict)

    def add_suppliers(self) -> list[int]:
        """Write the suppliers, also those that only a lot names, and return their ids."""
        described = {row["name"]: row for row in self.tables["suppliers"]}
        made = [
            Supplier(**(values_of("suppliers", described[name]) if name in described else {"name": name}))
            for name in self.plan.suppliers
        ]
        self.session.add_all(made)
        self.session.flush()
        return [one.id for one in made]

    def add_batches(self) -> None:
        """Write the batches themselves, open until their parts are there."""
        known = [one.name for one in self.plan.batches if one.state == SAME]
        self.batches.update(
            (one.number, one) for one in self.session.scalars(select(Batch).where(Batch.number.in_(known)))
        )
        taken = self.plan.taken("batches")
        for row in (one for one in self.tables["batches"] if one["number"] in taken):
            formula_id = self.here.formulas[row["formula"]]
            version = select(FormulaVersion.id).where(
                FormulaVersion.formula_id == formula_id, FormulaVersion.number == int(row["version"])
            )
            product = select(Product.id).where(Product.formula_id == formula_id, Product.name == row["product"])
            self.batches[row["number"]] = Batch(
                **values_of("batches", row),
                version_id=self.session.scalars(version).one(),
                product_id=self.session.scalars(product.limit(1)).one_or_none() if row["product"] else None,
                product_name=row["product"],
                state=BatchState.IN_PROCESS,
            )
            self.session.add(self.batches[row["number"]])
        self.session.flush()

    def add_lots(self) -> None:
        """Write the lots, without their ledger."""
        known = [one.name for one in self.plan.lots if one.state == SAME]
        self.lots.update((one.code, one) for one in self.session.scalars(select(Lot).where(Lot.code.in_(known))))
        named = self.session.execute(select(Supplier.name, Supplier.id))
        suppliers = {name.casefold(): key for name, key in named}
        taken = self.plan.taken("lots")
        for row in (one for one in self.tables["lots"] if one["code"] in taken):
            lot = Lot(
                **{**values_of("lots", row), "code": taken[row["code"]].called},
                material_id=self.here.materials[inci_key(row["of"])] if row["kind"] == "material" else None,
                packaging_id=self.here.packaging[row["of"]] if row["kind"] == "packaging" else None,
                from_batch_id=self.batches[row["from_batch"]].id if row["from_batch"] else None,
                supplier_id=suppliers.get(row["supplier"].casefold()),
            )
            self.session.add(lot)
            self.lots[row["code"]] = lot
        self.session.flush()

    def add_parts(self) -> None:
        """Write what was recorded of the batches, in the order in which it was."""
        taken = self.plan.taken("batches")
        for name in PARTS:
            rows = [row for row in self.tables[name] if row["batch"] in taken]
            for row in sorted(rows, key=_number) if name in NUMBERED else rows:
                values = values_of(name, row) | self._linked(name, row) | self._material(name, row)
                record = SHEETS[name].model(**values)  # type: ignore[misc]
                self.session.add(record)
                place = row["position"] if name == "batch_lines" else row.get("number", "")
                self.parts[name, row["batch"], place] = record
            self.session.flush()

    def _linked(self, name: str, row: Row) -> dict[str, int]:
        """Return the ids of the batch or line that a row belongs to, and of the rows of the batch that it names."""
        batch = row["batch"]
        found = (
            {"line_id": self.parts["batch_lines", batch, row["line"]].id}
            if "line" in row
            else {"batch_id": self.batches[batch].id}
        )
        for column, (link, target) in LINKS.get(name, {}).items():
            if row[column]:
                self.session.flush()
                found[link] = self.parts[target, batch, row[column]].id
        return found

    def _material(self, name: str, row: Row) -> dict[str, object]:
        """Return the ids of the material or lot that a row of a batch names, and what it pinned of materials."""
        ids = self.here.materials
        if name == "batch_lines":
            planned = inci_key(row["planned_on_shelf"])
            return {
                "material_id": ids[inci_key(row["on_shelf"])],
                "planned_material_id": ids[planned] if planned else None,
                "material": with_ids_of(row["pinned"], ids),
            }
        if name == "ph_sessions":
            return {"material_id": ids[inci_key(row["material"])], "materials": with_ids_of(row["pinned"], ids)}
        return {"lot_id": self.lots[row["from_lot"]].id} if name == "weighings" and row["from_lot"] else {}

    def add_ledger(self) -> None:
        """Write the moves and the history of the lots; without any move, what is on hand opens the ledger."""
        taken = self.plan.taken("lots")
        for row in (one for one in self.tables["stock_moves"] if one["lot"] in taken):
            batch = self.batches.get(row["batch"])
            line = self.parts.get(("batch_lines", row["batch"], row["line"]))
            self.session.add(
                StockMove(
                    **values_of("stock_moves", row),
                    lot_id=self.lots[row["lot"]].id,
                    batch_id=batch.id if batch else None,
                    batch_line_id=line.id if line else None,
                )
            )
        for row in (one for one in self.tables["lot_history"] if one["lot"] in taken):
            self.session.add(LotEvent(**values_of("lot_history", row), lot_id=self.lots[row["lot"]].id))
        moved = {row["lot"] for row in self.tables["stock_moves"]}
        came = f"came in with {self.here.file_name or 'a file'}"
        for row in (one for one in self.tables["lots"] if one["code"] in taken):
            lot, on_hand = self.lots[row["code"]], Decimal(row["on_hand"] or 0)
            if row["code"] not in moved and on_hand:
                opening = {"kind": MoveKind.COUNTED, "amount": on_hand, "at": now(), "by": self.here.by, "why": came}
                self.session.add(StockMove(lot_id=lot.id, **opening))
            if lot.code != row["code"]:
                lot.log("code", by=self.here.by, at=now(), old=row["code"], new=lot.code, why=came)
        self.session.flush()

    def decide(self) -> None:
        """Give the batches their decisions, with which the store keeps them as they are."""
        for row in self.tables["batches"]:
            if row["number"] in self.plan.taken("batches"):
                batch = self.batches[row["number"]]
                batch.state = BatchState(row["state"])
                batch.decided_at = datetime.fromisoformat(row["decided_at"])
        self.session.flush()


def _number(row: Row) -> int:
    return int(row["number"])
