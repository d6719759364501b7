"""From a printed list to a formula: what is read, told, covered, started and compared."""

import re
from datetime import date
from decimal import Decimal
from types import SimpleNamespace as Of
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reference.inference_measures import Observable
from app.science.errors import Invalid
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.products import ExchangeRate
from app.work.form import Faults
from app.work.formulas.editing import open_draft
from app.work.formulas.results import results_of
from app.work.label_reading import lists
from app.work.label_reading.cards import cards
from app.work.label_reading.choosing import Choices, main_of, own_shelf
from app.work.label_reading.constraints import UserConstraints, parse_known
from app.work.label_reading.estimate import read_text, work_out
from app.work.label_reading.estimate_formula import ask
from app.work.label_reading.list_comparison import compare
from app.work.label_reading.lists import ListForm, OpenList, TeachForm
from app.work.label_reading.preview import changes, cost_words, preview
from app.work.label_reading.starting import StartForm, start_formula
from app.work.label_reading.suggesting import suggestions
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.prices import PriceForm, add_price
from app.work.materials.shelf import add_material, load_material, put_on_shelf
from app.work.rules.checks import check
from app.work.rules.question import question

LIST = (
    "Aqua, Glycerin, Caprylic/Capric Triglyceride, Cetearyl Alcohol, Urea, Glyceryl Stearate, Panthenol, "
    "Zorbium Extract, Xanthan Gum, Phenoxyethanol, Ethylhexylglycerin, Citric Acid, Sodium Hydroxide, Linalool"
)
CREAM = ListForm("Invented cream", LIST, "leave-on cream", "EU")


@pytest.fixture
def cream(store: Store) -> int:
    return lists.start_list(store, CREAM, "a key")


def opened(store: Store, list_id: int) -> OpenList:
    with store.reading() as session:
        return lists.open_list(session, list_id)


def row_of(there: OpenList, key: str) -> object:
    return next(row for row in there.sheet.rows if row.name.key == key)


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("10", 10, 10),
        ("10 %", 10, 10),
        ("0,5", 0.5, 0.5),
        ("0.2-0.4", 0.2, 0.4),
        ("0.2 to 0.4 %", 0.2, 0.4),
        ("< 1", 0, 1),
        ("> 95", 95, 100),
        ("10 ± 0.5", 9.5, 10.5),
        ("10 +/- 0.5", 9.5, 10.5),
        ("0.2 +- 1", 0, 1.2),
    ],
)
def test_a_known_value_is_read_as_people_write_it(text: str, low: float, high: float) -> None:
    known = parse_known(text, "value-0")
    assert (known.low, known.high) == (low, high)


@pytest.mark.parametrize("text", ["150", "ten", "-1", "5-2", "10 ± x", "NaN", "1e3", "9" * 80, "1.234,5"])
def test_a_value_that_makes_no_sense_is_refused_at_its_field(text: str) -> None:
    with pytest.raises(Invalid) as found:
        parse_known(text, "value-3")
    assert found.value.field == "value-3"


@given(st.dictionaries(st.text(min_size=1), st.text(min_size=1).map(lambda t: t.strip() or "1")))
@settings(max_examples=40)
def test_what_is_told_survives_the_store(values: dict[str, str]) -> None:
    told = UserConstraints(values, frozenset({("order", "UREA")}))
    assert UserConstraints.from_json(told.to_json()) == told


@pytest.mark.parametrize("text", ["", "[]", "null", '{"values": 3, "aside": "x"}', '{"aside": [[1], 2]}', "{"])
def test_foreign_words_in_the_store_count_as_nothing_told(text: str) -> None:
    assert UserConstraints.from_json(text) == UserConstraints()


