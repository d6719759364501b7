"""Two people at one batch record, and a process that is killed at it: nothing that was taken is lost or doubled."""

import contextlib
import itertools
import multiprocessing
import os
import threading
import time
from decimal import Decimal
from multiprocessing.connection import Connection

import pytest
from sqlalchemy import select, text

from app.store import models  # noqa: F401 - the process that is killed knows every table
from app.store.batches import Batch
from app.store.engine import Store
from app.store.errors import Conflict, Unusable
from app.work.batches.loading import load_batch
from app.work.batches.weighing import WeighingForm, record_weighings

ROUNDS = 100


def test_the_second_of_two_weight_forms_is_not_written_over_the_first(demo: Store) -> None:
    with demo.reading() as session:
        batch = load_batch(session, 4)
    line = batch.lines[-1]
    record_weighings(demo, 4, batch.row_version, [WeighingForm(line.id, "3.9", "P1: a trial")], who="Ines")
    with pytest.raises(Conflict):
        record_weighings(demo, 4, batch.row_version, [WeighingForm(line.id, "4.1", "P2: a trial")], who="Tom")
    with demo.reading() as session:
        kept = load_batch(session, 4).lines[-1]
    assert (str(kept.actual_g), kept.lot_text) == ("3.9", "P1")


def test_two_people_weighing_into_one_batch_at_once_lose_nothing_that_was_taken(demo: Store) -> None:
    """Each sends his weight again when the other was faster; what was taken stands, each portion once."""
    start, taken = threading.Barrier(2), []
    with demo.reading() as session:
        line_id = load_batch(session, 4).lines[-1].id

    def weigh(who: str) -> None:
        start.wait()
        for turn in range(ROUNDS):
            while True:
                with demo.reading() as session:
                    version = session.scalars(select(Batch.row_version).where(Batch.id == 4)).one()
                entry = WeighingForm(line_id, "0.5", f"{who}-{turn}: a trial", sure="0.5")
                try:
                    record_weighings(demo, 4, version, [entry], who=who, key=f"{who}{turn}")
                except (Conflict, Unusable):  # a very busy machine may hold the database longer than one waits
                    continue
                taken.append(f"{who}-{turn}")
                break

    people = [threading.Thread(target=weigh, args=(who,)) for who in ("Ines", "Tom")]
    for person in people:
        person.start()
    for person in people:
        person.join(120)
    with demo.reading() as session:
        line = load_batch(session, 4).lines[-1]
    assert sorted(one.lot_text for one in line.standing) == sorted(taken)
    assert (len(taken), line.actual_g) == (2 * ROUNDS, ROUNDS)


def weigh_until_killed(url: str, line_id: int, name: str, told: Connection) -> None:
    """Weigh one portion after another, and say of each that it was taken only after it was."""
    store = Store(url)
    for turn in itertools.count():
        with store.reading() as session:
            version = session.scalars(select(Batch.row_version).where(Batch.id == 4)).one()
        lot = f"{name}-{turn}"
        record_weighings(store, 4, version, [WeighingForm(line_id, "0.5", f"{lot}: a trial", sure="0.5")], who="Ines")
        told.send(lot)


@pytest.mark.sqlite
@pytest.mark.skipif(not hasattr(os, "fork"), reason="a kill in the middle needs a system with fork")
def test_a_weight_that_was_acknowledged_outlives_a_kill(demo: Store) -> None:
    """Ten times a process is killed among its weighings: what it had acknowledged is there, once, with its history."""
    with demo.reading() as session:
        line_id = load_batch(session, 4).lines[-1].id
    process = multiprocessing.get_context("forkserver")
    process.set_forkserver_preload([weigh_until_killed.__module__])
    url, taken, kills = str(demo.engine.url), [], 10
    for kill in range(kills):
        ours, theirs = process.Pipe(duplex=False)
        weigher = process.Process(target=weigh_until_killed, args=(url, line_id, f"K{kill}", theirs))
        weigher.start()
        theirs.close()
        taken += [ours.recv() for _ in range(1 + kill % 3)]
        time.sleep(0.004 * kill)
        weigher.kill()
        weigher.join(20)
        with contextlib.suppress(EOFError):
            while ours.poll(0):
                taken.append(ours.recv())
        ours.close()
        weigher.close()
    with demo.reading() as session:
        batch = load_batch(session, 4)
        lots = [one.lot_text for one in batch.lines[-1].standing if one.lot_text.startswith("K")]
        assert session.scalar(text("PRAGMA integrity_check")) == "ok"
    assert set(taken) <= set(lots)
    assert len(set(lots)) == len(lots) <= len(taken) + kills
    assert batch.lines[-1].actual_g == Decimal("0.5") * len(batch.lines[-1].standing)
    told = [event.new for event in batch.history if event.new.endswith(tuple(f"lot {lot}" for lot in lots))]
    assert len(told) == len(lots)
