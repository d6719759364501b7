"""The demonstration workshop uses every part of the tool, and adds up."""

from decimal import Decimal

from sqlalchemy import select

from app.store.batches import Batch, BatchState
from app.store.engine import Store
from app.store.formulas import Formula, FormulaVersion
from app.store.workshop import scales, the_workshop
from app.work.formulas.versions import read_version


def test_every_product_is_a_version_that_adds_up(demo: Store) -> None:
    with demo.reading() as session:
        versions = session.scalars(select(FormulaVersion.id)).all()
        sums = {sum(line.percent for line in read_version(session, v).lines) for v in versions}
    assert len(versions) == 8
    assert sums == {Decimal(100)}


def test_the_kinds_of_product_that_were_promised_are_there(demo: Store) -> None:
    with demo.reading() as session:
        kinds = " ".join(session.scalars(select(Formula.product_type)))
    for word in ("gel", "oil in water", "body wash", "cationic", "anhydrous", "powder", "tinted", "mist"):
        assert word in kinds


def test_there_are_scales_and_batches_in_every_state(demo: Store) -> None:
    with demo.reading() as session:
        assert len(scales(session)) == 3
        assert the_workshop(session).is_demo
        assert set(session.scalars(select(Batch.state))) == set(BatchState) - {
            BatchState.QUARANTINE,
            BatchState.CANCELLED,
        }
