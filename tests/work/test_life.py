"""The life of a formula: its batches with their figures, by hand from the weights of the record."""

from app.store.engine import Store
from app.work.batches.loading import load_batch
from app.work.formulas.life import life_of


def test_the_furthest_weight_of_each_batch_is_told_in_percent_of_its_plan(demo: Store) -> None:
    told = 0
    with demo.reading() as session:
        for formula_id in range(1, 9):
            for figures in life_of(session, formula_id).batches:
                batch = load_batch(session, figures.id)
                pairs = [(line.held_g, line.shown_g) for line in batch.lines if line.held_g and line.shown_g]
                misses = [abs(100 * float(held) / float(planned) - 100) for held, planned in pairs]
                if figures.worst_percent is None:
                    assert not misses
                    continue
                assert abs(float(figures.worst_percent) - max(misses)) < 1e-6
                told += figures.worst_percent > 0
                assert figures.ph == next((r.value for r in reversed(batch.readings) if r.kind == "pH"), None)
    assert told
