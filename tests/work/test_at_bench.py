"""The screen that weighs one line after another, and what a save that came too late says of each line."""

from typing import Any

import pytest

from app.store.engine import Store
from app.store.errors import NotFound
from app.work.batches.at_bench import WeighingStep, bench_step
from app.work.batches.loading import load_batch
from app.work.batches.save_conflicts import clashes, still_typed
from app.work.batches.weighing import WeighingForm, record_weighings


def step(store: Store, gel: Any, line_id: int | None = None) -> WeighingStep:
    with store.reading() as session:
        return bench_step(session, gel.batch_id, line_id)


def weigh(store: Store, gel: Any, line_id: int, grams: str, lot: str = "") -> None:
    with store.reading() as session:
        version = load_batch(session, gel.batch_id).row_version
    record_weighings(store, gel.batch_id, version, [WeighingForm(line_id, grams, lot, sure=grams)], who="Ines")


def test_lines_are_weighed_one_after_another_and_can_be_stepped_through(store: Store, gel: Any) -> None:
    first = step(store, gel)
    lines = [line.id for line in first.batch.lines]
    assert first.line
    assert (first.line.id, first.place, first.of, first.left, first.before, first.after, first.last) == (
        lines[0], 1, 4, 4, None, lines[1], None,
    )  # fmt: skip
    assert (first.scales, first.vessel_g) == (("Bench scale",), None)
    assert first.band
    assert first.band.holds(first.line.shown_g)
    weigh(store, gel, lines[0], str(first.line.shown_g))
    weigh(store, gel, lines[2], "2.5")
    second = step(store, gel)
    assert second.line
    assert second.last
    assert (second.line.id, second.place, second.left, second.before, second.after) == (
        lines[1],
        2,
        2,
        lines[0],
        lines[2],
    )
    assert (second.last[0].id, second.last[1].grams) == (lines[2], second.last[0].actual_g)
    assert step(store, gel, lines[2]).after == lines[3]
    last = step(store, gel, lines[3])
    assert (last.place, last.before, last.after, last.left) == (4, lines[2], None, 2)
    again = step(store, gel, lines[0])
    assert (again.place, again.before, again.line and again.line.id) == (1, None, lines[0])
    for line_id in (lines[1], lines[3]):
        weigh(store, gel, line_id, "9")
    done = step(store, gel)
    assert (done.line, done.band, done.left, done.place, done.before, done.after) == (None, None, 0, 5, lines[3], None)
    with pytest.raises(NotFound):
        step(store, gel, 999)


def test_the_cautions_of_a_phase_stand_at_its_first_line_that_waits(store: Store, gel: Any) -> None:
    first = step(store, gel)
    lines = [line.id for line in first.batch.lines]
    assert any("alkali" in words.casefold() or "hydroxide" in words.casefold() for words in first.cautions)
    assert step(store, gel, lines[1]).cautions == ()
    weigh(store, gel, lines[0], "473")
    assert step(store, gel).cautions == first.cautions
    # A line that is weighed already is none that waits.
    assert step(store, gel, lines[0]).cautions == ()


def test_what_was_weighed_in_the_meantime_is_said_at_its_line(store: Store, gel: Any) -> None:
    lines = step(store, gel).batch.lines
    glycerin = next(line for line in lines if line.name.startswith("Glycerin"))
    weigh(store, gel, glycerin.id, "15", "G1")
    with store.reading() as session:
        batch = load_batch(session, gel.batch_id)

        def said(*typed: WeighingForm) -> dict[str, str]:
            return clashes(batch, typed)

        same = WeighingForm(glycerin.id, "15 g", " G1 ")
        waiting = WeighingForm(next(line.id for line in lines if line.id != glycerin.id), "3")
        assert said(same, waiting, WeighingForm(999, "3"), WeighingForm(glycerin.id, "")) == {}
        words = f"{glycerin.name}: the record now has 15 g, lot G1; you typed "
        end = ". Empty the field unless yours is another portion."
        for typed, mine in (
            (WeighingForm(glycerin.id, "14.9 g", "G1"), "14.9 g, lot G1"),
            (WeighingForm(glycerin.id, "15", "G2"), "15 g, lot G2"),
            (WeighingForm(glycerin.id, "15"), "15 g"),
            (WeighingForm(glycerin.id, "", "G2"), "lot G2"),
            (WeighingForm(glycerin.id, "lots"), "lots g"),
        ):
            assert said(typed) == {f"actual-{glycerin.id}": words + mine + end}
        assert still_typed({"a": "1", "row_version": "0"}, batch) == {"a": "1", "row_version": str(batch.row_version)}
