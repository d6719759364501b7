"""A declared form: what was typed stays, every fault is told at its field, and values come out as they were read."""

from decimal import Decimal
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.work.equipment import ScaleForm
from app.work.form import Faults, Form, Rows, rule
from app.work.form_fields import (
    DayOrToday,
    Grams,
    LongText,
    MaybeDay,
    MaybeGrams,
    MaybeNumber,
    Money,
    Name,
    Number,
    ShortText,
    TickBox,
)

D = Decimal


class Row(Form):
    filled_by = ("what", "percent")
    what = Name("What", "Name this row.")
    percent = Number("Percent", high=100)
    checked_twice = TickBox("Checked twice")


class Recipe(Form):
    title = Name("Title", "Give a title.", csv="name")
    made = MaybeDay("Made on", csv="made")
    beaker = MaybeGrams("Beaker")
    weight = Grams("Weight", "Give the weight.", column="weight_g", csv="weight")
    ph = MaybeNumber("pH", high=14)
    notes = LongText("Notes", longest=40)
    rows = Rows("Rows", Row, "row", most=3, too_many="Only {most} rows, not {count}.")

    @rule
    def weight_holds_the_beaker(self) -> None:
        if self.beaker is not None and self.weight < self.beaker:
            raise Invalid("weight", "Lighter than its beaker.")


def faults_of(form: Form, known: object = None) -> dict[str, str]:
    with pytest.raises(Faults) as refused:
        form.checked(known)
    return refused.value.by_field


# Factors: international yard and pound agreement of 1959 (1 lb = 453.59237 g); SI prefixes.
WEIGHTS = [
    ("12.5", "12.5"), ("12,5 g", "12.5"), ("1.2 kg", "1200"), ("500 mg", "0.5"), ("12.5 G", "12.5"),
    ("12.5 gram", "12.5"), ("12.5 grams", "12.5"), ("1 lb", "453.59237"), ("1 oz", "28.349523125"), ("1/2 kg", "500"),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "grams"), WEIGHTS, ids=[typed for typed, _ in WEIGHTS])
def test_a_weight_is_read_in_the_unit_it_is_typed_in(typed: str, grams: str) -> None:
    assert Recipe(title="a", weight=typed).checked().weight == D(grams)


def test_a_volume_is_a_weight_only_with_a_density() -> None:
    typed = Recipe(title="a", weight="100 mL")
    assert "density" in faults_of(typed)["weight"]
    assert typed.checked(SimpleNamespace(density_g_ml=D("0.9"))).weight == D(90)


@pytest.mark.parametrize("typed", ["", "0", "-1", "ten", "1.2 k", "nan", "1e3", "9" * 60, "1,234 g"])
def test_a_weight_that_cannot_be_is_told_at_its_field(typed: str) -> None:
    assert faults_of(Recipe(title="a", weight=typed)).keys() == {"weight"}


def test_every_fault_is_told_at_once_in_the_order_of_the_fields() -> None:
    rows = (Row("", "5"), Row(), Row("Water", "x"))
    found = faults_of(Recipe(title=" ", made="yesterday", weight="x", ph="15", notes="n" * 41, rows=rows))
    assert list(found) == ["title", "made", "weight", "ph", "notes", "row-0-what", "row-2-percent"]


def test_a_rule_speaks_only_when_its_fields_could_be_read() -> None:
    assert faults_of(Recipe(title="a", weight="x", beaker="5")).keys() == {"weight"}
    assert faults_of(Recipe(title="", weight="4", beaker="5")) == {
        "title": "Give a title.",
        "weight": "Lighter than its beaker.",
    }


def test_a_form_as_posted_keeps_every_text_and_the_order_of_its_rows() -> None:
    posted = {"title": "<b>", "weight": " 1,5 kg ", "row-7-what": "B", "row-7-percent": "2", "row-2-what": "A"}
    form = Recipe.sent({**posted, "row-x-what": "no", "row-99999-what": "no", "other": "no"})
    assert (form.text["title"], form.text["weight"], form.text["notes"]) == ("<b>", " 1,5 kg ", "")
    assert [(row.text["what"], row.text["percent"]) for row in form.text["rows"]] == [("A", ""), ("B", "2")]


def test_too_many_rows_are_one_fault() -> None:
    assert faults_of(Recipe("a", weight="1", rows=[Row("x", "1")] * 4)) == {"rows": "Only 3 rows, not 4."}


def test_what_is_stored_comes_back_as_it_would_be_typed() -> None:
    stored = SimpleNamespace(
        title="A", made=None, beaker=None, weight_g=D("1500.50"), ph=D("5.0"), notes="", rows=[
            SimpleNamespace(what="Water", percent=D("60.0"), checked_twice=True)
        ],
    )  # fmt: skip
    form = Recipe.of(stored)
    assert form == Recipe("A", weight="1500.5 g", ph="5", rows=(Row("Water", "60", "yes"),))
    read = form.checked()
    assert read.columns() == {
        "title": "A", "made": None, "beaker": None, "weight_g": D("1500.5"), "ph": D(5), "notes": "",
    }  # fmt: skip
    assert read.rows[0].columns() == {"what": "Water", "percent": D(60), "checked_twice": True}


def test_only_what_somebody_changed_is_a_difference() -> None:
    mine = Recipe("A", weight="1", notes="one\r\ntwo ", rows=(Row("x", "1"), Row()))
    assert mine.differences(Recipe("A", weight="1", notes="one\ntwo", rows=(Row("x", "1"),))) == ()
    theirs = Recipe("A", weight="2", rows=(Row("x", "2"),))
    assert [d.label for d in mine.differences(theirs)] == ["Weight", "Notes", "Rows"]


def test_a_line_of_a_file_is_the_same_form() -> None:
    form = Recipe("A", "2026-11-25", weight="1 kg")
    assert form.cells == {"name": "A", "made": "2026-11-25", "weight": "1 kg"}
    assert Recipe.from_cells(form.cells) == form


def test_a_field_nobody_declared_is_a_slip_of_the_programmer() -> None:
    with pytest.raises(TypeError, match="wieght"):
        Recipe(wieght="1")


@given(st.dictionaries(st.sampled_from([*Recipe.fields, "row-0-what", "row-1-percent"]), st.text(max_size=30)))
def test_no_text_breaks_a_form_and_none_is_lost(posted: dict[str, str]) -> None:
    form = Recipe.sent(posted)
    assert all(form.text[name] == text for name, text in posted.items() if isinstance(form.text.get(name), str))
    try:
        form.checked()
    except Faults as wrong:
        assert {f.field.partition("-")[0] for f in wrong.faults} <= {*Recipe.fields, "row"}  # noqa: PT017
    assert form.fingerprint == Recipe.sent(posted).fingerprint


@given(st.decimals("0.001", "99999", places=3))
def test_a_weight_written_and_read_again_is_the_same(grams: Decimal) -> None:
    field = ScaleForm.fields["readability"]
    assert field.read(field.write(grams), "x", ScaleForm()) == grams


def test_money_is_read_with_or_without_its_sign_and_a_missing_date_is_today() -> None:
    class Paid(Form):
        amount = Money("Amount")
        on = DayOrToday("On")
        whom = ShortText("Supplier", longest=5)

    euro = SimpleNamespace(currency="EUR", locale="en")
    assert [Paid(text).checked(euro).amount for text in ("12,40", "€12.40", "12.40 EUR")] == [D("12.40")] * 3
    assert faults_of(Paid("1.2345678", "25.11.2026", "longer"), euro).keys() == {"amount", "on", "whom"}
