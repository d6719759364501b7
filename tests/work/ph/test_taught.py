"""What a pH session teaches a formula, on a batch that was never stored; and what a suggestion names."""

from decimal import Decimal as D
from types import SimpleNamespace
from typing import Any

import pytest

from app.reference.acid_base import acid_base_table
from app.science.acid_base.values import Adjuster
from app.store.batches import Batch, BatchLine, BatchWeighing
from app.work.formulas.suggesting import _suggestion
from app.work.ph import formula_update as taught
from app.work.ph.formula_update import formula_update
from app.work.ph.solutions import Solution


def line(number: int, material: int, weighed: str | None, target: str = "0", **more: Any) -> BatchLine:
    weighings = [] if weighed is None else [BatchWeighing(id=number, grams=D(weighed), by="", reason="", lot_text="")]
    given: dict[str, Any] = {"id": number, "material_id": material, "name": f"M{material}", "target_g": D(target)}
    return BatchLine(weighings=weighings, **given | {"added_at_bench": False} | more)


def state(added: str, counter: str = "0") -> Any:
    return SimpleNamespace(
        added_g=D(added), counter_g=D(counter), record=SimpleNamespace(material_id=3), name="M3", counter_solution=None
    )


@pytest.fixture(autouse=True)
def bench(monkeypatch: pytest.MonkeyPatch) -> None:
    """Material 3 and 4 set the pH; what the counter-solution cancels is half of it."""
    monkeypatch.setattr(taught, "materials_of", lambda _session, _batch: {})
    monkeypatch.setattr(taught, "sets_ph", lambda one, _shelf: one.material_id in (3, 4))
    monkeypatch.setattr(taught, "_cancelled_g", lambda _session, _batch, seen, _grams: seen.counter_g / 2)


CASES: dict[str, tuple[list[BatchLine], Any, str | None]] = {
    "a little was added": ([line(1, 1, "99.5"), line(2, 3, "0.5")], state("0.5"), "0.5"),
    "nothing was added": ([line(1, 1, "99.5"), line(2, 3, "0.5")], state("0"), None),
    "only gone back with": ([line(1, 1, "95"), line(2, 3, "5"), line(3, 9, "2")], state("0", "2"), "4.0404"),
    "what is not weighed counts as planned": ([line(1, 1, None, "98"), line(2, 3, "2")], state("2"), "2"),
    "an acid or base does not": ([line(1, 1, "98"), line(2, 3, "2"), line(4, 4, None, "50")], state("2"), "2"),
    "none of it is in the batch": ([line(1, 1, "98"), line(2, 3, "0")], state("2"), None),
    "in two portions": ([line(1, 1, "96"), line(2, 3, "2"), line(3, 3, "2")], state("4"), "4"),
}


@pytest.mark.parametrize(("lines", "seen", "percent"), CASES.values(), ids=CASES)
def test_the_percentage_is_what_is_in_the_batch_less_what_was_cancelled(
    lines: list[BatchLine], seen: Any, percent: str | None
) -> None:
    """Gone back with 2 g of which 1 g of the solution is cancelled: 4 of 102 - 2 - 1 g."""
    found = formula_update(None, Batch(lines=lines), seen)  # type: ignore[arg-type]
    assert (None if found is None else found.percent) == (None if percent is None else D(percent))


def test_a_suggestion_names_up_to_four_substances_and_says_whether_it_is_one() -> None:
    def named(*inci: str) -> Any:
        return _suggestion("shelf:1", SimpleNamespace(entry=SimpleNamespace(name="x", inci=inci), standing=2), True)

    assert (named("A").inci, named("A", "B").inci) == ("A", "A, B")
    assert named("A", "B", "C", "D", "E").inci == "A, B, C, D"
    assert named("A", "B", "C", "D").inci == "A, B, C, D"


@pytest.mark.parametrize(
    ("name", "percent", "concentrated"),
    [("Sodium Hydroxide", 30.0, False), ("Sodium Hydroxide", 30.1, True), ("Citric Acid", 90.0, False)],
)
def test_a_corrosive_of_more_than_thirty_percent_is_too_strong_for_a_beaker(
    name: str, percent: float, concentrated: bool
) -> None:
    substance = acid_base_table().find(name).substance
    found = Solution(None, Adjuster(substance, percent))  # type: ignore[arg-type]
    assert found.concentrated is concentrated
    assert found.raises is (name == "Sodium Hydroxide")


def test_an_acid_or_base_that_was_not_used_makes_room_for_the_one_that_was() -> None:
    """The last of those left out is replaced where the formula has no line of the one that was added."""
    own = [line(1, 1, "98"), line(2, 3, "2")]
    unused = [line(4, 4, None, "5", name="First"), line(5, 4, None, "5", name="Last", material_id=4)]
    found = formula_update(None, Batch(lines=[*own, *unused]), state("2"))  # type: ignore[arg-type]
    assert found is not None
    assert (found.replaces_id, found.left_out, found.left_out_ids) == (None, ("First", "Last"), (4, 4))
    at_bench = [line(1, 1, "98"), line(2, 3, "2", added_at_bench=True)]
    two = [line(4, 4, None, "5", name="First"), line(6, 4, None, name="Last")]
    swapped = formula_update(None, Batch(lines=[*at_bench, *two]), state("2"))  # type: ignore[arg-type]
    assert swapped is not None
    assert (swapped.replaces_id, swapped.left_out) == (4, ("First", "Last"))
    used = formula_update(None, Batch(lines=[*at_bench, line(4, 4, "1")]), state("2"))  # type: ignore[arg-type]
    assert used is not None
    assert (used.replaces_id, used.left_out) == (None, ())
    assert (used.whole_g, used.grams, used.in_sessions_g) == (101, 2, 2)
