"""What a draft means, and what is wrong with it at which field."""

import json
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.science.composition import Part
from app.science.formula import Material
from app.science.weighing import weigh
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.faults import IncompleteFormula
from app.work.formulas.moves import as_percentages
from app.work.formulas.resolve import Defaults, resolve

PUBLISHED = Path(__file__).parents[2] / "data" / "published_formulas.json"
Make = Callable[..., Draft]
Shelf = dict[int, Material]


def messages(found: object) -> dict[str, str]:
    return {fault.field: fault.message for fault in found.faults}  # type: ignore[attr-defined]


def test_the_line_to_100_takes_the_rest(draft: Make, shelf: Shelf) -> None:
    found = resolve(draft((1, None), (2, "5"), (3, "0,35")), shelf)
    assert found.faults == ()
    assert [line.percent for line in found.formula.lines] == [Decimal("94.65"), Decimal(5), Decimal("0.35")]
    assert found.formula.size.net_g == 500


@pytest.mark.parametrize("words", ["q.s.", "qs", "q.s. to 100", "to 100", "ad 100 %", "Rest", "balance"])
def test_a_line_may_say_in_words_that_it_fills_up(draft: Make, shelf: Shelf, words: str) -> None:
    found = resolve(draft((1, words), (2, "5")), shelf)
    assert found.formula.lines[0].is_remainder
    assert found.formula.lines[0].percent == 95


@pytest.mark.parametrize(
    ("rows", "field", "words"),
    [
        ([(1, "90"), (2, "5")], "total", "The percentages add up to 95; 5 is missing."),
        ([(1, "90"), (2, "11.2")], "total", "The percentages add up to 101.2; take 1.2 away."),
        ([(1, None), (2, None)], "line.l1.qs", "Only one line can fill up to 100; enter a percentage for this one."),
        ([(1, None), (2, "101")], "line.l1.amount", "A line cannot be more than 100 %."),
        ([(1, None), (2, "60"), (3, "41")], "line.l0.amount", "The other lines add up to 101 %; take 1 away."),
        ([(1, None), (None, "5")], "line.l1.typed", "Choose the material of this line."),
        ([(1, None), (2, "")], "line.l1.amount", "Enter a percentage, or let this line fill up to 100."),
        ([(1, None), (2, "-1")], "line.l1.amount", "-1 is negative; enter 0 or more."),
        (
            [(1, None), (2, "NaN")],
            "line.l1.amount",
            "NaN is not a number; enter digits with one comma or point, such as 2.5.",
        ),
        ([(1, None), (2, "1e400")], "line.l1.amount", "Enter 1e400 in full, without the letter e."),
        ([(1, None), (2, "1,234")], "line.l1.amount", "1,234 can mean 1234 or 1.234; enter 1234 or 1.234."),
    ],
)
def test_what_is_wrong_stands_at_its_field_in_plain_words(
    draft: Make, shelf: Shelf, rows: list[tuple[int | None, str | None]], field: str, words: str
) -> None:
    assert messages(resolve(draft(*rows), shelf))[field] == words


def test_a_fault_read_away_from_its_field_names_its_line(draft: Make, shelf: Shelf) -> None:
    found = resolve(draft((1, None), (2, "x"), (None, "1")), shelf)
    assert [fault.full_message.partition(":")[0] for fault in found.faults] == ["Glycerin", "Line 3"]


def test_a_fault_is_told_once(draft: Make, shelf: Shelf) -> None:
    found = resolve(draft((1, None), (2, "abc")), shelf)
    assert [fault.field for fault in found.faults] == ["line.l1.amount"]


def test_only_empty_fields_are_called_unfinished(draft: Make, shelf: Shelf) -> None:
    found = resolve(draft((1, None), (None, ""), (2, "x")), shelf)
    assert {fault.field for fault in found.faults if fault.unfinished} == {"line.l1.typed", "line.l1.amount"}


def test_a_name_that_is_not_on_the_shelf_is_named(shelf: Shelf) -> None:
    lines = (DraftLine("a", "p", "Moon dust", None, "5"),)
    found = resolve(Draft(name="C", phases=(DraftPhase("p"),), lines=lines), shelf)
    assert messages(found)["line.a.typed"].startswith("Moon dust is not on the shelf.")


@pytest.mark.parametrize(
    ("head", "field"),
    [
        ({"name": " "}, "name"),
        ({"density": "0"}, "density"),
        ({"density": "1000"}, "density"),
        ({"batch": "2 l"}, "batch"),
        ({"batch": "40 units", "fill": ""}, "fill"),
        ({"fill": "30 ml"}, "fill"),
        ({"loss_percent": "100"}, "loss_percent"),
        ({"target_ph": "15"}, "target_ph"),
        ({"labour_minutes": "soon"}, "labour_minutes"),
    ],
)
def test_a_slip_in_the_head_stands_at_its_field(draft: Make, shelf: Shelf, head: dict[str, str], field: str) -> None:
    assert field in messages(resolve(draft((1, None), **head), shelf))