def test_the_same_form_taken_twice_makes_one_list(store: Store, cream: int) -> None:
    assert lists.start_list(store, CREAM, "a key") == cream
    assert len(lists.all_lists(store)[0]) == 1


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (ListForm("", LIST), "title"),
        (ListForm("x", ""), "ingredients"),
        (ListForm("x", "???"), "ingredients"),
        (ListForm("x", "a" * 60_000), "ingredients"),
        (ListForm("x", ", ".join(f"name{n}x" for n in range(2_000))), "ingredients"),
        (ListForm("x", "Aqua \ud800"), "ingredients"),
        (ListForm("x", LIST, "", "Mars"), "jurisdiction"),
        (ListForm("x", LIST, "y" * 500), "product_type"),
    ],
)
def test_what_cannot_be_a_list_is_refused_at_its_field(store: Store, typed: ListForm, field: str) -> None:
    with pytest.raises(Faults) as found:
        lists.start_list(store, typed)
    assert [fault.field for fault in found.value.faults] == [field]


def test_more_names_than_are_handled_are_counted_in_the_message() -> None:
    with pytest.raises(Invalid, match=r"201 names .* at most 200"):
        read_text(", ".join(f"zqname{n}x" for n in range(201)), {})


def test_a_known_value_narrows_everything_and_can_be_freed(store: Store, cream: int) -> None:
    before = opened(store, cream)
    there = lists.say_known(store, cream, {"UREA": "5", "XANTHAN GUM": "0,3"})
    urea, oil = row_of(there, "UREA"), row_of(there, "GLYCERIN")
    assert (urea.answer.low, urea.answer.estimate, urea.answer.high) == (5, 5, 5)
    assert oil.answer.low == pytest.approx(5)
    assert all(
        new.answer.low >= old.answer.low - 1e-9 and new.answer.high <= old.answer.high + 1e-9
        for new, old in zip(there.sheet.rows, before.sheet.rows, strict=True)
    )
    assert opened(store, cream).sheet.rows == there.sheet.rows
    freed = lists.say_known(store, cream, {"UREA": "", "XANTHAN GUM": ""})
    assert freed.sheet.estimates == before.sheet.estimates


def test_a_wrong_value_is_told_at_its_place_and_nothing_is_written(store: Store, cream: int) -> None:
    with pytest.raises(Faults) as found:
        lists.say_known(store, cream, {"AQUA": "5", "UREA": "lots", "GLYCERIN": "101"})
    assert [fault.field for fault in found.value.faults] == ["value-1", "value-4"]
    assert opened(store, cream).sheet.constraints == UserConstraints()


def test_values_of_names_that_are_not_in_the_list_are_passed_over(store: Store, cream: int) -> None:
    assert lists.say_known(store, cream, {"GOLD": "5"}).sheet.constraints == UserConstraints()


def test_a_clash_names_its_statements_and_each_can_be_given_up(store: Store, cream: int) -> None:
    there = lists.say_known(store, cream, {"AQUA": "20", "GLYCERIN": "40"})
    ways = {(way.kind, way.key) for clash in there.sheet.clashes for way in clash.relaxations}
    assert {("claim", "AQUA"), ("claim", "GLYCERIN")} <= ways
    assert all(way.effect for clash in there.sheet.clashes for way in clash.relaxations)
    lists.give_up(store, cream, "claim", "AQUA")
    resolved = opened(store, cream).sheet
    assert resolved.clashes == ()
    assert resolved.constraints.values == {"GLYCERIN": "40"}


def test_a_legal_maximum_can_be_set_aside_and_holds_again_when_taken_back(store: Store) -> None:
    list_id = lists.start_list(store, ListForm("Turned round", "Phenoxyethanol, Aqua, Glycerin", "leave-on cream"))
    there = opened(store, list_id)
    assert there.sheet.clashes
    assert ("maximum", "PHENOXYETHANOL") in {(w.kind, w.key) for c in there.sheet.clashes for w in c.relaxations}
    lists.give_up(store, list_id, "maximum", "PHENOXYETHANOL")
    aside = opened(store, list_id).sheet
    assert aside.clashes == ()
    assert [one.words for one in aside.dropped] == ["the legal maximum of Phenoxyethanol"]
    lists.take_back(store, list_id, "maximum", "PHENOXYETHANOL")
    assert opened(store, list_id).sheet.clashes


