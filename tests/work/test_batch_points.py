"""What of a batch is out of plan, what it became in per cent, and its history, on records that were never stored."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal as D
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.science.heating import learned_loss
from app.science.specification import Check
from app.store.batches import Batch, BatchEvent, BatchLine, BatchReading, BatchState, BatchWeighing, Heating
from app.store.engine import Store
from app.work.batches import deviations
from app.work.batches.as_made import AsMade, _percents, _slack
from app.work.batches.batch_readings import YieldForm, yield_percent
from app.work.batches.changing import NewNumber
from app.work.batches.deviations import _lines, _readings, _weight, _yield
from app.work.batches.history import actions
from app.work.batches.weighing import WeighingForm, slip_question, weighing_words
from app.work.form import Faults

NOON = datetime(2026, 11, 3, 12, tzinfo=UTC)


def weighing(grams: str | None, lot: str = "L1", **more: Any) -> BatchWeighing:
    given: dict[str, Any] = {
        "by": "Ines",
        "at": NOON,
        "reason": "",
        "lot_text": lot,
        "lot_id": None,
        "session_id": None,
    }
    return BatchWeighing(grams=None if grams is None else D(grams), **given | more)


def line(*weighings: BatchWeighing, **more: Any) -> BatchLine:
    """A line of 100 g, 98 to 102 g, of the version."""
    given: dict[str, Any] = {
        "id": 7, "name": "Oil", "shown_g": D(100), "target_g": D(100), "step_g": D("0.1"), "low_g": D(98),
        "high_g": D(102),
        "added_at_bench": False, "material_id": 3, "planned_name": "", "planned_material_id": None,
    }  # fmt: skip
    for number, one in enumerate(weighings, 1):
        one.id = number
    return BatchLine(weighings=list(weighings), **given | more)


WEIGHTS: dict[str, tuple[BatchLine, list[str]]] = {
    "as planned": (line(weighing("100")), []),
    "at the end of its band": (line(weighing("102")), []),
    "below its band": (line(weighing("97.9")), ["Oil: 97.9 g weighed, 100 g planned (98 to 102 g)."]),
    "in two portions": (line(weighing("60"), weighing("43")), ["Oil: 103 g weighed, 100 g planned (98 to 102 g)."]),
    "nothing": (line(), ["Oil: 100 g planned, nothing weighed."]),
    "none of it": (line(weighing("0")), ["Oil: 100 g planned, nothing weighed."]),
    "dosed to a pH": (line(weighing("150", session_id=1)), []),
    "without a band": (line(weighing("150"), low_g=None), []),
    "with half a band": (line(weighing("150"), high_g=None), []),
    "added at the bench": (line(weighing("5"), added_at_bench=True), ["Oil: 5 g, not in the formula."]),
    "added at the bench for a pH": (line(weighing("5", session_id=1), added_at_bench=True), []),
    "swapped": (
        line(weighing("100"), planned_name="Fat", planned_material_id=2), ["Fat: Oil was taken in its place."],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("one", "said"), WEIGHTS.values(), ids=WEIGHTS)
def test_a_weight_is_out_of_plan_beyond_its_band(one: BatchLine, said: list[str]) -> None:
    assert [words for _, words in _weight(one)] == said


def heated(lost: str | None) -> BatchLine:
    found = line(weighing("103"))
    found.heatings.append(
        Heating(id=1, vessel="Pot", before_g=D(500), after_g=None if lost is None else D(500) - D(lost))
    )
    return found


def test_what_was_lost_while_heating_is_taken_off_and_said() -> None:
    assert [words for _, words in _weight(heated("2"))] == []
    assert [words for _, words in _weight(heated("6"))] == [
        "Oil: 103 g weighed less 6 g lost while heating, 100 g planned (98 to 102 g)."
    ]
    (_, waits) = _lines(Batch(lines=[heated(None)]))
    assert waits == ("heating 1", "Pot: weighed before heating and not after it.")


def test_a_weighing_without_a_lot_is_noted_and_what_was_taken_back_is_not() -> None:
    def said(*lines: BatchLine) -> list[str]:
        return [words for _, words in _lines(Batch(lines=list(lines)))]

    assert said(line(weighing("100"))) == []
    assert said(line(weighing("100", ""))) == ["Oil: no lot is written."]
    assert said(line(weighing("100", "", lot_id=4))) == []
    assert said(line(weighing("99"), weighing("1", ""))) == ["Oil: no lot is written."]
    assert said(line(weighing("100"), weighing("0", ""))) == []
    assert said(line(weighing(None), added_at_bench=True)) == []


CHECKED = Check("pH", D(5), D(6), source="as agreed")


@pytest.mark.parametrize(
    ("checks", "readings", "said"),
    [
        ((CHECKED,), ["5.5"], []),
        ((CHECKED,), ["5.5", "6.1"], ["pH 6.1 read, 5 to 6 wanted (as agreed)."]),
        ((CHECKED,), ["6.1", "5.5"], []),
        ((CHECKED,), [], ["pH was not read; 5 to 6 is wanted (as agreed)."]),
        ((Check("pH", D(5), D(6)),), [], ["pH was not read; 5 to 6 is wanted."]),
        ((Check("pH", D(5), D(6), is_required=False),), [], []),
        ((Check("pH", D(5), D(6), is_required=False),), ["7"], ["pH 7 read, 5 to 6 wanted."]),
        ((), [], ["Nothing was read or looked at."]),
        ((), ["5"], []),
    ],
)
def test_the_last_reading_answers_a_check(
    checks: tuple[Check, ...], readings: list[str], said: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(deviations, "formula_of", lambda _version: None)
    monkeypatch.setattr(deviations, "checks_of", lambda _formula: checks)
    seen = [BatchReading(id=n, kind="pH", words=one, value=D(one)) for n, one in enumerate(readings, 1)]
    assert [words for _, words in _readings(Batch(readings=seen))] == said


def made(
    grams: str | None, lines: tuple[BatchLine, ...] = (), low: str | None = "90", high: str | None = "98"
) -> Batch:
    bounds = (None if one is None else D(one) for one in (low, high))
    found = Batch(lines=list(lines) or [line(weighing("150")), line(weighing("50"))])
    found.yield_g = None if grams is None else D(grams)
    found.yield_low_percent, found.yield_high_percent = bounds
    return found


@pytest.mark.parametrize(
    ("batch", "percent", "said"),
    [
        (made("190"), "95", []),
        (made("180"), "90", []),
        (made("196"), "98", []),
        (made("179"), "89.5", ["Yield 89.5 % of what was weighed in, 90 to 98 % usual."]),
        (made("196.1"), "98.05", ["Yield 98.1 % of what was weighed in, 90 to 98 % usual."]),
        (made("300", high=None), "150", []),
        (made("1", low=None), "0.5", []),
        (made(None), None, ["The yield is not recorded."]),
        (made("190", (line(),)), None, ["The yield is not recorded."]),
        (made("95", (heated("3"),)), "95", []),  # of the 100 g that are left of 103
    ],
)
def test_the_yield_is_what_came_of_what_is_in_the_batch(batch: Batch, percent: str | None, said: list[str]) -> None:
    assert yield_percent(batch) == (None if percent is None else D(percent))
    assert [words for _, words in _yield(batch)] == said


@given(st.lists(st.decimals("0.001", "5000", places=3), min_size=1, max_size=8))
def test_grams_become_percent_that_add_up_and_the_largest_takes_the_rest(grams: list[D]) -> None:
    found = _percents(grams)
    assert sum(found) == 100
    whole = sum(grams)
    for one, percent in zip(grams, found, strict=True):
        assert abs(percent - 100 * one / whole) <= D("0.0000005") * (len(grams) if one == max(grams) else 1)


def test_grams_become_percent_to_six_places() -> None:
    assert _percents([D(1), D(1), D(1)]) == [D("33.333334"), D("33.333333"), D("33.333333")]
    assert _percents([D(1), D(2)]) == [D("33.333333"), D("66.666667")]


def as_made(planned: str, actual: str) -> AsMade:
    return AsMade((), (), (), planned, actual, None, None)


@pytest.mark.parametrize(
    ("planned", "actual", "same", "order"),
    [("A, B.", "A, B.", True, False), ("A, B.", "B, A.", False, True), ("A, B.", "A, C.", False, False),
     ("A, B", "B, A", False, True), ("A, B.", "A.", False, False)],
)  # fmt: skip
def test_a_list_as_made_is_the_same_or_only_in_another_order(
    planned: str, actual: str, same: bool, order: bool
) -> None:
    found = as_made(planned, actual)
    assert (found.same_list, found.only_order) == (same, order)


def test_weights_within_their_bands_move_a_share_by_so_much() -> None:
    """By hand: 102 of 102 + 98 is 51 % for 50 %, a fiftieth more; nobody named, the widest band counts, 110 of 100."""
    mine, rest = line(name="A"), line(name="B")
    batch = Batch(lines=[mine, rest, line(name="C", added_at_bench=True), line(name="D", target_g=D(0))])
    assert _slack(batch, ["A"]) == pytest.approx(D("0.02"))
    assert _slack(Batch(lines=[mine, line(name="B", high_g=D(110))]), []) == pytest.approx(D("0.1"))
    assert _slack(Batch(lines=[line(name="A", low_g=None)]), []) == 0
    assert _slack(Batch(lines=[]), ["A"]) == 0


def event(seconds: float, what: str = "Oil: weight", by: str = "Ines", why: str = "") -> BatchEvent:
    return BatchEvent(what=what, by=by, why=why, at=NOON + timedelta(seconds=seconds), old="", new="")


HISTORIES: list[tuple[list[BatchEvent], list[str]]] = [
    ([event(0), event(5, "Wax: weight")], ["weighed: 2 materials"]),
    ([event(0), event(4, "Oil: lot")], ["weighed: 1 material"]),
    ([event(0), event(5.1, "Wax: weight")], ["Oil: weight", "Wax: weight"]),
    ([event(0), event(5), event(10)], ["weighed: 1 material"]),  # five seconds after the one before
    ([event(0), event(1, by="Tom")], ["Oil: weight", "Oil: weight"]),
    ([event(0), event(1, why="read badly")], ["Oil: weight", "Oil: weight"]),
    ([event(0), event(1, "yield"), event(2)], ["Oil: weight", "yield", "Oil: weight"]),
    ([event(0, "state"), event(1, "yield")], ["state", "yield"]),
    ([], []),
]


@pytest.mark.parametrize(("history", "words"), HISTORIES)
def test_what_one_person_weighs_in_one_go_is_one_line(history: list[BatchEvent], words: list[str]) -> None:
    found = actions(history)
    assert [one.words for one in found] == words
    assert [one for action in found for one in action.details] == history
    assert [one.at for one in found] == [one.details[0].at for one in found]


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (weighing("5", "L1", checked_by="Tom"), "5 g, lot L1, checked by Tom"), (weighing("0", ""), "0 g"),
        (weighing(None, "L1"), "lot L1"), (weighing(None, ""), "nothing"),
    ],
)  # fmt: skip
def test_a_weighing_is_written_with_what_is_known_of_it(one: BatchWeighing, words: str) -> None:
    assert weighing_words(one) == words


def test_a_batch_is_decided_once_it_is_released_rejected_or_cancelled() -> None:
    assert {state for state in BatchState if Batch(state=state).is_decided} == {
        BatchState.RELEASED, BatchState.REJECTED, BatchState.CANCELLED,
    }  # fmt: skip


SLIPS = [
    ("499.9", (), ""), ("500", (), "is 5 times the planned 100 g"), ("100", ("400",), "is 5 times the planned"),
    ("99", ("400",), ""), ("10", (), "misplaced decimal point"), ("1", (), "misplaced"), ("0.1", (), "misplaced"),
    ("0.01", (), ""), ("11.5", (), "misplaced"), ("11.6", (), ""), ("8.5", (), "misplaced"), ("8.4", (), ""),
    ("10", ("90",), ""), ("50", (), ""), ("0", (), ""), ("1234", (), "1234 g is 12 times"),
]  # fmt: skip


@pytest.mark.parametrize(("grams", "before", "asked"), SLIPS)
def test_five_times_the_plan_or_a_power_of_ten_off_it_is_asked_about(
    grams: str, before: tuple[str, ...], asked: str
) -> None:
    found = slip_question(line(*(weighing(one) for one in before)), D(grams))
    assert asked in found
    assert bool(found) is bool(asked)
    assert slip_question(line(shown_g=D(0)), D(grams)) == ""


ENTRIES = [
    ({"actual": "100"}, set()),
    ({"actual": "100", "tare": "100"}, set()),
    ({"actual": "100", "tare": "100.1"}, {"tare-7"}),
    ({"actual": "600"}, {"sure-7"}),
    ({"actual": "600", "sure": "600"}, set()),
    ({"actual": "600", "sure": "60"}, {"sure-7"}),
    ({"actual": "600", "tare": "500"}, set()),
    ({"actual": "", "lot": "L1"}, set()),
]


@pytest.mark.parametrize(("texts", "fields"), ENTRIES)
def test_a_weight_is_taken_once_it_can_be_one(texts: dict[str, str], fields: set[str]) -> None:
    try:
        WeighingForm(line_id=7, **texts).checked(line())
        found: set[str] = set()
    except Faults as wrong:
        found = set(wrong.by_field)
    assert found == fields


def test_what_the_vessel_weighs_is_taken_off() -> None:
    assert WeighingForm(line_id=7, actual="150", tare="50.5").checked(line()).grams == D("99.5")
    assert WeighingForm(line_id=7, actual="150").checked(line()).grams == 150
    assert WeighingForm(line_id=7, actual="").checked(line()).grams is None


YIELDS = [("199", "", False), ("200", "", True), ("200", "200", False), ("200", "20", True), ("", "", False)]


def test_a_yield_of_twice_what_is_in_the_batch_is_asked_about(store: Store) -> None:
    with store.reading() as session, session.no_autoflush:
        for amount, sure, asked in YIELDS:
            for grams, asks in (("100", asked), (None, False)):  # of nothing weighed nothing is asked
                batch = Batch(lines=[line(weighing(grams))])
                session.add(batch)
                with pytest.raises(Faults) as wrong:  # nobody signed it
                    YieldForm(amount=amount, who="", sure=sure).checked(batch)
                assert ("sure" in wrong.value.by_field) is asks, (amount, sure, grams)
                session.expunge(batch)


@pytest.mark.parametrize(("length", "refused"), [(60, False), (61, True)])
def test_a_batch_number_has_at_most_sixty_characters(length: int, refused: bool) -> None:
    form, number = SimpleNamespace(given=Batch(number="N" * length)), "N" * length
    if not refused:
        assert NewNumber("Number").read(f" {number} ", "number", form) == number  # type: ignore[arg-type]
        return
    with pytest.raises(Invalid, match="has 61"):
        NewNumber("Number").read(number, "number", form)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("lost", "usual", "least", "most", "count"),
    [
        (["10"], "10", "10", "10", 1),
        (["10", "21"], "15.5", "10", "21", 2),
        (["30", "10", "21"], "21", "10", "30", 3),
        (["30", "10", "20", "16"], "18", "10", "30", 4),
        (["90", "10", "12", "11", "80", "13"], "12", "10", "80", 5),  # the last five
    ],
)
def test_a_pot_loses_the_middle_of_its_last_five_losses(
    lost: list[str], usual: str, least: str, most: str, count: int
) -> None:
    found = learned_loss([D(one) for one in lost])
    assert (found.usual_g, found.least_g, found.most_g, found.count) == (D(usual), D(least), D(most), count)