@pytest.mark.parametrize(
    ("typed", "celsius"), [("75", "75"), ("75 °C", "75"), ("167 F", "75.0"), ("-4", "-4"), ("", None)]
)
def test_a_temperature_is_read_in_either_unit(shelf: Shelf, typed: str, celsius: str | None) -> None:
    found = resolve(Draft(name="C", phases=(DraftPhase("p", temperature=typed),)), shelf)
    assert found.formula.phases[0].temperature_c == (Decimal(celsius) if celsius else None)


@pytest.mark.parametrize(
    ("typed", "refused"),
    [("-50", False), ("-50.1", True), ("300", False), ("300.1", True), ("572 F", False), ("573 °F", True),
     ("-58 F", False), ("-59 F", True)],
)  # fmt: skip
def test_a_temperature_lies_between_what_freezes_and_what_burns(shelf: Shelf, typed: str, refused: bool) -> None:
    found = resolve(Draft(name="C", phases=(DraftPhase("p", temperature=typed),)), shelf)
    assert ("between -50 and 300" in str(messages(found).get("phase.p.temperature", ""))) is refused


def test_a_range_of_temperatures_is_sent_into_the_method(shelf: Shelf) -> None:
    found = resolve(Draft(name="C", phases=(DraftPhase("p", temperature="70-75"),)), shelf)
    assert "a range goes into the method" in messages(found)["phase.p.temperature"]


def test_the_usual_loss_stands_where_none_is_typed(draft: Make, shelf: Shelf) -> None:
    defaults = Defaults(Decimal(3))
    for typed, grams in (("", 500), ("0", 485)):
        found = resolve(draft((1, None), batch="485 g", loss_percent=typed), shelf, defaults)
        assert weigh(found.complete()).total_g == grams


# -- other ways to write a recipe


@pytest.fixture
def who(material: Callable[..., Material]) -> tuple[list[dict[str, object]], Shelf, Decimal]:
    """The first WHO hand rub of the published formulas, its materials, and the density of the product."""
    published = json.loads(PUBLISHED.read_text())["formulas"]
    items = next(f for f in published if f["id"] == "who-handrub-1")["items"]
    shelf = {
        n: material(n, str(i["inci"]), density_g_ml=None if i["qs"] else Decimal(str(i["density_g_ml"])))
        for n, i in enumerate(items, start=1)
    }
    return items, shelf, Decimal("0.863")


def recipe(items: list[dict[str, object]], amounts: list[str], **head: str) -> Draft:
    lines = tuple(
        DraftLine(f"l{n}", "p", "", n, "" if i["qs"] else amount, bool(i["qs"]))
        for n, (i, amount) in enumerate(zip(items, amounts, strict=True), start=1)
    )
    return Draft(name="Hand rub", phases=(DraftPhase("p"),), lines=lines, **head)  # type: ignore[arg-type]


@pytest.mark.parametrize("basis", ["amounts", "v/v"])
def test_the_who_hand_rub_by_volume_gives_the_published_weights(who: tuple, basis: str) -> None:
    items, shelf, density = who
    amounts = [f"{i['amount']} ml" if basis == "amounts" else str((i["amount"] or 0) / 100) for i in items]
    found = resolve(recipe(items, amounts, basis=basis, batch="10 l", density=str(density)), shelf)
    assert found.faults == ()
    for line, item in zip(found.formula.lines, items, strict=True):
        assert line.percent == pytest.approx(Decimal(str(item["percent_w_w"])), abs=Decimal("0.0002"))
    assert found.formula.total_percent == 100


def test_grams_of_a_known_batch_become_percentages_that_sum_to_100(draft: Make, shelf: Shelf) -> None:
    found = resolve(draft((1, "1 g"), (2, "1 g"), (3, "1"), basis="amounts"), shelf)
    assert found.formula.total_percent == 100
    assert max(line.percent for line in found.formula.lines) == Decimal("33.333334")


def test_weight_by_volume_is_divided_by_the_density_of_the_product(draft: Make, shelf: Shelf) -> None:
    found = resolve(draft((1, None), (2, "5.25"), basis="w/v", density="1.05"), shelf)
    assert [line.percent for line in found.formula.lines] == [95, 5]


def test_a_volume_without_a_density_is_told_and_not_guessed(draft: Make, shelf: Shelf) -> None:
    assert "density" in messages(resolve(draft((1, None), (2, "5"), basis="w/v"), shelf))
    found = messages(resolve(draft((1, None), (2, "5"), basis="v/v", density="1"), shelf))
    assert "enter a density for the material" in found["line.l1.amount"]
    assert "line.l1.amount" in messages(resolve(draft((1, None), (2, "5 ml"), basis="amounts"), shelf))


