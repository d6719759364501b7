"""Two people at one batch record: the later form is recognised, whatever state the batch is in."""

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