def test_a_printed_percentage_counts_as_known_until_it_is_set_aside() -> None:
    reading = read_text("Aqua, Urea (10%), Glycerin", {})
    assert work_out(reading, UserConstraints()).rows[1].answer.estimate == 10
    free = work_out(reading, UserConstraints(dropped=frozenset({("printed", "UREA")})))
    assert free.rows[1].answer.low < 10


def test_the_line_is_said_in_words_with_its_probability(store: Store, cream: int) -> None:
    sheet = opened(store, cream).sheet
    assert sheet.line_words.startswith("The 1 % line most likely sits after ")
    shares = sheet.found.inference.line_probability
    assert sum(row.gap or 0 for row in sheet.rows) + sheet.before_first == pytest.approx(sum(shares))


def test_a_taught_name_is_used_at_the_next_reading_and_can_be_forgotten(store: Store, cream: int) -> None:
    lists.teach(store, TeachForm("Zorbium Extract", "chamomilla recutita flower extract"))
    name = opened(store, cream).sheet.names[7]
    assert (name.printed, name.key) == ("Zorbium Extract", "CHAMOMILLA RECUTITA FLOWER EXTRACT")
    lists.forget(store, "ZORBIUM EXTRACT")
    assert opened(store, cream).sheet.names[7].key == "ZORBIUM EXTRACT"
    with pytest.raises(NotFound):
        lists.forget(store, "ZORBIUM EXTRACT")


def test_only_known_names_can_be_taught(store: Store) -> None:
    with pytest.raises(Faults, match="no name that is known here"):
        lists.teach(store, TeachForm("Zorbium Extract", "Blorbium"))


def test_suggestions_are_names_that_can_be_taught(store: Store) -> None:
    found = suggestions("Chamomile flower extract")
    assert found
    for name in found:
        lists.teach(store, TeachForm("Zorbium Extract", name))


def test_a_list_changed_elsewhere_is_not_overwritten(store: Store, cream: int) -> None:
    version = opened(store, cream).row_version
    lists.revise_list(store, cream, ListForm("New title", LIST), version)
    with pytest.raises(Conflict):
        lists.revise_list(store, cream, ListForm("Late title", LIST), version)
    assert opened(store, cream).typed.title == "New title"


def test_every_name_is_described(store: Store, cream: int) -> None:
    put_on_shelf(store, "glycerin")
    with store.reading() as session:
        found = {c.row.name.key: c for c in cards(opened(store, cream).sheet, own_shelf(session).materials)}
    assert found["GLYCERIN"].buy.startswith("On your shelf: ")
    assert found["UREA"].buy.startswith("In the library: ")
    assert not found["ZORBIUM EXTRACT"].buyable
    assert found["ZORBIUM EXTRACT"].certainty.startswith("not known here")
    assert found["PHENOXYETHANOL"].purpose.startswith("preservative")
    words, source = found["PHENOXYETHANOL"].limits[0]
    assert words == "at most 1 %; all"
    assert "Annex V entry 29" in source


def test_ph_gel_and_preservation_of_the_estimate_are_answered_or_said_to_be_unknown(store: Store, cream: int) -> None:
    asked = ask(opened(store, cream).sheet)
    assert asked.report is not None
    assert asked.report.prediction is not None
    assert asked.swing is not None
    assert asked.swing[0] < asked.swing[1]
    assert [gel.thickener.inci for gel in asked.report.gels] == ["Xanthan Gum"]
    assert "Phenoxyethanol" in {system.inci for system in asked.report.preservation.systems}
    dry = ask(work_out(read_text("Helianthus Annuus Seed Oil, Tocopherol", {}), UserConstraints()))
    assert dry.report is None or dry.report.prediction is None
    assert dry.swing is None


