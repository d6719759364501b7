"""Two people at one workshop at the same moment, each with a program of their own on the same database."""

import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager

import pytest
from sqlalchemy import select

from app.science.errors import Invalid
from app.store.batches import Batch, BatchEvent
from app.store.engine import Store
from app.store.errors import Conflict, Unusable
from app.store.formulas import FormulaRow, FormulaVersion
from app.store.materials import MaterialRow
from app.work.batches.batch_readings import ReadingForm, add_reading
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.form import Faults
from app.work.formulas.editing import create
from app.work.formulas.versions import keep_version
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material

Told = Invalid | Faults | Conflict


@contextmanager
def two(store: Store) -> Iterator[tuple[Store, Store]]:
    """Open the same database twice, as two programs do."""
    with ExitStack() as stack:
        both = Store(store.url), Store(store.url)
        for one in both:
            stack.callback(one.close)
        yield both


def at_once(*actions: Callable[[], object]) -> list[object]:
    """Start actions at the same moment and return what each gave; a plain word to the person counts as an answer."""
    start = threading.Barrier(len(actions))
    answers: list[object] = [None] * len(actions)

    def act(place: int) -> None:
        start.wait(timeout=30)
        for _ in range(5):
            try:
                answers[place] = actions[place]()
            except Exception as error:
                answers[place] = error
            # On a machine that is very busy the other one may hold the database longer than one waits for it.
            if not isinstance(answers[place], Unusable):
                return

    threads = [threading.Thread(target=act, args=(place,)) for place in range(len(actions))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    broken = [answer for answer in answers if isinstance(answer, Exception) and not isinstance(answer, Told)]
    if broken:
        raise broken[0]
    return answers


def plan(formula_id: int = 1) -> Plan:
    return Plan(formula_id, None, "300 g", planned_on="2031-05-06", made_by="Ines")


def test_the_first_numbers_of_a_series_are_given_once(demo: Store) -> None:
    with two(demo) as (one, other):
        ids = at_once(lambda: plan_batch(one, plan()), lambda: plan_batch(other, plan()))
    with demo.reading() as session:
        numbers = session.scalars(select(Batch.number).where(Batch.id.in_(ids))).all()
    assert sorted(numbers) == ["HG-2031-001", "HG-2031-002"]


def test_one_form_pressed_twice_makes_one_batch_and_one_formula(demo: Store) -> None:
    with two(demo) as (one, other):
        batches = at_once(lambda: plan_batch(one, plan(), key="p"), lambda: plan_batch(other, plan(), key="p"))
        formulas = at_once(lambda: create(one, "Rinse", key="f"), lambda: create(other, "Rinse", key="f"))
    assert len(set(batches)) == len(set(formulas)) == 1


def test_two_formulas_of_one_name_get_two_codes(store: Store) -> None:
    with two(store) as (one, other):
        ids = at_once(lambda: create(one, "Hand gel"), lambda: create(other, "Hand gel"))
    with store.reading() as session:
        assert set(session.scalars(select(FormulaRow.code).where(FormulaRow.id.in_(ids)))) == {"HG", "HG2"}


def test_a_name_on_the_shelf_is_given_once_and_the_other_is_told_at_its_field(store: Store) -> None:
    with two(store) as (one, other):
        answers = at_once(
            lambda: add_material(one, MaterialForm("Beeswax", parts=(PartForm("Cera Alba", "100"),))),
            lambda: add_material(other, MaterialForm("beeswax", parts=(PartForm("Cera Alba", "100"),))),
        )
    (told,) = [answer for answer in answers if isinstance(answer, Faults)]
    assert [fault.field for fault in told.faults] == ["name"]
    with store.reading() as session:
        assert len(session.scalars(select(MaterialRow)).all()) == 1


def test_versions_kept_at_once_are_numbered_in_turn(demo: Store) -> None:
    with two(demo) as (one, other):
        at_once(*(lambda s=s: plan_batch(s, plan(2)) for s in (one, other)))
        at_once(*(lambda s=s, f=f: keep_version(s, f, "again", "Ines") for f, s in ((1, one), (2, other))))
    with demo.reading() as session:
        kept = session.execute(select(FormulaVersion.formula_id, FormulaVersion.number)).all()
    assert len(set(kept)) == len(kept)


@pytest.mark.parametrize("round_", range(4))
def test_nothing_is_written_behind_a_release(demo: Store, round_: int) -> None:
    batch_id = plan_batch(demo, plan())
    with demo.reading() as session:
        version = load_batch(session, batch_id).row_version
    with two(demo) as (one, other):
        at_once(
            lambda: decide(one, batch_id, version, BatchDecision(state="released", who="Ines", why="urgent")),
            lambda: add_reading(other, batch_id, ReadingForm(kind="look", words="mould seen", who="Tom")),
        )
    with demo.reading() as session:
        events = session.scalars(select(BatchEvent).where(BatchEvent.batch_id == batch_id).order_by(BatchEvent.id))
        what = [(event.what, event.new) for event in events]
    decided = [place for place, (name, new) in enumerate(what) if name == "state" and new == "released"]
    assert not decided or decided == [len(what) - 1]
