"""Findings with their answers, corrections laid over the tables, and the kind of product read from words."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reference.materials import material as library_material
from app.reference.product_kinds import SPECIAL_USES
from app.reference.provenance import from_memory
from app.reference.rulebook import rulebook
from app.science.errors import Invalid
from app.science.rules.values import Finding, Severity, Source
from app.store.engine import Store
from app.store.errors import NotFound
from app.work.batches.planning import planning_choices
from app.work.form import Faults
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import SaveOrigin, create, open_draft, save_draft
from app.work.formulas.versions import keep_version
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material, load_material, put_on_shelf
from app.work.paper_formula import PaperRequest, declaration_of
from app.work.products.product_form import ProductForm
from app.work.products.products import add_product
from app.work.rules.answers import AnsweredFinding, fingerprint
from app.work.rules.book import book_of, corrected_limits, counts_in_checks, limit_key
from app.work.rules.checks import FormulaChecks
from app.work.rules.corrections import correct, find_value, read_corrections, shipped_values, take_back
from app.work.rules.own_values import memory_about
from app.work.rules.product_kind import kind_of_product
from app.work.rules.sheet import answer_finding, checks_sheet
from app.work.rules.tables import find_table, old_law, overview, rows_of, tables

D = Decimal
BENZOATE_RULE = "EU 1223/2009 Annex V entry 1"
SHELF = ("Aqua", "Sodium Benzoate", "Glycerin", "Cera Alba")
FINDING = Finding("R1", Severity.STOP, ("Aqua", "Mel"), "Too much.", Source("a law"), D("0.5"), D("0.6"), ("Honey",))
Make = Callable[..., int]


@pytest.fixture
def shelf(store: Store) -> None:
    for name in SHELF:
        add_material(store, MaterialForm(name=name, parts=(PartForm(inci=name, percent="100"),)))


@pytest.fixture
def make(store: Store, shelf: None) -> Make:
    def make(benzoate: str = "1", **head: str) -> int:
        return create(store, "Hand cream", content=draft(benzoate, **head))

    return make


def draft(benzoate: str, **head: object) -> Draft:
    lines = (
        DraftLine("w", "a", "Aqua", qs=True),
        DraftLine("b", "a", "Sodium Benzoate", None, benzoate),
        DraftLine("g", "a", "Glycerin", None, "5"),
    )
    whole = Draft(phases=(DraftPhase("a"),), lines=lines, product_type="hand cream", target_ph="4.8")
    return replace(whole, name="Hand cream", **head)


def checks(store: Store, formula_id: int, version_id: int | None = None) -> FormulaChecks:
    with store.reading() as session:
        found = checks_sheet(session, formula_id, version_id).checks
    assert found
    return found


def stop(found: FormulaChecks) -> AnsweredFinding:
    return next(t for t in found.home.findings if t.finding.severity == Severity.STOP)


def retype(store: Store, formula_id: int, benzoate: str) -> None:
    with store.reading() as session:
        there = open_draft(session, formula_id)
    lines = tuple(replace(line, amount=benzoate) if line.id == "b" else line for line in there.draft.lines)
    save_draft(store, formula_id, replace(there.draft, lines=lines), SaveOrigin(there.row_version, "test"))


def test_benzoate_over_its_cap_is_a_stop_with_its_figures(store: Store, make: Make) -> None:
    """Annex V entry 1: 0.5 % as the acid in leave-on products; its salt counts 0.8475, so 0.59 % is just over."""
    one = stop(checks(store, make("1")))
    assert (one.finding.rule, one.finding.limit, one.finding.unit) == (BENZOATE_RULE, D("0.5"), "%")
    assert D("0.84") < (one.finding.found or 0) < D("0.85")
    assert one.finding.materials == ("Sodium Benzoate",)
    assert not [t for t in checks(store, make("0.589")).home.findings if t.finding.severity == Severity.STOP]


def test_a_figure_of_many_places_is_written_short(store: Store, make: Make) -> None:
    one = stop(checks(store, make("0.777777")))
    assert "0.65917 % as benzoic acid, over the limit of 0.5 %" in one.finding.what
    assert one.finding.found == D("0.777777") * D("0.8475")


def test_an_answer_stands_while_what_was_found_stays_and_is_asked_for_again_after(store: Store, make: Make) -> None:
    formula = make("1")
    one = stop(checks(store, formula))
    answer_finding(store, formula, None, one.fingerprint, "A trial, not for sale.", "Ines")
    answered = stop(checks(store, formula)).answer
    assert answered
    assert (answered.reason, answered.who) == ("A trial, not for sale.", "Ines")
    retype(store, formula, "1.2")
    assert stop(checks(store, formula)).answer is None
    retype(store, formula, "1")
    assert stop(checks(store, formula)).answer == answered


def test_the_answer_stays_with_the_version_after_the_draft_moved_on(store: Store, make: Make) -> None:
    formula = make("1")
    version = keep_version(store, formula, "first", "Ines")
    answer_finding(store, formula, version, stop(checks(store, formula, version)).fingerprint, "For a test only", "Bo")
    retype(store, formula, "0.4")
    kept = stop(checks(store, formula, version)).answer
    assert kept
    assert kept.who == "Bo"
    assert not checks(store, formula).home.open("stop")


def test_an_answer_given_again_keeps_the_earlier_one(store: Store, make: Make) -> None:
    formula = make("1")
    mark = stop(checks(store, formula)).fingerprint
    for reason, who in (("First reason", "Ines"), ("Second reason", "Bo"), ("Second reason", "Bo")):
        answer_finding(store, formula, None, mark, reason, who)
    answer = stop(checks(store, formula)).answer
    assert answer
    assert answer.reason.startswith("Second reason\n\nBefore that, Ines on ")
    assert answer.reason.count("Second reason") == answer.reason.count("First reason") == 1


@pytest.mark.parametrize(
    ("reason", "who", "fields"),
    [
        ("", "", ["reason", "who"]),
        (" \n\x07", "Ines", ["reason"]),
        ("x" * 2001, "Ines", ["reason"]),
        ("ok", "", ["who"]),
    ],
    ids=["nothing", "blanks", "too long", "nobody"],
)
def test_an_answer_needs_a_reason_and_a_name(
    store: Store, make: Make, reason: str, who: str, fields: list[str]
) -> None:
    formula = make("1")
    one = stop(checks(store, formula))
    with pytest.raises(Faults) as caught:
        answer_finding(store, formula, None, one.fingerprint, reason, who)
    assert [fault.field for fault in caught.value.faults] == fields
    assert stop(checks(store, formula)).answer is None


def test_what_is_no_longer_found_cannot_be_answered(store: Store, make: Make) -> None:
    formula = make("1")
    one = stop(checks(store, formula))
    retype(store, formula, "0.4")
    with pytest.raises(Invalid, match="no longer there"):
        answer_finding(store, formula, None, one.fingerprint, "A reason", "Ines")


def test_a_version_of_another_formula_is_not_found(store: Store, make: Make) -> None:
    formula = make("0.4")
    version = keep_version(store, formula, "", "Ines")
    with pytest.raises(NotFound), store.reading() as session:
        checks_sheet(session, make("0.5"), version)


@pytest.mark.parametrize(
    "other",
    [
        replace(FINDING, rule="R2"),
        replace(FINDING, severity=Severity.NOTE),
        replace(FINDING, inci=("Aqua",)),
        replace(FINDING, found=D("0.61")),
        replace(FINDING, limit=D("0.4")),
    ],
    ids=["rule", "weight", "substances", "found", "limit"],
)
def test_another_finding_has_another_fingerprint(other: Finding) -> None:
    assert fingerprint(other) != fingerprint(FINDING)


def test_order_spelling_and_wording_make_no_other_finding() -> None:
    same = replace(FINDING, inci=("MEL", "aqua"), what="Said anew.", found=D("0.600"), source=Source("elsewhere"))
    assert fingerprint(same) == fingerprint(FINDING)


def test_without_an_amount_the_words_tell_findings_apart() -> None:
    bare = replace(FINDING, found=None, limit=None)
    assert fingerprint(bare) != fingerprint(replace(bare, what="Other words."))


@settings(max_examples=30)
@given(st.decimals("0.0001", "99", places=4), st.decimals("0.0001", "99", places=4))
def test_fingerprints_are_the_same_exactly_where_the_amounts_are(one: Decimal, other: Decimal) -> None:
    marks = {fingerprint(replace(FINDING, found=amount)) for amount in (one, other)}
    assert len(marks) == len({one, other})


def test_what_no_rule_can_look_at_is_said(store: Store, make: Make) -> None:
    formula = make("0.4")
    add_material(store, MaterialForm(name="Mystery base", parts=(PartForm("Glycerin", "60"),)))
    with store.reading() as session:
        there = open_draft(session, formula)
    more = (DraftLine("m", "a", "Mystery base", None, "3"), DraftLine("x", "a", "Moon dust", None, "1"))
    save_draft(store, formula, replace(there.draft, lines=there.draft.lines + more), SaveOrigin(there.row_version, "t"))
    said = checks(store, formula).home.not_checked
    assert "Moon dust: not on the shelf, so no rule can look at it." in said
    assert "Mystery base: 40 % of it is not named in its composition." in said


def test_words_on_the_front_are_looked_at(store: Store, make: Make) -> None:
    formula_id = make("0.4")
    add_product(store, formula_id, ProductForm(name="Cream 30 g", claims="Heals eczema and treats acne"))
    found = checks(store, formula_id)
    assert any(t.finding.rule.startswith("K") for t in found.home.findings)
    assert not any("none are written" in line for line in found.home.not_checked)


def test_the_target_goes_before_the_predicted_ph_and_a_wide_guess_is_not_used(store: Store, make: Make) -> None:
    asked = checks(store, make("0.4")).question
    assert (asked.facts.ph, asked.ph_from) == (D("4.8"), "the target pH")
    predicted = checks(store, make("0.4", target_ph="")).question
    assert predicted.ph_from in ("the predicted pH", "")
    assert (predicted.facts.ph is None) == (predicted.ph_from == "")


def test_what_both_markets_say_is_said_once(store: Store, make: Make) -> None:
    found = checks(store, make("1", exposure="rinse-off"))
    marks = [t.fingerprint for each in found.everywhere for t in each.findings]
    assert len(marks) == len(set(marks))
    assert [each.jurisdiction for each in found.everywhere] == ["EU", "US"]


def test_natural_origin_and_counts_follow_from_the_substances(store: Store, make: Make) -> None:
    found = checks(store, make("1"))
    assert found.counts
    assert found.origin
    assert found.counts.water == D(94)
    assert found.origin.with_water == D(99)
    assert found.origin.without_water == D(5) / D(6) * 100


@pytest.mark.parametrize(
    ("typed", "kind"),
    [
        ("hand cream, oil in water", "hand cream"),
        ("Handmade thing", ""),
        ("Mouthwash with mint", "mouthwash"),
        ("self tanner", "self-tanner, body"),
        ("Intimate wash", "intimate wash"),
        ("diaper cream", "nappy cream"),
        ("toner", "face toner"),
        ("Sun oil", "tanning oil"),
        ("SPF day cream", "face sunscreen"),
        ("teeth whitening", "tooth whitening"),
        ("Cuticle remover", "cuticle remover"),
        ("henna", "henna hair colour"),
        ("After-sun lotion", "after-sun"),
        ("solid perfume", "solid perfume"),
        ("body oil", "body oil"),
        ("Gesichtscreme", "face cream"),
        ("crème mains", "hand cream"),
        ("", ""),
    ],
)
def test_words_propose_a_kind_of_product(typed: str, kind: str) -> None:
    assert kind_of_product("", typed).kind == kind


def test_a_choice_goes_before_the_words_and_uses_add_to_it() -> None:
    found = kind_of_product("shampoo", "lip balm", ("under three",))
    assert (found.kind, found.chosen) == ("shampoo", True)
    assert found.words == {"hair", "shampoo", "children", "children under 3"}


def test_every_special_use_of_the_page_has_a_meaning() -> None:
    from app.web.formulas.forms import USES

    assert set(USES) == set(SPECIAL_USES)


@given(st.text(max_size=60))
@settings(max_examples=30)
def test_any_words_for_a_product_are_read_without_a_fault(typed: str) -> None:
    assert isinstance(kind_of_product(typed, typed).kind, str)


HEXACHLOROPHENE = ("limits/US", "US, Hexachlorophene, not on mucous membranes", "max_percent")
XANTHAN = ("ingredients", "Xanthan Gum", "natural_origin_index")


def test_a_limit_put_right_is_the_one_that_counts(store: Store) -> None:
    correct(store, HEXACHLOROPHENE, "0,001", "21 CFR 250.250, read 2026", "Ines")
    with store.reading() as session:
        own = read_corrections(session)
    rule = next(r for r in book_of("US", own).rules if limit_key(r) == HEXACHLOROPHENE[1])
    assert (rule.max_percent, rule.source_status) == (D("0.001"), "your own")
    assert "21 CFR 250.250, read 2026; corrected here by Ines on" in rule.source
    shipped = next(r for r in rulebook("US").rules if limit_key(r) == HEXACHLOROPHENE[1])
    assert shipped.max_percent == D("0.1")


def test_only_the_row_that_rests_on_memory_is_corrected(store: Store) -> None:
    correct(store, HEXACHLOROPHENE, "0.001", "a source", "")
    with store.reading() as session:
        own = read_corrections(session)
    before, after = rulebook("US").rules, tuple(corrected_limits(rulebook("US").rules, own))
    assert sum(a != b for a, b in zip(before, after, strict=True)) == 1


def test_a_natural_origin_index_put_right_changes_the_content(store: Store, make: Make) -> None:
    before = checks(store, make("1")).origin
    correct(store, ("ingredients", "Sodium Benzoate", "natural_origin_index"), "1", "supplier letter", "Ines")
    after = checks(store, make("1")).origin
    assert before
    assert after
    assert before.with_water == D(99)
    assert after.with_water == D(100)


def test_colours_and_reasons_put_right_are_followed(store: Store) -> None:
    colour = next(v for v in from_memory() if v.table == "colourants" and v.value == "1")
    why = next(v for v in from_memory() if v.table == "compatibility")
    correct(store, ("colourants", colour.key, "eu_area"), "4", "Annex IV", "Ines")
    correct(store, ("compatibility", why.key, "why"), "Seen on the bench.", "bench book", "Ines")
    with store.reading() as session:
        book = book_of("EU", read_corrections(session))
    found = book.colourants.find(colour.key)
    assert found
    assert found.eu_area == 4
    assert book.trade[why.key].why == "Seen on the bench."
    assert all(c.rule == book.trade[c.rule.rule_id] for c in book.conditions)


def test_a_correction_is_replaced_and_taken_back(store: Store) -> None:
    correct(store, XANTHAN, "0.9", "first sheet", "Ines")
    correct(store, XANTHAN, "0.95", "second sheet", "Bo")
    with store.reading() as session:
        (one,) = read_corrections(session)
    assert (one.value, one.source, one.who, one.shipped) == ("0.95", "second sheet", "Bo", "1")
    assert one.shipped_now == "1"
    take_back(store, XANTHAN)
    with store.reading() as session:
        assert read_corrections(session) == ()
    with pytest.raises(NotFound):
        take_back(store, XANTHAN)


@pytest.mark.parametrize(
    ("place", "value", "source", "fields"),
    [
        (XANTHAN, "", "", ["value", "source"]),
        (XANTHAN, "1.01", "sheet", ["value"]),
        (XANTHAN, "NaN", "sheet", ["value"]),
        (XANTHAN, "a lot", "sheet", ["value"]),
        (("ingredients", "Xanthan Gum", "charge"), "positive", "sheet", ["value"]),
        (("colourants", "CI 77491", "eu_area"), "2.5", "Annex IV", ["value"]),
        (HEXACHLOROPHENE, "101", "law", ["value"]),
        (("ingredients", "Xanthan Gum", "charge"), "anionic", " ", ["source"]),
    ],
)
def test_a_correction_that_cannot_be_is_refused_at_its_field(
    store: Store, place: tuple[str, str, str], value: str, source: str, fields: list[str]
) -> None:
    with pytest.raises(Faults) as caught:
        correct(store, place, value, source, "Ines")
    assert [fault.field for fault in caught.value.faults] == fields
    with store.reading() as session:
        assert read_corrections(session) == ()


def test_only_values_from_memory_can_be_put_right(store: Store) -> None:
    with pytest.raises(NotFound):
        find_value(("limits/EU", "EU, Benzoic Acid, leave-on", "max_percent"))
    with pytest.raises(NotFound):
        correct(store, ("ingredients", "No such thing", "charge"), "none", "sheet", "Ines")


def test_every_table_has_rows_with_a_source_and_is_found_at_its_address() -> None:
    for table in tables():
        rows = rows_of(table, ())
        assert rows
        assert all(row.name and row.source and len(row.cells) == len(table.columns) for row in rows), table.path
        assert find_table(table.path.upper()) == table
        assert all(row.place in shipped_values() for row in rows if row.place)
        assert not any("!" in cell for row in rows for cell in row.cells), table.path
    assert find_table("no-such") is None


def test_rows_are_found_by_words_in_any_order() -> None:
    table = find_table("limits/EU")
    assert table
    rows = rows_of(table, (), "leave-on BENZOIC")
    assert {row.name for row in rows} >= {"Benzoic Acid", "Sodium Benzoate"}
    assert all("benzo" in " ".join((row.name, *row.cells)).casefold() for row in rows)
    assert rows_of(table, (), "benzoic moonlight") == []
    assert {row.status for row in rows_of(table, (), "", "from memory")} == {"from memory"}


def test_a_table_older_than_a_year_is_told_of() -> None:
    assert {age.table for age in old_law(date(2026, 11, 25))} == {"US", "allergens", "prohibited"}
    assert {age.table for age in old_law(date(2024, 5, 20))} == set()
    states = {table.path: (one.state, one.old) for table in tables() for one in [overview(table, (), date(2024, 6, 1))]}
    assert states["allergens"] == (date(2024, 5, 13), False)
    assert states["colourants"] == (None, True)
    assert states["compatibility"] == (None, False)


def test_which_corrections_the_checks_follow() -> None:
    assert counts_in_checks("limits/EU", "max_percent")
    assert counts_in_checks("ingredients", "natural_origin_index")
    assert not counts_in_checks("ingredients", "density_g_ml")
    assert not counts_in_checks("pka", "pKa_all")


PENTYLENE = ("ingredients", "Pentylene Glycol", "density_g_ml")


def test_a_density_put_right_goes_onto_the_shelf_with_the_material(store: Store) -> None:
    correct(store, PENTYLENE, "0.975", "supplier sheet 2026", "Ines")
    own = load_material(store, put_on_shelf(store, "pentylene-glycol"))
    other = load_material(store, put_on_shelf(store, "hexylene-glycol"))
    assert (own.density_g_ml, other.density_g_ml) == (D("0.975"), D("0.921"))


def test_what_rests_on_memory_about_a_material_is_listed_with_the_own_value(store: Store) -> None:
    shipped = library_material("pentylene-glycol")
    assert shipped
    correct(store, PENTYLENE, "0.975", "supplier sheet 2026", "Ines")
    with store.reading() as session:
        about = {value.column: own for value, own in memory_about(session, shipped)}
    own = about["density_g_ml"]
    assert own
    assert own.value == "0.975"
    assert about["natural_origin_index"] is None


def test_a_stop_follows_the_product_until_a_person_answers_it(store: Store, make: Make) -> None:
    """On the plan and on the ingredient list, and gone from both once it has a reason."""
    formula = make("1")
    asked = PaperRequest(formula)
    with store.reading() as session:
        assert [one.finding.rule for one in declaration_of(session, asked).stops] == [BENZOATE_RULE]
    assert [one.finding.rule for one in planning_choices(store, formula).stops] == [BENZOATE_RULE]
    answer_finding(store, formula, None, stop(checks(store, formula)).fingerprint, "A trial, not for sale.", "Ines")
    with store.reading() as session:
        assert not declaration_of(session, asked).stops
    assert not planning_choices(store, formula).stops


def test_the_standing_gaps_are_with_every_answer(store: Store, make: Make) -> None:
    found = checks(store, make("0.4"))
    assert any("Other countries" in line for line in found.home.gaps)
    assert any("MoCRA" in line for line in found.others[0].gaps)