def test_a_formula_is_started_whole_with_phases_notes_and_the_same_order(store: Store, cream: int) -> None:
    formula_id = start_formula(store, cream, Choices(), StartForm("My cream"), "one press")
    assert start_formula(store, cream, Choices(), StartForm("My cream"), "one press") == formula_id
    with store.reading() as session:
        there = open_draft(session, formula_id)
        found = results_of(session, there)
        compared = compare(session, cream, formula_id)
    assert found.faults == ()
    assert found.complete is not None
    assert found.complete.total_percent == 100
    assert [there.draft.letter_of(phase.id) for phase in there.draft.phases] == ["A", "B", "C", "D"]
    assert all(line.material_id for line in there.draft.lines)
    assert sum(line.qs for line in there.draft.lines) == 1
    assert any("never water to the alkali" in phase.method for phase in there.draft.phases)
    assert "never a claim to be the same" in there.draft.notes
    assert re.search(
        r"nothing on the shelf or in the library holds it: Zorbium Extract \(about [\d.]+ %\)", there.draft.notes
    )
    below = {t.inci.upper() for t in found.substances if t.percent <= 1}
    assert {moved.name for moved in compared.comparison.moved} <= below
    assert set(compared.comparison.missing) <= {"ZORBIUM EXTRACT", "LINALOOL"}
    assert opened(store, cream).started[0].id == formula_id


def test_what_sets_the_ph_is_added_last_and_no_less_of_it_than_anyone_weighs(store: Store) -> None:
    """Cetrimonium chloride holds no pH: by the model less than a thousandth of a per cent of acid would do."""
    text = "Aqua, Cetyl Alcohol, Cetrimonium Chloride, Stearyl Alcohol, Parfum, Diazolidinyl Urea, Lactic Acid"
    mask = lists.start_list(store, ListForm("Mask", text, "hair mask", "EU"), "mask")
    formula_id = start_formula(store, mask, Choices(), StartForm("Mask"))
    with store.reading() as session:
        draft = open_draft(session, formula_id).draft
    last = draft.lines[-1]
    assert next(phase.name for phase in draft.phases if phase.id == last.phase) == "Setting the pH"
    assert last.typed.startswith("Lactic acid")
    assert 0.002 <= float(last.amount) < 0.01


def test_the_own_shelf_is_taken_before_the_library(store: Store, cream: int) -> None:
    mine = put_on_shelf(store, "glycerin")
    formula_id = start_formula(store, cream, Choices(), StartForm("Mine first"))
    with store.reading() as session:
        assert mine in {line.material_id for line in open_draft(session, formula_id).draft.lines}
    assert load_material(store, mine).library_key == "glycerin"


def test_what_is_left_out_stays_out_and_what_is_replaced_changes_the_declaration(store: Store, cream: int) -> None:
    with store.reading() as session:
        own, sheet = own_shelf(session), lists.open_list(session, cream).sheet
        plain = preview(session, sheet, own, Choices(), {})
        other = plain.plan.offers["PHENOXYETHANOL"][0]
        chosen = Choices(frozenset({"UREA"}), {"PHENOXYETHANOL": other.id})
        found = preview(session, sheet, own, chosen, {})
    assert {"PHENOXYETHANOL", "UREA"} <= set(found.comparison.missing)
    assert main_of(other) in {key for line in found.plan.cover.lines for key in line.material.parts}
    told = {change.what: change for change in changes(plain, found)}
    assert "Urea" in told["Declaration"].before
    assert {"Predicted pH", "Limits and cautions", "Cost of the materials"} <= set(told)
    assert "Phenoxyethanol" in told["Preservation"].before
    assert "Phenoxyethanol" not in told["Preservation"].after
    assert plain.cost.startswith("not known")


def test_a_replacement_that_is_not_offered_is_passed_over(store: Store, cream: int) -> None:
    with store.reading() as session:
        sheet = lists.open_list(session, cream).sheet
        found = preview(session, sheet, own_shelf(session), Choices(swaps={"UREA": "glycerin"}), {})
    assert not found.plan.choices.any


