"""Any sequence of actions on batches: weights add up, numbers are unique, a released record stays as it is."""

import contextlib
import shutil
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError

from app.store.batches import Batch, BatchState
from app.store.engine import Store, sqlite_url
from app.store.errors import Conflict
from app.work.batches.batch_readings import ReadingForm, YieldForm, add_reading, record_yield
from app.work.batches.changing import SwapForm, change_plan, plan_of, swap_material
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.deviations import record_deviation, still_open
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.batches.weighing import WeighingForm, WeightCorrection, correct_weighing, record_weighings
from app.work.deviations import DeviationForm
from app.work.form import Faults

TABLES = ("batch_line", "batch_reading", "batch_deviation", "batch_tick")
grams = st.decimals("0.01", "400", places=2)
pick = st.integers(0, 50)


class Batches(RuleBasedStateMachine):
    """One batch at a time, with what it should hold kept beside it."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.store = Store(sqlite_url(path))
        self.taken: dict[int, dict[int, Decimal]] = {}
        self.released: dict[int, list[object]] = {}
        self.plan()

    def teardown(self) -> None:
        self.store.close()

    def load(self) -> Batch:
        with self.store.reading() as session:
            return load_batch(session, self.batch_id)

    def open_points(self) -> list[str]:
        with self.store.reading() as session:
            return [one.key for one in still_open(session, load_batch(session, self.batch_id))]

    def rows(self, batch_id: int) -> list[object]:
        """Give everything that is stored of a batch, as it stands in the tables."""
        queries = ["SELECT * FROM batch WHERE id = :b"]
        queries += [f"SELECT * FROM {table} WHERE batch_id = :b" for table in TABLES]  # noqa: S608
        queries.append("SELECT * FROM batch_weighing WHERE line_id IN (SELECT id FROM batch_line WHERE batch_id = :b)")
        with self.store.reading() as session:
            return [tuple(map(tuple, session.execute(text(query), {"b": batch_id}))) for query in queries]

    @property
    def is_open(self) -> bool:
        return not self.load().is_decided

    @rule()
    def plan(self) -> None:
        self.batch_id = plan_batch(self.store, Plan(1, None, "300 g", planned_on="2026-11-30", made_by="Ines"))
        self.taken[self.batch_id] = {}

    @precondition(lambda self: self.is_open)
    @rule(place=pick, amount=grams)
    def weigh(self, place: int, amount: Decimal) -> None:
        batch = self.load()
        line = batch.lines[place % len(batch.lines)]
        entry = WeighingForm(line.id, f"{amount:f}", "L: a trial", sure=f"{amount:f}")
        record_weighings(self.store, self.batch_id, batch.row_version, [entry], who="Ines")
        line = next(one for one in self.load().lines if one.id == line.id)
        self.taken[self.batch_id][line.weighings[-1].id] = amount

    @rule(place=pick, amount=grams)
    def correct(self, place: int, amount: Decimal) -> None:
        taken = self.taken[self.batch_id]
        if not taken or self.batch_id in self.released:
            return
        old = sorted(taken)[place % len(taken)]
        if taken[old] == amount:
            return
        correct_weighing(self.store, self.batch_id, old, WeightCorrection(f"{amount:f}", "L", "Tom", "misread"))
        del taken[old]
        taken[max(one.id for line in self.load().lines for one in line.weighings)] = amount

    @precondition(lambda self: self.is_open)
    @rule(size=st.integers(100, 900))
    def change(self, size: int) -> None:
        batch = self.load()
        plan = plan_of(batch).but(size=f"{size} g", who="Tom")
        try:
            change_plan(self.store, self.batch_id, batch.row_version, plan)
        except Conflict:
            assert batch.state is not BatchState.PLANNED

    @precondition(lambda self: self.is_open)
    @rule(place=pick)
    def swap(self, place: int) -> None:
        lines = [line for line in self.load().lines if line.actual_g is None]
        if lines:
            line = lines[place % len(lines)]
            other = next(one.material_id for one in self.load().lines if one.material_id != line.material_id)
            swap_material(self.store, self.batch_id, line.id, SwapForm(material=other, who="Tom", why="none left"))

    @precondition(lambda self: self.is_open)
    @rule(ph=st.sampled_from(["6.0", "3.1"]))
    def finish(self, ph: str) -> None:
        """Weigh what is left as planned, read the pH, note the yield."""
        batch = self.load()
        left = {line.id: line.shown_g for line in batch.lines if line.actual_g is None}
        entries = [WeighingForm(line_id, f"{amount:f}", "L: a trial") for line_id, amount in left.items()]
        record_weighings(self.store, self.batch_id, batch.row_version, entries, who="Ines")
        for line in self.load().lines:
            if line.id in left:
                self.taken[self.batch_id][line.weighings[-1].id] = left[line.id]
        add_reading(self.store, self.batch_id, ReadingForm(kind="pH", words=ph, who="Ines"))
        record_yield(self.store, self.batch_id, YieldForm(f"{self.load().held_g * Decimal('0.97'):f}", "Ines"))

    @precondition(lambda self: self.is_open)
    @rule()
    def decide_on_all(self) -> None:
        for key in self.open_points():
            record_deviation(
                self.store, self.batch_id, DeviationForm(key, "", "slip", "none", "accepted", "Tom", "yes")
            )

    @precondition(lambda self: self.is_open)
    @rule()
    def release(self) -> None:
        still, version = self.open_points(), self.load().row_version
        if still:
            with pytest.raises(Faults) as refused:
                decide(self.store, self.batch_id, version, BatchDecision(state="released", who="Tom"))
            assert set(refused.value.by_field) == {"state"}
            return
        with contextlib.suppress(Faults):  # a stop of the batch as made
            decide(self.store, self.batch_id, version, BatchDecision(state="released", who="Tom"))
            self.released[self.batch_id] = self.rows(self.batch_id)
            for change in ("UPDATE batch_line SET shown_g = '1'", "DELETE FROM batch_reading"):
                with pytest.raises(DBAPIError), self.store.transaction() as session:
                    session.execute(text(f"{change} WHERE batch_id = :b"), {"b": self.batch_id})

    @precondition(lambda self: self.is_open)
    @rule()
    def make_it_whole(self) -> None:
        """Go the usual way to the end, whatever happened before."""
        self.finish("6.0")
        self.decide_on_all()
        self.release()

    @invariant()
    def a_line_is_the_sum_of_what_stands(self) -> None:
        batch = self.load()
        found = {one.id: one.grams for line in batch.lines for one in line.standing if one.grams is not None}
        assert found == self.taken[self.batch_id]
        assert batch.weighed_g == sum(found.values())

    @invariant()
    def numbers_are_unique(self) -> None:
        with self.store.reading() as session:
            numbers = list(session.scalars(select(Batch.number)))
        assert len(set(numbers)) == len(numbers)

    @invariant()
    def what_is_released_stays(self) -> None:
        for batch_id, rows in self.released.items():
            assert self.rows(batch_id) == rows


@pytest.fixture
def copies(demo_file: Path, tmp_path: Path) -> Iterator[Path]:
    return (Path(shutil.copy(demo_file, tmp_path / f"{n}.db")) for n in range(1000))


@pytest.mark.sqlite
def test_after_any_sequence_of_actions_the_record_holds(copies: Iterator[Path]) -> None:
    few = settings(max_examples=5, stateful_step_count=8, deadline=None)
    run_state_machine_as_test(lambda: Batches(next(copies)), settings=few)
