"""The ledger where several programs write at once, and where one is killed in the midst of a write."""

import json
import os
import subprocess
import sys
from contextlib import ExitStack
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test
from sqlalchemy import func, select, text

from app.store.batches import Batch
from app.store.engine import Store
from app.store.packing import FinishedMove, PackingRun, RetainedSample, get_run
from app.store.stock import Lot, StockMove, lot_of_code
from app.work.deviations import DeviationForm
from app.work.form import Faults
from app.work.packing.deviations import close_run, record_run_deviation, still_open
from app.work.packing.finished import finished_rows
from app.work.packing.packaging_lots import LotUseForm, record_lot_use
from app.work.packing.runs import RunForm, figures_form, packable, record_figures, start_run
from app.work.packing.samples import SampleForm, keep_sample
from app.work.packing.units_by_hand import UnitsForm, move_units
from app.work.stock.ledger import check_ledger
from app.work.stock.lots import ReceiveForm, receive

D = Decimal
ROOT = Path(__file__).resolve().parents[2]
ROUNDS, KILLS = 200, 50


def program(*arguments: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.work.racing", *map(str, arguments)]
    return subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


@pytest.fixture
def lot_id(store: Store, gel: Any) -> int:
    form = ReceiveForm(amount="1 kg", by="Ines", received_on="2026-11-02", accepted="yes")
    return receive(store, form, material_id=gel.materials["glycerin"])


def faults_of(store: Store) -> list[Any]:
    """Return what is wrong with the database: its ledger, and on SQLite its references and its pages."""
    found: list[Any] = list(check_ledger(store)[1])
    if store.engine.dialect.name == "sqlite":
        with store.reading() as session:
            found += session.execute(text("PRAGMA foreign_key_check")).all()
            found += [row for row in session.execute(text("PRAGMA integrity_check")) if row[0] != "ok"]
    return found


def test_two_processes_take_from_one_lot_and_plan_and_lose_and_double_nothing(
    store: Store, gel: Any, lot_id: int
) -> None:
    with ExitStack() as stack:
        both = [
            stack.enter_context(program("take", store.url, lot_id, gel.formula_id, ROUNDS, who, place))
            for place, who in enumerate(("Ines", "Tom"))
        ]
        for one in both:
            assert one.stdout
            assert one.stdout.readline() == "ready\n"
        for one in both:
            assert one.stdin
            one.stdin.write("go\n")
            one.stdin.flush()
        answers = [json.loads(one.communicate(timeout=120)[0]) for one in both]
    assert [answer["said"] for answer in answers] == [[], []]
    batches = [batch for answer in answers for batch in answer["batches"]]
    assert len(set(batches)) == ROUNDS
    with store.reading() as session:
        lot = session.get_one(Lot, lot_id)
        assert lot.on_hand == 1000 - 2 * ROUNDS
        assert session.scalar(select(func.count(StockMove.id)).where(StockMove.lot_id == lot_id)) == 2 * ROUNDS + 1
        numbers = session.scalars(select(Batch.number)).all()
    assert len(set(numbers)) == len(numbers) == ROUNDS + 1
    assert faults_of(store) == []


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked and killed, which this system cannot do")
def test_a_program_killed_in_a_write_leaves_all_of_it_or_nothing(store: Store, lot_id: int) -> None:
    with program("killed", store.url, lot_id, KILLS) as one:
        begun = int(one.communicate(timeout=120)[0])
    with store.reading() as session:
        taken = 1000 - session.get_one(Lot, lot_id).on_hand
        assert session.scalar(select(func.count(StockMove.id)).where(StockMove.lot_id == lot_id)) == taken + 1
    # Each write that was answered is there; of those under way, at most one a kill.
    assert begun <= taken <= begun + KILLS
    assert begun > KILLS
    assert faults_of(store) == []


PIECES = st.integers(0, 40)


@pytest.mark.sqlite
def test_every_unit_and_every_piece_of_packaging_is_accounted_for(demo: Store) -> None:  # noqa: C901 - a machine
    """A model of runs, lots and finished units beside the real ones: every sum agrees after every step."""

    class Packing(RuleBasedStateMachine):
        @initialize()
        def begin(self) -> None:
            with demo.reading() as session:
                self.batch_id = session.scalars(select(Batch.id).where(Batch.number == "HC-2026-001")).one()
                self.product_id = packable(session, self.batch_id).products[0].id
                jar, box = lot_of_code(session, "JAR-60-0914"), lot_of_code(session, "BOX-0914")
                assert jar
                assert box
                self.lots = {one.code: one.on_hand for one in (jar, box)}
                rows = finished_rows(session)
                self.units = sum(row.on_hand for row in rows if row.batch_id == self.batch_id)
            self.taken: dict[tuple[int, str], tuple[int, int, Decimal]] = {}
            self.filled = self.spoilt = self.kept = 0
            self.run_id = self._start()

        def _start(self) -> int:
            return start_run(demo, self.batch_id, self.product_id, RunForm(bulk="100 g", who="Ines"))

        @rule(code=st.sampled_from(["JAR-60-0914", "BOX-0914"]), issued=PIECES, returned=PIECES)
        def take_pieces(self, code: str, issued: int, returned: int) -> None:
            form = LotUseForm(code=code, issued=str(issued), returned=str(returned), who="Tom")
            if not issued > 0 or returned > issued:
                with pytest.raises(Faults):
                    record_lot_use(demo, self.run_id, form)
                return
            before, net, counted = self.taken.get((self.run_id, code), (0, 0, D(0)))
            more = issued - returned - net
            if more > self.lots[code]:
                with pytest.raises(Faults):
                    record_lot_use(demo, self.run_id, form)
                form = form.but(reason="they are here")
            record_lot_use(demo, self.run_id, form)
            # More than the ledger held is counted up first, and down again where less was issued after all; nothing
            # else lifts or lowers a lot.
            up = max(D(0), more - self.lots[code])
            down = max(D(0), min(counted, D(before - issued), D(-more)))
            self.taken[self.run_id, code] = issued, issued - returned, counted + up - down
            self.lots[code] += up - more - down

        @rule(filled=PIECES, spoilt=PIECES)
        def write_units(self, filled: int, spoilt: int) -> None:
            with demo.reading() as session:
                run = get_run(session, self.run_id)
                texts = {"units_filled": str(filled), "units_spoilt": str(spoilt)}
                form, seen = figures_form(run, who="Tom").but(**texts), run.row_version
            if spoilt + self.kept > filled:
                with pytest.raises(Faults):
                    record_figures(demo, self.run_id, seen, form)
                return
            record_figures(demo, self.run_id, seen, form)
            self.filled, self.spoilt = filled, spoilt

        @rule(units=st.integers(1, 5))
        def keep(self, units: int) -> None:
            form = SampleForm(units=str(units), place="shelf", keep_until="2029-01-31", who="Ines")
            if units > self.filled - self.spoilt - self.kept:
                with pytest.raises(Faults):
                    keep_sample(demo, self.run_id, form)
                return
            keep_sample(demo, self.run_id, form)
            self.kept += units

        @rule()
        def close(self) -> None:
            with demo.reading() as session:
                keys = [one.key for one in still_open(session, get_run(session, self.run_id))]
            for key in keys:
                record_run_deviation(demo, self.run_id, DeviationForm(key, "", "c", "e", "a", "Tom", "yes"))
            with demo.reading() as session:
                seen = get_run(session, self.run_id).row_version
            close_run(demo, self.run_id, seen, who="Tom")
            self.units += self.filled - self.spoilt - self.kept
            self.filled = self.spoilt = self.kept = 0
            self.run_id = self._start()

        @rule(units=st.integers(0, 60), kind=st.sampled_from(["counted", "discarded", "used here"]))
        def move(self, units: int, kind: str) -> None:
            form = UnitsForm(kind=kind, units=str(units), why="x", who="Tom")
            if kind != "counted" and not 0 < units <= self.units:
                with pytest.raises(Faults):
                    move_units(demo, self.product_id, self.batch_id, form)
                return
            move_units(demo, self.product_id, self.batch_id, form)
            self.units = units if kind == "counted" else self.units - units

        @invariant()
        def agrees(self) -> None:
            if not hasattr(self, "run_id"):
                return
            with demo.reading() as session:
                for code, amount in self.lots.items():
                    lot = lot_of_code(session, code)
                    assert lot is not None
                    assert lot.on_hand == amount
                rows = [row for row in finished_rows(session) if row.batch_id == self.batch_id]
                assert sum(row.on_hand for row in rows) == self.units
                assert all(row.on_hand >= 0 for row in rows)
                # Every unit leads to a batch: runs, samples and moves by hand all name one.
                nowhere = select(PackingRun.id).where(PackingRun.batch_id.not_in(select(Batch.id)))
                assert not session.scalars(nowhere).all()
                of_runs = select(PackingRun.id)
                for part in (RetainedSample, FinishedMove):
                    assert not session.scalars(select(part.id).where(part.run_id.not_in(of_runs))).all()
                numbers = session.scalars(select(PackingRun.number)).all()
                assert len(set(numbers)) == len(numbers)
            assert check_ledger(demo)[1] == []

    checks = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
    run_state_machine_as_test(
        Packing, settings=settings(max_examples=4, stateful_step_count=10, deadline=None, suppress_health_check=checks)
    )
