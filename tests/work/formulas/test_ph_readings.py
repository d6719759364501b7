"""What was read in the batches of a formula: its own, and no other formula's."""

from decimal import Decimal

from sqlalchemy import select

from app.store.batches import Batch, BatchReading
from app.store.engine import Store
from app.store.formulas import FormulaRow, FormulaVersion
from app.work.formulas.readings import ph_readings


def test_a_formula_has_the_ph_readings_of_its_own_batches(demo: Store) -> None:
    with demo.reading() as session:
        found = {
            formula.id: [(one.batch_id, one.ph) for one in ph_readings(session, formula.id)]
            for formula in session.scalars(select(FormulaRow))
        }
        own = select(FormulaVersion.formula_id, Batch.id, BatchReading.value).join(
            Batch, Batch.version_id == FormulaVersion.id
        )
        rows = session.execute(own.join(BatchReading).where(BatchReading.kind == "pH")).all()
    read = {formula_id: [(batch_id, ph)] for formula_id, batch_id, ph in rows}
    assert len(read) >= 3
    assert found == {formula_id: read.get(formula_id, []) for formula_id in found}
    assert Decimal("6.1") in {ph for listed in found.values() for _, ph in listed}
