"""Neutralisers and thickeners side by side, and what choosing one writes into the formula."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from app.reference.neutraliser_comparison import compare_neutralisers
from app.reference.neutralisers import neutralisers
from app.science.composition import DosedMaterial, Part
from app.science.errors import Invalid
from app.store.engine import Store
from app.work.form import Faults
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import DraftConflict, SaveOrigin, open_draft
from app.work.formulas.results import results_of
from app.work.ph.adjuster_comparison import (
    ChangedFormula,
    bare_mixture,
    choose_neutraliser,
    choose_thickener,
    neutralising,
    thickener_rows,
)
from app.work.ph.mixture import choose_ph_line
from app.work.ph.preservation import VERDICT_WORDS, preservation_details
from app.work.ph.report import ph_report
from app.work.ph.rewriting import Rewrite, rewritten
from app.work.ph.stock_solutions import STARTS, StockForm, stock_of

# Figures, which no database can change.
pytestmark = pytest.mark.sqlite

TARGET = Decimal("6.2")


def parts_of(*named: tuple[str, str]) -> tuple[Part, ...]:
    return tuple(Part(inci, Decimal(percent)) for inci, percent in named)


def choice_of(store: Store, gel: Any, row_version: int | None = None) -> ChangedFormula:
    with store.reading() as session:
        there = open_draft(session, gel.formula_id)
        lines = results_of(session, there).formula.lines
    rows = [(one.material, one.percent) for one in lines]
    return ChangedFormula(
        gel.formula_id,
        there.draft,
        SaveOrigin(there.row_version if row_version is None else row_version, "test"),
        tuple(DosedMaterial(m.name, percent, m.parts) for m, percent in rows),
        tuple(m.id for m, _ in rows),
    )


def predicted(store: Store, gel: Any) -> float:
    found = ph_report(choice_of(store, gel).materials, exposure="leave-on", target=TARGET, batch_g=500)
    assert found is not None
    assert found.prediction is not None
    return found.prediction.ph.value


def test_each_neutraliser_is_dosed_in_place_of_the_line_that_is_there(store: Store, gel: Any) -> None:
    found = neutralising(choice_of(store, gel).materials, TARGET, 500)
    grams = {row.neutraliser.adjuster.substance.inci: row.advice.grams for row in found.rows}
    assert found.own is not None
    assert found.own.material == "Sodium hydroxide 10 %"
    assert {"Sodium Hydroxide", "Triethanolamine", "Arginine", "Sodium Bicarbonate"} <= set(grams)
    assert all(one is None or one > 0 for one in grams.values())


ALKALI = DosedMaterial("Sodium hydroxide 10 %", Decimal("1.8"), parts_of(("Sodium Hydroxide", "10"), ("Aqua", "90")))
ACID = DosedMaterial("Citric acid 50 %", Decimal("0.1"), parts_of(("Citric Acid", "50"), ("Aqua", "50")))
GEL = DosedMaterial("Carbomer", Decimal("0.5"), parts_of(("Carbomer", "100")))


def formula(alkali: str, acid: str) -> tuple[DosedMaterial, ...]:
    rest = 100 - Decimal(alkali) - Decimal(acid) - GEL.percent
    water = DosedMaterial("Water", rest, parts_of(("Aqua", "100")))
    return (water, GEL, replace(ALKALI, percent=Decimal(alkali)), replace(ACID, percent=Decimal(acid)))


@pytest.mark.parametrize(
    ("alkali", "acid", "line"),
    [("3", "0.1", "Sodium hydroxide 10 %"), ("1.5", "1", "Citric acid 50 %"), ("0.5", "0.02", "Sodium hydroxide 10 %")],
    ids=["too much alkali", "too much acid", "too little alkali, whatever the acid"],
)
def test_of_an_acid_and_a_base_the_line_in_excess_is_turned(alkali: str, acid: str, line: str) -> None:
    found = choose_ph_line(formula(alkali, acid), Decimal("6"))
    assert found is not None
    assert found.material == line
    report = ph_report(formula(alkali, acid), exposure="leave-on", target=Decimal("6"), batch_g=500)
    assert report is not None
    assert report.titration is not None
    assert report.titration.material == line
    assert report.titration.advice.grams is not None
    assert len(report.titration.others) == 1


def test_the_maker_may_pick_the_other_line() -> None:
    found = choose_ph_line(formula("3", "0.1"), Decimal("6"), chosen=3)
    assert found is not None
    assert found.material == "Citric acid 50 %"


def test_the_formulas_own_line_stands_in_the_comparison_at_its_own_strength() -> None:
    """The 50 % solution needs two fifths of the grams of the usual 20 % one; its own water hardly counts."""
    found = neutralising(formula("2.2", "0.6"), Decimal("6"), 500)
    mine = found.rows[0].neutraliser
    assert (mine.bought_as, mine.adjuster.strength_percent) == ("Citric acid 50 %", 50.0)
    assert sum(row.neutraliser.adjuster.substance.inci == "Citric Acid" for row in found.rows) == 1
    mixture = bare_mixture(formula("2.2", "0.6"), found.own)
    usual = next(n for n in neutralisers() if n.adjuster.substance.inci == "Citric Acid")
    at_20 = compare_neutralisers(mixture, 6.0, found.before_g, (usual,))[0].advice.grams
    assert usual.adjuster.strength_percent == 20
    assert at_20 is not None
    assert found.rows[0].advice.grams == pytest.approx(at_20 * 0.4, rel=0.03)


def test_without_a_target_it_says_what_is_missing(store: Store, gel: Any) -> None:
    assert "target pH" in neutralising(choice_of(store, gel).materials, None, 500).why_not


@pytest.mark.parametrize("inci", ["Triethanolamine", "Tromethamine", "Arginine", "Potassium Hydroxide"])
def test_choosing_a_neutraliser_rewrites_the_line_and_keeps_the_target(store: Store, gel: Any, inci: str) -> None:
    there, words = choose_neutraliser(store, choice_of(store, gel), inci, TARGET)
    assert there.draft.lines[-1].typed.startswith(inci)
    assert len(there.draft.lines) == 4
    assert there.draft.target_ph == "6.2"
    assert abs(predicted(store, gel) - 6.2) < 0.02
    assert inci in words


def test_a_neutraliser_that_goes_the_other_way_is_refused_and_nothing_is_written(store: Store, gel: Any) -> None:
    before = choice_of(store, gel)
    with pytest.raises(Invalid, match="does not bring"):
        choose_neutraliser(store, before, "Lactic Acid", TARGET)
    assert choice_of(store, gel).draft == before.draft


def test_a_choice_made_on_an_older_page_is_refused(store: Store, gel: Any) -> None:
    with pytest.raises(DraftConflict):
        choose_neutraliser(store, choice_of(store, gel, -1), "Triethanolamine", TARGET)


def test_choosing_a_thickener_takes_the_line_over_and_says_what_else_changes(store: Store, gel: Any) -> None:
    there, words = choose_thickener(store, choice_of(store, gel), "Xanthan Gum")
    names = [line.typed for line in there.draft.lines]
    assert "Carbomer powder" not in names
    assert any("anthan" in name for name in names)
    assert "needs no neutraliser" in words
    assert next(line.amount for line in there.draft.lines if "anthan" in line.typed) == "0.75"


def test_the_thickener_of_the_formula_comes_first(store: Store, gel: Any) -> None:
    rows = thickener_rows(choice_of(store, gel).materials, 3.0)
    assert (rows[0].thickener.inci, rows[0].mine, rows[0].window.value if rows[0].window else "") == (
        "Carbomer",
        True,
        "below",
    )


@pytest.mark.parametrize("inci", ["", "Water", "<script>"])
def test_unknown_names_are_refused(store: Store, gel: Any, inci: str) -> None:
    with pytest.raises(Invalid, match="listed"):
        choose_neutraliser(store, choice_of(store, gel), inci, TARGET)
    with pytest.raises(Invalid, match="listed"):
        choose_thickener(store, choice_of(store, gel), inci)


def test_without_a_line_that_fills_up_the_rest_keeps_its_proportions() -> None:
    lines = (DraftLine("a", "p", "A", 1, "60"), DraftLine("b", "p", "B", 2, "30"), DraftLine("c", "p", "C", 3, "10"))
    draft = Draft(phases=(DraftPhase("p"),), lines=lines)
    found = {line.id: Decimal(line.amount) for line in rewritten(draft, Rewrite(9, "D", Decimal(19), 3)).lines}
    assert found == {"a": Decimal(54), "b": Decimal(27), "c": Decimal(19)}
    nothing = replace(draft, lines=(replace(lines[0], amount="0"), replace(lines[2], amount="100")))
    assert [line.amount for line in rewritten(nothing, Rewrite(9, "D", Decimal(19), 3)).lines] == ["0", "19"]


def test_another_basis_is_refused_in_words() -> None:
    with pytest.raises(Invalid, match="% w/w"):
        rewritten(Draft(basis="w/v"), Rewrite(1, "A", Decimal(1)))


def test_the_full_view_of_preservation_names_water_and_chelators(store: Store, gel: Any) -> None:
    parts = choice_of(store, gel).materials
    found = preservation_details(parts)
    assert found is not None
    assert 95 < found.water_percent < 97.5
    assert found.chelators == ()
    assert all(VERDICT_WORDS.values())


def test_a_salt_in_a_solution_counts_as_the_acid_it_holds() -> None:
    """4 % of a solution of 25 % potassium sorbate: 1 % of the salt, 112.13 g of acid in 150.22 g of it."""
    water = DosedMaterial("Water", Decimal(96), (Part("Aqua", Decimal(100)),))
    parts = (Part("Aqua", Decimal(75)), Part("Potassium Sorbate", Decimal(25)))
    found = preservation_details((water, DosedMaterial("Sorbate solution", Decimal(4), parts)))
    assert found is not None
    assert found.acid_percent("Potassium Sorbate") == pytest.approx(112.13 / 150.22, abs=1e-4)
    assert found.water_percent == pytest.approx(99)


@pytest.mark.parametrize("start", STARTS, ids=lambda one: one.key)
def test_a_stock_solution_holds_what_it_says(start: Any) -> None:
    typed = StockForm(start.key, start.assay_percent, start.usual_percent, "250 g")
    _, stock = stock_of(typed)
    assert stock.material_g + stock.water_g == pytest.approx(250)
    assert stock.material_g * float(start.assay_percent) / 250 == pytest.approx(float(start.usual_percent))
    assert start.inci in stock.label


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"assay": "nan"}, "assay"),
        ({"strength": "1e400"}, "strength"),
        ({"total": "-1"}, "total"),
        ({"total": ""}, "total"),
        ({"start": "aqua regia"}, "start"),
        ({"assay": "20", "strength": "45"}, "strength"),
    ],
)
def test_what_cannot_be_made_is_told_at_its_field(changed: dict[str, str], field: str) -> None:
    typed = {"start": "naoh-pellets", "assay": "98", "strength": "10", "total": "100", **changed}
    with pytest.raises(Faults) as found:
        stock_of(StockForm(**typed))
    assert [fault.field for fault in found.value.faults] == [field]