def test_turning_amounts_into_percentages_keeps_what_they_mean(draft: Make, shelf: Shelf) -> None:
    before = resolve(draft((1, None), (2, "30 g"), (3, "oops"), basis="amounts", batch="600 g"), shelf)
    after = as_percentages(before)
    assert after.basis == "w/w"
    assert [line.amount for line in after.lines] == ["", "5", "oops"]
    assert after.lines[0].qs


def test_amounts_make_the_batch_until_another_size_is_asked_for(draft: Make, shelf: Shelf) -> None:
    rows = [(1, "90 g"), (2, "1/2 oz"), (3, "0.5")]
    typed = resolve(draft(*rows, basis="amounts", batch="", fill=""), shelf, Defaults(Decimal(4))).complete()
    # half an ounce is 14.1748 g
    assert [line.weigh_g for line in weigh(typed).lines] == [90, Decimal("14.18"), Decimal("0.50")]
    asked = resolve(draft(*rows, basis="amounts", batch="200 g", fill="", loss_percent="0"), shelf).complete()
    assert weigh(asked).total_g == 200


def test_a_measure_keeps_its_unit_and_says_that_it_is_rough(draft: Make, shelf: Shelf) -> None:
    wet = {key: replace(m, density_g_ml=Decimal("1.26")) for key, m in shelf.items()}
    found = resolve(draft((1, "90 g"), (2, "2 tsp"), (3, "10 drops"), basis="amounts", batch=""), wet).formula
    assert found.lines[0].measure is None
    spoon, drop = found.lines[1].measure, found.lines[2].measure
    assert (spoon.unit, drop.unit, drop.is_rough) == ("tsp", "drops", True)
    assert spoon.unit_g == pytest.approx(Decimal("4.92892") * Decimal("1.26"), abs=Decimal("0.0001"))


def test_amounts_with_a_line_to_100_need_a_batch(draft: Make, shelf: Shelf) -> None:
    assert "batch" in messages(resolve(draft((1, None), (2, "5 g"), basis="amounts", batch=""), shelf))


def test_what_is_not_known_is_said_and_never_counted(draft: Make, shelf: Shelf) -> None:
    found = resolve(draft((1, None), (2, "x"), (3, "")), shelf)
    assert found.unknown == ("l1", "l2")
    assert not found.adds_up
    assert [line.key for line in found.formula.lines] == ["l0"]


# -- a formula that adds up


def test_a_complete_formula_carries_phases_steps_and_materials(draft: Make, shelf: Shelf) -> None:
    phase = DraftPhase("p", "Water", "75", "Heat.\n\n  Stir.  ")
    whole = resolve(draft((1, None), (2, "5"), phases=(phase,)), shelf, formula_id=7).complete()
    assert (whole.formula_id, whole.phases[0].letter, whole.phases[0].temperature_c) == (7, "A", 75)
    assert whole.phases[0].method == ("Heat.", "Stir.")
    assert [line.percent for line in whole.lines] == [95, 5]


@pytest.mark.parametrize("rows", [[], [(1, "99.99")], [(1, None), (None, "1")]])
def test_what_does_not_add_up_is_no_formula(draft: Make, shelf: Shelf, rows: list[tuple[int | None, str]]) -> None:
    with pytest.raises(IncompleteFormula) as caught:
        resolve(draft(*rows), shelf).complete()
    assert caught.value.faults


TYPED = st.text(st.characters(exclude_categories=["Cs"]), max_size=30) | st.sampled_from(
    ["5", "q.s.", "1e400", "NaN", "-1", "10 ml", "½", "", "١٢", "99999999999999"]
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(TYPED, TYPED, st.booleans()), max_size=5),
    st.sampled_from(["w/w", "w/v", "v/v", "amounts", "?"]),
    TYPED,
    TYPED,
)
def test_anything_typed_is_read_without_raising(
    rows: list[tuple[str, str, bool]], basis: str, batch: str, density: str
) -> None:
    lines = tuple(DraftLine(f"l{n}", "p", typed, n, amount, qs) for n, (typed, amount, qs) in enumerate(rows))
    shelf = {1: Material(1, "Aqua", (Part("Aqua", Decimal(100)),))}
    found = resolve(Draft(basis=basis, batch=batch, density=density, phases=(DraftPhase("p"),), lines=lines), shelf)
    assert found.sum_percent.is_finite()
    assert found.formula.total_percent.is_finite()
    assert all(fault.message for fault in found.faults)


def test_a_draft_survives_its_own_writing(draft: Make) -> None:
    one = replace(draft((1, None), (2, "5")), special_uses=("spray",))
    assert Draft.from_json(one.to_json()) == one