def test_leaving_everything_out_and_a_missing_name_are_refused(store: Store, cream: int) -> None:
    everything = Choices(frozenset(name.key for name in opened(store, cream).sheet.names))
    with pytest.raises(Invalid, match="Every name is left out"):
        start_formula(store, cream, everything, StartForm("Nothing"))
    with pytest.raises(Faults):
        start_formula(store, cream, Choices(), StartForm(" "))


def test_prices_count_in_the_currency_of_the_workshop_and_one_without_a_rate_counts_not(store: Store) -> None:
    """30 USD for 10 g at 0.9 are 2,700 EUR a kilogram; nobody typed what a pound is worth."""
    list_id = lists.start_list(
        store, ListForm("Oil", "Helianthus Annuus Seed Oil, Rosa Damascena Flower Oil, Tocopherol")
    )
    assert Observable.PRICE not in {one.measure for one in opened(store, list_id).sheet.found.narrowing}
    for name, inci, amount, quantity, currency in (
        ("Rose otto", "Rosa Damascena Flower Oil", "30", "10 g", "USD"),
        ("Rose otto, large", "ROSA DAMASCENA FLOWER OIL", "290", "100 g", ""),
        ("Vitamin E", "Tocopherol", "5", "1 kg", "GBP"),
        ("Blend", "Helianthus Annuus Seed Oil", "1", "1 kg", ""),
    ):
        parts = (PartForm(inci, "60"), PartForm("Squalane", "40")) if name == "Blend" else (PartForm(inci),)
        one = add_material(store, MaterialForm(name, parts=parts))
        add_price(store, one, PriceForm(amount=amount, quantity=quantity, priced_on="2026-10-01", currency=currency))
    with store.transaction() as session:
        session.add(ExchangeRate(currency="USD", rate=Decimal("0.9"), noted_on=date(2026, 9, 1)))
    with store.reading() as session:
        keys = {"ROSA DAMASCENA FLOWER OIL", "TOCOPHEROL", "HELIANTHUS ANNUUS SEED OIL"}
        assert lists.substance_prices(session, keys) == {"ROSA DAMASCENA FLOWER OIL": pytest.approx(2700)}
        assert lists.substance_prices(session, {"TOCOPHEROL"}) == {}
    # Nobody typed a price of the product yet: asking for it would narrow the rose oil.
    assert Observable.PRICE in {one.measure for one in opened(store, list_id).sheet.found.narrowing}


def test_deleting_a_list_keeps_its_formulas(store: Store, cream: int) -> None:
    formula_id = start_formula(store, cream, Choices(), StartForm("Stays"))
    lists.delete_list(store, cream)
    with pytest.raises(NotFound):
        opened(store, cream)
    with store.reading() as session:
        assert open_draft(session, formula_id).name == "Stays"


@pytest.mark.parametrize(
    ("kind", "law", "text"),
    [
        (
            "hair mask",
            "EU",
            "Aqua, Cetearyl Alcohol, Cetrimonium Chloride, Glycerin, Cetyl Esters, Sodium Benzoate, Citric Acid",
        ),
        ("face cream", "EU", "Aqua, Glycerin, Caprylic/Capric Triglyceride, Retinol, Xanthan Gum, Phenoxyethanol"),
        ("toothpaste", "EU", "Aqua, Hydrated Silica, Sorbitol, Sodium Fluoride, Xanthan Gum, Aroma, Sodium Benzoate"),
    ],
)
def test_a_started_formula_keeps_the_law_in_the_very_weights_of_its_draft(
    store: Store, kind: str, law: str, text: str
) -> None:
    """Cetrimonium chloride 2.5 %, retinol 0.3 %, fluoride 0.15 % (Annex III); the checks of the formula page decide."""
    listed = lists.start_list(store, ListForm("Mine", text, kind, law), "one")
    formula_id = start_formula(store, listed, Choices(), StartForm("Started"))
    with store.reading() as session:
        found = results_of(session, open_draft(session, formula_id))
    stops = check(question(found.formula), law).home.open("stop")
    assert [answered.finding.what for answered in stops] == []
    assert found.complete is not None
    assert "Not in this formula" not in found.draft.notes


