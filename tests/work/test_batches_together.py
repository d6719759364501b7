"""Two people at one batch record: the later form is recognised, whatever state the batch is in."""

import threading

import pytest

from app.store.engine import Store
from app.store.errors import Conflict
from app.work.batches.loading import load_batch
from app.work.batches.weighing import TypedWeighing, record_weighings


def test_the_second_of_two_weight_forms_is_not_written_over_the_first(demo: Store) -> None:
    with demo.reading() as session:
        batch = load_batch(session, 4)
    line = batch.lines[-1]
    record_weighings(demo, 4, batch.row_version, [TypedWeighing(line.id, "3.9", "P1")], who="Ines")
    with pytest.raises(Conflict):
        record_weighings(demo, 4, batch.row_version, [TypedWeighing(line.id, "4.1", "P2")], who="Tom")
    with demo.reading() as session:
        kept = load_batch(session, 4).lines[-1]
    assert (str(kept.actual_g), kept.lot_text) == ("3.9", "P1")


def test_two_people_weighing_into_one_batch_at_once_lose_nothing_that_was_taken(demo: Store) -> None:
    """Each sends his weight again when the other was faster; what was taken stands, each portion once."""
    start, taken = threading.Barrier(2), []

    def weigh(who: str) -> None:
        start.wait()
        for turn in range(25):
            while True:
                with demo.reading() as session:
                    batch = load_batch(session, 4)
                line = batch.lines[-1]
                entry = TypedWeighing(line.id, "0.5", f"{who}-{turn}", sure="0.5")
                try:
                    record_weighings(demo, 4, batch.row_version, [entry], who=who, key=f"{who}{turn}")
                except Conflict:
                    continue
                taken.append(f"{who}-{turn}")
                break

    people = [threading.Thread(target=weigh, args=(who,)) for who in ("Ines", "Tom")]
    for person in people:
        person.start()
    for person in people:
        person.join(60)
    with demo.reading() as session:
        line = load_batch(session, 4).lines[-1]
    assert sorted(one.lot_text for one in line.standing) == sorted(taken)
    assert (len(taken), line.actual_g) == (50, 25)
