"""The large workshop holds together as if it had been worked, and is the same at every run."""

import shutil
from pathlib import Path

import pytest
from sqlalchemy import func, select

from app.store.batches import Batch, BatchLine, BatchState, BatchWeighing
from app.store.engine import Store, sqlite_url
from app.store.formulas import FormulaVersion
from app.store.materials import MaterialRow
from app.store.stock import Lot, StockMove
from app.work.formulas.versions import formula_of
from app.work.large_workshop import Size, multiply, size_of
from app.work.stock.ledger import check_ledger
from app.work.tracing.reach import back, onward

pytestmark = pytest.mark.sqlite
SMALL = Size(materials=130, formulas=40, batches=120, moves=4000)


def test_a_hundredth_is_a_hundredth() -> None:
    assert size_of(1) == Size(5_000, 2_000, 50_000, 1_000_000)
    assert size_of(0.01) == Size(50, 20, 500, 10_000)


def test_every_gram_leads_to_a_lot_and_the_ledger_adds_up(demo: Store) -> None:
    multiply(demo, SMALL)
    lots, faults = check_ledger(demo)
    assert (lots > 1000, faults) == (True, [])
    with demo.reading() as session:

        def count(of: object, *where: object) -> int:
            return session.scalar(select(func.count(of)).where(*where)) or 0  # type: ignore[arg-type]

        assert (count(MaterialRow.id), count(FormulaVersion.id), count(StockMove.id)) == (130, 40, 4000)
        made = select(Batch.id).where(Batch.number.startswith("N"))
        assert count(Batch.id, Batch.id.in_(made), Batch.state == BatchState.RELEASED) > 80
        of_made = BatchWeighing.line_id.in_(select(BatchLine.id).where(BatchLine.batch_id.in_(made)))
        assert count(BatchWeighing.id, of_made) > 1000
        assert count(BatchWeighing.id, of_made, BatchWeighing.lot_id.is_(None)) == 0
        version = session.scalars(select(FormulaVersion).order_by(FormulaVersion.id.desc())).first()
        assert version is not None
        formula = formula_of(version)
        names = {line.material.id: line.name for line in formula.lines}
        assert names == dict(
            session.execute(select(MaterialRow.id, MaterialRow.name).where(MaterialRow.id.in_(names))).all()
        )
        own = session.scalars(select(Lot).where(Lot.from_batch_id.in_(made)).order_by(Lot.id)).all()
        chained = [lot for lot in own if len(back(session, [lot.from_batch_id or 0]).batches) > 1]
        assert chained
        assert any(onward(session, [lot.id]).lots for lot in own)


def test_the_same_size_gives_the_same_rows(demo: Store, demo_file: Path, tmp_path: Path) -> None:
    again = Store(sqlite_url(Path(shutil.copy(demo_file, tmp_path / "again.db"))))
    found = []
    for store in (demo, again):
        multiply(store, Size(60, 9, 12, 500))
        with store.reading() as session:
            columns = (BatchWeighing.line_id, BatchWeighing.lot_id, BatchWeighing.grams, BatchWeighing.at)
            of_made = BatchWeighing.line_id.in_(
                select(BatchLine.id).join(Batch, Batch.id == BatchLine.batch_id).where(Batch.number.startswith("N"))
            )
            weighed = session.execute(select(*columns).where(of_made).order_by(BatchWeighing.id)).all()
            lots = session.execute(select(Lot.code, Lot.from_batch_id, Lot.on_hand).order_by(Lot.id)).all()
            found.append((weighed, lots))
    again.close()
    assert found[0] == found[1]
    assert len(found[0][0]) > 80