def test_a_name_that_only_the_inventory_knows_becomes_a_material_of_its_own(store: Store) -> None:
    """Octocrylene is no material of the library; of it nothing but its name is known, which its note says."""
    text = "Aqua, Octocrylene, Caprylic/Capric Triglyceride, Glyceryl Stearate, Phenoxyethanol, Zorbium Extract"
    listed = lists.start_list(store, ListForm("Sun", text, "sunscreen", "EU"), "sun")
    formula_id = start_formula(store, listed, Choices(), StartForm("Sun"))
    with store.reading() as session:
        draft = open_draft(session, formula_id).draft
    line = next(line for line in draft.lines if line.typed == "Octocrylene")
    assert line.phase == "b"
    assert "Only its name is known here" in line.note
    assert [(one.inci, one.percent) for one in load_material(store, line.material_id or 0).parts] == [
        ("Octocrylene", 100)
    ]
    assert re.search(r"holds it: Zorbium Extract \(about", draft.notes)


def test_a_formula_without_heat_has_no_cool_down_and_water_fills_it_up(store: Store) -> None:
    text = "Alcohol Denat., Parfum, Aqua, Limonene"
    listed = lists.start_list(store, ListForm("Scent", text, "eau de toilette", "EU"), "scent")
    formula_id = start_formula(store, listed, Choices(), StartForm("Scent"))
    with store.reading() as session:
        draft = open_draft(session, formula_id).draft
    assert [(phase.name, phase.temperature) for phase in draft.phases] == [("One phase", "")]


def test_a_substance_sold_in_water_becomes_a_dry_material_where_the_list_has_no_water(store: Store) -> None:
    """The betaine of the library is a solution of 30 %; a shampoo bar holds the powder."""
    text = "Sodium Coco-Sulfate, Sodium Cocoyl Isethionate, Cetyl Alcohol, Cocamidopropyl Betaine, Sodium Benzoate"
    listed = lists.start_list(store, ListForm("Bar", text, "solid shampoo", "EU"), "bar")
    formula_id = start_formula(store, listed, Choices(), StartForm("Bar"))
    with store.reading() as session:
        draft = open_draft(session, formula_id).draft
    assert "Cocamidopropyl Betaine" in {line.typed for line in draft.lines}
    assert "Not in this formula" not in draft.notes


@pytest.mark.parametrize(
    ("per_kg", "priced", "locale", "currency", "words"),
    [
        (None, 0, "en", "EUR", "not known"),
        ("6.875", 3, "en", "EUR", "€6.88 for 1 kg"),
        ("6.875", 3, "de", "EUR", "6,88\u00a0€ for 1 kg"),
        ("1234.4", 3, "en", "JPY", "¥1,234 for 1 kg"),
        ("6.875", 2, "en", "USD", "at least $6.88 for 1 kg; 1 of 3 materials have no price yet"),
        ("0", 0, "en", "EUR", "not known: no material has a price yet"),
    ],
)
def test_the_cost_of_a_kilogram_is_written_as_on_every_page(
    per_kg: str | None, priced: int, locale: str, currency: str, words: str
) -> None:
    cost = None if per_kg is None else Of(materials_per_kg=Decimal(per_kg), unpriced=["x"] * (3 - priced))
    shop = Of(currency=currency, locale=locale)
    lines = [Of(percent=Decimal(one)) for one in ("90", "9", "1", "0")]
    found: Any = Of(cost=cost, formula=Of(lines=lines), context=Of(workshop=shop))
    assert cost_words(found) == words
