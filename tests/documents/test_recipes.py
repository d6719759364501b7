"""A recipe handed on: one file without a network, the same weights everywhere, cautions at their step."""

import io
import json
import re
from dataclasses import replace
from decimal import Decimal

import pdfplumber
import pytest

from app.documents.papers import PageSetup
from app.documents.recipes import LARGEST_BYTES, method_card, recipe_markdown, recipe_page, recipe_text
from app.science.batch_size import BatchSize
from app.science.composition import Part
from app.science.formula import Formula, Line, Material, Phase
from app.store.workshop import the_workshop
from app.work.clock import today
from app.work.paper_formula import PaperRequest
from app.work.recipe import FOR_SALE, PH_CAUTION, recipe, recipe_of, rough_volume


def material(name, inci, density=None):
    return Material(1, name, (Part(inci, Decimal(100)),), density)


def cream(net="250", **changes):
    oil = material("Sunflower oil", "Helianthus Annuus Seed Oil", Decimal("0.92"))
    lye = material("Lye 10 %", "Sodium Hydroxide")
    water = material("Water </script><b>", "Aqua", Decimal("0.998"))
    watery = (Line("w", water, Decimal("87.155"), is_remainder=True), Line("l", lye, Decimal("0.5")))
    phases = (
        Phase("A", "Oil", Decimal(75), ("Melt.",), (Line("o", oil, Decimal("12.345")),)),
        Phase("B", "Water", None, ("Stir in.",), watery),
    )
    values = {"name": "Hand cream", "phases": phases, "size": BatchSize(Decimal(net)), "target_ph": Decimal("5.5")}
    return Formula(**(values | changes))


def test_the_weights_add_up_and_are_those_of_one_scale():
    found = recipe(cream())
    assert sum(line.grams for line in found.lines) == found.total_g == 250
    assert [line.grams for line in found.lines] == [Decimal("30.9"), Decimal("217.8"), Decimal("1.3")]
    small = recipe(cream("50"))
    assert (small.step_g, small.places) == (Decimal("0.01"), 2)


def test_a_loss_is_weighed_on_top():
    """250 / (1 - 0.03) = 257.73, up to the step of the scale."""
    assert recipe(cream(loss_percent=Decimal(3))).total_g == Decimal("257.8")


def test_the_page_asks_nothing_of_any_network_and_is_small():
    page = recipe_page(replace(recipe(cream()), words="For you & <me>."))
    assert len(page.encode()) < LARGEST_BYTES
    assert "default-src 'none'" in page
    addresses = re.findall(r"""(?:src|href|url)\s*[=(]\s*["']?([^"')\s>]+)""", page)
    assert [a for a in addresses if not a.startswith(("'", "#", "data:"))] == []
    assert set(re.findall(r"https?://[^\"'\s<]+", page)) == {"https://schema.org"}
    assert "For you &amp; &lt;me&gt;." in page


def test_no_name_can_end_the_script_it_stands_in():
    page = recipe_page(recipe(cream()))
    assert page.count("</script>") == 3
    assert "</script><b>" not in page


def test_the_cautions_stand_at_their_step_and_at_the_foot():
    page = recipe_page(recipe(cream()))
    assert page.index("Hot water and hot oil burn") < page.index("Melt.")
    assert page.index("Strong alkali") < page.index("Stir in.")
    assert PH_CAUTION in page
    assert FOR_SALE in page


def test_the_how_to_has_the_words_of_schema_org():
    page = recipe_page(recipe(cream()))
    text = page.split('<script type="application/ld+json">')[1].split("</script>")[0]
    found = json.loads(text)
    assert (found["@type"], found["name"], found["yield"]) == ("HowTo", "Hand cream", "250 g")
    assert [s["requiredQuantity"]["value"] for s in found["supply"]] == [30.9, 217.8, 1.3]
    assert [s["text"] for s in found["step"] if s["text"] in ("Melt.", "Stir in.")] == ["Melt.", "Stir in."]


@pytest.mark.parametrize("write", [recipe_markdown, recipe_text])
def test_the_texts_have_the_same_weights(write):
    text = write(replace(recipe(cream()), words="My words."))
    assert all(f"{grams}" in text for grams in ("30.9", "217.8", "1.3"))
    assert "My words." in text
    assert "Strong alkali" in text
    assert "&" not in text.replace("&lt;", "&")


def test_markdown_has_a_row_a_material():
    rows = [row for row in recipe_markdown(recipe(cream())).splitlines() if row.startswith("| ")]
    assert len(rows) == 2 * 2 + 3
    assert "| Sunflower oil | Helianthus Annuus Seed Oil | 12.345 | 30.9 |" in rows


@pytest.mark.parametrize(
    ("grams", "density", "words"),
    [
        ("12", "0.92", "13 mL, 2.6 tsp"),
        ("0.4", "0.9", "0.44 mL, 9 drops"),
        ("0", "1", ""),
        ("500", "1", "500 mL"),
        ("0.01", "1", "0.01 mL, 1 drop"),
    ],
)
def test_volumes_are_a_rough_aid(grams, density, words):
    assert rough_volume(Decimal(grams), Decimal(density)) == words


@pytest.mark.paper
@pytest.mark.parametrize("formula_id", [2, 4])
def test_the_longest_formulas_of_the_demonstration_are_a_card_of_one_page(demo, formula_id):
    with demo.reading() as session:
        found, setting = recipe_of(session, PaperRequest(formula_id)), PageSetup(the_workshop(session), today(), "A4")
    with pdfplumber.open(io.BytesIO(method_card(found, setting).content)) as pdf:
        assert len(pdf.pages) == 1
        assert FOR_SALE in " ".join(pdf.pages[0].extract_text().split())
        assert min(char["size"] for char in pdf.pages[0].chars) >= 5.5


@pytest.mark.paper
@pytest.mark.parametrize(("paper", "size"), [("A4", (148, 210)), ("Letter", (139.7, 215.9))])
def test_the_card_is_one_page_of_its_size(store, paper, size):
    with store.reading() as session:
        setting = PageSetup(the_workshop(session), today(), paper)
    with pdfplumber.open(io.BytesIO(method_card(recipe(cream()), setting).content)) as pdf:
        assert len(pdf.pages) == 1
        page = pdf.pages[0]
        assert (float(page.width) * 25.4 / 72, float(page.height) * 25.4 / 72) == pytest.approx(size, abs=0.1)
        assert "217.8" in page.extract_text()
