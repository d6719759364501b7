"""The demonstration workshop uses every part of the tool, and adds up."""

import re
from decimal import Decimal

from sqlalchemy import select

from app.store.batches import Batch, BatchState, BatchWeighing
from app.store.engine import Store
from app.store.formulas import Formula, FormulaVersion
from app.store.materials import Material
from app.store.workshop import scales, the_workshop
from app.web import create_app
from app.work.formulas.versions import read_version
from app.work.stock.ledger import check_ledger
from app.work.stock.listing import attention


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


def test_a_released_batch_has_the_ph_its_formula_asks_for(demo: Store) -> None:
    with demo.reading() as session:
        released = session.scalars(select(Batch).where(Batch.state == BatchState.RELEASED)).all()
        compared = [
            (read_version(session, batch.version_id).target_ph, reading.value)
            for batch in released
            for reading in batch.readings
            if reading.kind == "pH"
        ]
    assert len(compared) == 2
    assert all(target and read and abs(target - read) <= Decimal("0.2") for target, read in compared)


def test_lots_are_letters_and_a_number_and_formulas_were_written_one_after_the_other(demo: Store) -> None:
    with demo.reading() as session:
        lots = session.scalars(select(BatchWeighing.lot_text)).all()
        written = session.scalars(select(Formula.changed_at)).all()
    assert lots
    assert not [code for code in lots if not re.fullmatch(r"[A-Z]{1,3}-\d{5}", code)]
    assert len({moment.date() for moment in written}) == len(written)


def test_no_product_of_the_demonstration_gets_a_caution_for_its_ph(demo: Store) -> None:
    page = create_app(demo, secret=b"a key for tests").test_client().get("/formulas/3/checks").text
    assert "outside pH" not in page


def test_the_stock_of_the_demo_adds_up_and_shows_what_a_stock_can_say(demo: Store) -> None:
    count, faults = check_ledger(demo)
    assert count > 20
    assert faults == []
    with demo.reading() as session:
        seen = attention(session)
        assert (seen.held, seen.expired) == (1, 1)
        assert session.scalars(select(Material.name).where(Material.drawn_here == 1)).all() == ["Water, purified"]
