"""Small workshops drawn by hand: lots, batches, what went into which, packing runs, receivers."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, date, datetime
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store.batches import Batch, BatchLine, BatchState, BatchWeighing
from app.store.distribution import Dispatch, DispatchKind, Receiver
from app.store.engine import Store
from app.store.formulas import FormulaVersion
from app.store.materials import PackagingRow
from app.store.packing import PackingLotUse, PackingRun, RunState
from app.store.products import Product
from app.store.stock import Lot, LotState
from app.store.workshop import Jurisdiction

AT = datetime(2026, 11, 20, 10, tzinfo=UTC)
DAY = date(2026, 11, 20)


class TakenBackError(Exception):
    """Ends a transaction as if it had never been."""


@contextmanager
def drawn_in(store: Store, material_id: int) -> Iterator["Graph"]:
    """Give a graph whose rows are gone afterwards."""
    with suppress(TakenBackError), store.transaction() as session:
        yield Graph(session, material_id)
        raise TakenBackError


class Graph:
    """Writes rows into an open session and remembers their ids by name; a batch is released once it is whole."""

    def __init__(self, session: Session, material_id: int) -> None:
        self.session, self.material_id = session, material_id
        self.version = session.scalars(select(FormulaVersion)).first()
        assert self.version is not None
        self.batches: dict[str, int] = {}
        self.lots: dict[str, int] = {}
        self.runs: dict[str, int] = {}
        self.receivers: dict[str, int] = {}
        self.product = Product(
            formula_id=self.version.formula_id, name="Gel, 100 ml", fill_amount=Decimal(100), fill_unit="mL",
            currency="EUR", created_at=AT,
        )  # fmt: skip
        self._add(self.product)

    def _add(self, row: object) -> int:
        self.session.add(row)
        self.session.flush()
        return int(row.id)  # type: ignore[attr-defined]

    def batch(self, number: str) -> int:
        batch = Batch(
            number=number, version_id=self.version.id, size_g=Decimal(500), planned_on=DAY, created_at=AT,
            state=BatchState.IN_PROCESS,
        )  # fmt: skip
        self.batches[number] = self._add(batch)
        return self.batches[number]

    def lot(self, code: str, *, made_in: str = "", supplier_lot: str = "", packaging_id: int | None = None) -> int:
        lot = Lot(
            code=code, material_id=None if packaging_id else self.material_id, packaging_id=packaging_id,
            from_batch_id=self.batches[made_in] if made_in else None, supplier_lot=supplier_lot, received_on=DAY,
            created_at=AT, state=LotState.ACCEPTED, decided_at=AT, decided_by="Tom",
        )  # fmt: skip
        self.lots[code] = self._add(lot)
        return self.lots[code]

    def weigh(
        self, batch: str, lot: str = "", *, text: str = "", grams: str | None = "10", by: int | None = None
    ) -> int:
        """Weigh into a batch from a lot, or from words; ``by`` is the weighing that this one replaces."""
        batch_id = self.batches[batch]
        place = len(self.session.scalars(select(BatchLine.id).where(BatchLine.batch_id == batch_id)).all())
        line = BatchLine(
            batch_id=batch_id, position=place, phase="A", material_id=self.material_id, name="Solution",
            percent=Decimal(1), target_g=Decimal(10), shown_g=Decimal(10),
        )  # fmt: skip
        self._add(line)
        weighing = BatchWeighing(
            line_id=line.id, grams=None if grams is None else Decimal(grams), lot_id=self.lots.get(lot),
            lot_text=text or lot, by="Ines", at=AT, replaces_id=by, reason="wrong lot" if by else "",
        )  # fmt: skip
        return self._add(weighing)

    def release(self) -> None:
        for batch_id in self.batches.values():
            batch = self.session.get_one(Batch, batch_id)
            batch.state, batch.decided_at, batch.decided_by = BatchState.RELEASED, AT, "Tom"
        self.session.flush()

    def pack(self, batch: str, units: int = 10, *, code: str = "", lots: tuple[str, ...] = ()) -> int:
        run = PackingRun(
            number=f"{batch}-P{len(self.runs) + 1}", batch_id=self.batches[batch], product_id=self.product.id,
            packed_on=DAY, fill_amount=Decimal(100), fill_unit="mL", jurisdiction=Jurisdiction.EU,
            units_filled=units, code_printed=code or batch, created_at=AT,
            lots=[PackingLotUse(lot_id=self.lots[one], issued=units, used=units, at=AT) for one in lots],
        )  # fmt: skip
        self.runs[run.number] = self._add(run)
        run.state, run.closed_at, run.closed_by = RunState.CLOSED, AT, "Ines"
        self.session.flush()
        return self.runs[run.number]

    def send(self, batch: str, units: int, receiver: str = "", *, run: int | None = None, back: bool = False) -> int:
        if receiver and receiver not in self.receivers:
            self.receivers[receiver] = self._add(
                Receiver(name=receiver, contact=f"{receiver}@x.example", created_at=AT)
            )
        return self._add(
            Dispatch(
                kind=DispatchKind.RETURNED if back else DispatchKind.SALE, batch_id=self.batches[batch],
                product_id=self.product.id, run_id=run, receiver_id=self.receivers.get(receiver), units=units,
                sent_on=DAY, by="Tom", created_at=AT,
            )
        )  # fmt: skip

    def packaging(self) -> int:
        return self._add(PackagingRow(name="Jar 100 ml", units_per_pack=Decimal(1)))
