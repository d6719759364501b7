"""Rows pasted from a spreadsheet, a list, or anything else that has names and numbers in it."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.science.errors import Invalid
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.paste import MaterialOffer, in_percent, preview, with_rows
from app.work.formulas.resolve import MOST_LINES
from app.work.formulas.usual_phases import sort_into_phases


def nothing(_name: str, _inci: str) -> list[MaterialOffer]:
    return []


def rows(text: str) -> list[tuple[str, str]]:
    return [(row.name, row.amount) for row in preview(text, 0, nothing).rows]


@pytest.mark.parametrize(
    "text",
    [
        "Aqua\t70,5\nGlycerin\t5\n",
        "Ingredient\t%\r\nAqua\t70,5\r\nGlycerin\t5\r\n\r\nTotal\t75.5\r\n",
        "70,5\tAqua\n5\tGlycerin",
        "Aqua;70,5\nGlycerin;5",
        '"Aqua","70,5"\n"Glycerin","5"',
        "Aqua   70,5\nGlycerin   5",
        "Aqua 70,5\nGlycerin 5",
        "INCI\tPhase\t%\nAqua\tA\t70,5\nGlycerin\tA\t5",
    ],
)
def test_columns_are_found_however_they_are_parted(text: str) -> None:
    assert rows(text) == [("Aqua", "70,5"), ("Glycerin", "5")]


def test_headings_totals_and_blanks_are_passed_over_and_counted() -> None:
    found = preview("Ingredient\t%\nAqua\t70\nTotal\t100\n", 0, nothing)
    assert (len(found.rows), found.passed_over) == (1, 2)


def test_a_number_that_cannot_be_read_is_marked_and_kept() -> None:
    row = preview("Aqua\t1.234,5", 0, nothing).rows[0]
    assert row.amount == "1.234,5"
    assert "can be read in two ways" in row.fault


def test_a_row_without_a_name_says_so() -> None:
    assert preview("12\t5\nAqua\t1", 0, nothing).rows[0].fault.startswith("No name in")


def test_only_an_exact_name_is_sure() -> None:
    found = preview(
        "Aqua\t1", 0, lambda _, __: [MaterialOffer("shelf:2", "Aquasil"), MaterialOffer("shelf:1", "Aqua", True)]
    )
    assert found.rows[0].sure == MaterialOffer("shelf:1", "Aqua", True)


@pytest.mark.parametrize("text", ["", "\n\n", "Total\t100", "Ingredient\t%"])
def test_a_text_without_rows_is_told(text: str) -> None:
    with pytest.raises(Invalid, match="no row with a name"):
        preview(text, 0, nothing)


def test_ten_thousand_rows_are_refused_with_the_figures() -> None:
    with pytest.raises(Invalid, match="10,000 rows; a formula holds 300 lines, 290 are free"):
        preview("Aqua\t0.01\n" * 10_000, 10, nothing)


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused(text: str) -> None:
    with suppress(Invalid):
        found = preview(text, 0, nothing)
        assert all(row.name or row.fault for row in found.rows)
        assert len(found.rows) <= MOST_LINES


def test_rows_become_lines_at_the_end_of_a_phase_and_one_fills_up() -> None:
    ids = iter("123")
    base = Draft(phases=(DraftPhase("a"), DraftPhase("b")), lines=(DraftLine("x", "a", "X", None, "1"),))
    found = with_rows(base, [("Aqua", "q.s."), ("Oil", "5"), ("More", "q.s.")], "b", lambda: next(ids))
    assert [(line.id, line.phase, line.typed, line.amount, line.qs) for line in found.lines[1:]] == [
        ("1", "b", "Aqua", "", True),
        ("2", "b", "Oil", "5", False),
        ("3", "b", "More", "q.s.", False),
    ]


TABLE = (
    "Phase\tIngredient\t%\tINCI\nA\tWater\t70\tAqua\n\tGlycerin\t5\tGlycerin\nB\tOlive oil\t25\tOlea\nTotal\t\t100\t\n"
)


@pytest.mark.parametrize(
    "text",
    [
        TABLE,
        TABLE.replace("\t", "|"),
        "| Phase | Ingredient | % | INCI |\n|---|---|---|---|\n| A | Water | 70 | Aqua |\n"
        "|  | Glycerin | 5 | Glycerin |\n| B | Olive oil | 25 | Olea |\n| Total | | 100 | |\n",
        "Phase A\nWater - 70 %\nGlycerin - 5 %\n\nPhase B\nOlive oil - 25 %\nTotal: 100 %",
        "A:\n- 70% water\n- 5% glycerin\nB:\n- 25% olive oil",
        "Phase A\t\nWater\t70\nGlycerin\t5\nPhase B\t\nOlive oil\t25",
    ],
    ids=["columns", "bars", "markdown", "headings", "bullets", "headings in columns"],
)
def test_phases_are_read_as_columns_and_as_headings(text: str) -> None:
    found = preview(text, 0, nothing)
    assert [(row.name.lower(), row.amount.strip(" %")) for row in found.rows] == [
        ("water", "70"), ("glycerin", "5"), ("olive oil", "25"),
    ]  # fmt: skip
    assert [row.phase.replace("Phase ", "") for row in found.rows] == ["A", "A", "B"]
    assert not any(row.fault for row in found.rows)


@pytest.mark.parametrize(
    ("text", "row"),
    [
        ("Polysorbate 20 - 2 %", ("Polysorbate 20", "2 %")),
        ("Water ... 70 %", ("Water", "70 %")),
        ("Vitamin B5: 1.5", ("Vitamin B5", "1.5")),
        ("1. Aqua 70", ("Aqua", "70")),
        ("water q.s. to 100", ("water", "q.s. to 100")),
        ("PEG-40 Hydrogenated Castor Oil\t2", ("PEG-40 Hydrogenated Castor Oil", "2")),
        ("1,2-Hexanediol\t2", ("1,2-Hexanediol", "2")),
        ("12 g glycerin", ("glycerin", "12 g")),
        ("9 ml jojoba oil", ("jojoba oil", "9 ml")),
        ("• 3 tbsp coconut oil", ("coconut oil", "3 tbsp")),
        ("1 1/2 fl oz of olive oil", ("olive oil", "1 1/2 fl oz")),
        ("½ oz beeswax", ("beeswax", "½ oz")),
        ("20 drops lavender oil", ("lavender oil", "20 drops")),
        ("Polysorbate 20 (2 %)", ("Polysorbate 20", "2 %")),
        ("Water up to 100", ("Water", "up to 100")),
        ("to 100: water", ("water", "to 100")),
        ("q.s. citric acid", ("citric acid", "q.s.")),
        ("Lactic acid as needed", ("Lactic acid", "")),
        ("Citric acid q.s. to pH 5.5", ("Citric acid", "")),
    ],
)
def test_names_with_numbers_and_spoken_rows_are_parted_where_a_person_would(text: str, row: tuple[str, str]) -> None:
    assert rows(text + "\nOil\t1" if "\t" in text else text)[0] == row


@pytest.mark.parametrize(
    "text",
    [
        "Ingredients (for 100 g):\nwater 70\noil 30",
        "| Item | Weight % |\n|---|---|\n| water | 70 |\n| oil | 30 |\n| **Total** | **100** |",
        "Rohstoff;Anteil\nwater;70\noil;30\nSumme;100",
        'Ingredient,Percent,Per 1000g\n"water",70,700\noil,30,300',
        "water 70, oil 30",
        "water (70%); oil (30%).",
    ],
    ids=["named list", "bold total", "other language", "commas and quotes", "one line", "one line in brackets"],
)
def test_what_is_no_ingredient_is_no_row(text: str) -> None:
    found = preview(text, 0, nothing)
    assert [(row.name, row.amount.strip("%"), row.phase) for row in found.rows] == [
        ("water", "70", ""),
        ("oil", "30", ""),
    ]


def test_a_phase_heading_may_carry_its_share() -> None:
    found = preview("PHASE A - 70%\nwater 70\nPhase B: 30 %\noil 30", 0, nothing)
    assert [(row.name, row.phase) for row in found.rows] == [("water", "PHASE A"), ("oil", "Phase B")]


def test_columns_can_be_chosen_by_hand() -> None:
    text = "A1\tWater\t70\t700\nA2\tOil\t30\t300"
    found = preview(text, 0, nothing, ["ignore", "name", "ignore", "amount"])
    assert [(row.name, row.amount) for row in found.rows] == [("Water", "700"), ("Oil", "300")]


def test_weights_are_known_as_weights_and_can_be_turned_into_percentages() -> None:
    found = preview("Water\t150 g\nOil\t50 g", 0, nothing)
    assert found.are_weights
    assert in_percent(found.rows) == {0: "75", 1: "25"}
    assert not preview("Water\t75\nOil\t25", 0, nothing).are_weights


def test_named_phases_become_phases_of_the_draft_and_are_found_again() -> None:
    ids = iter("123456789")
    base = Draft(phases=(DraftPhase("a", "Water phase"),), lines=(DraftLine("x", "a", "X", None, "1"),))
    read = [("Aqua", "70", "Phase A"), ("Oil", "5", "Oil phase"), ("More", "1", "Phase B: whatever"), ("Lone", "1", "")]
    found = with_rows(base, read, "a", lambda: next(ids))
    names = {phase.id: phase.name for phase in found.phases}
    assert [names[line.phase] for line in found.lines[1:]] == ["Water phase", "Oil phase", "whatever", "Water phase"]
    assert [phase.name for phase in found.phases] == ["Water phase", "Oil phase", "whatever"]


def test_lines_are_sorted_into_their_usual_phases_and_empty_phases_go() -> None:
    ids = iter("123456789")
    lines = tuple(DraftLine(key, "a", key, None, "1") for key in ("oil", "water", "parfum", "acid", "unknown"))
    base = Draft(phases=(DraftPhase("a"), DraftPhase("b", "", "", "Stir.")), lines=lines)
    hints = {"oil": "oil", "water": "water", "parfum": "cool-down", "acid": "adjuster"}
    found = sort_into_phases(base, hints, lambda: next(ids))
    names = {phase.id: phase.name for phase in found.phases}
    assert [names[line.phase] for line in found.lines] == ["Oil phase", "Water phase", "Cool-down", "Adjust the pH", ""]
    assert [phase.name for phase in found.phases] == ["Water phase", "Oil phase", "Cool-down", "Adjust the pH", "", ""]
    again = sort_into_phases(found, hints, lambda: next(ids))
    assert again == found


def phases_of(draft: Draft, rows: list[tuple[str, ...]], home: str) -> list[tuple[str, str, list[str]]]:
    """Paste rows and give what stands then: letter, name and lines of each phase."""
    count = iter(range(99))
    made = with_rows(draft, rows, home, lambda: f"n{next(count)}")
    return [(made.letter_of(p.id), p.name, [line.typed for line in made.lines_of(p.id)]) for p in made.phases]


def test_rows_find_their_phase_by_letter_or_name_and_else_get_one() -> None:
    draft = Draft(phases=(DraftPhase("p", "Water"), DraftPhase("q")), lines=(DraftLine("l", "p", "Aqua", None, "70"),))
    rows = [("Gum", "1", "A"), ("Oil", "5", "Phase B: Oils"), ("Wax", "2", "Cool down"), ("Salt", "1")]
    assert phases_of(draft, rows, "p") == [
        ("A", "Water", ["Aqua", "Gum", "Salt"]), ("B", "Oils", ["Oil"]), ("C", "Cool down", ["Wax"]),
    ]  # fmt: skip
    assert phases_of(draft, [("Scent", "1", " WATER ")], "q")[0] == ("A", "Water", ["Aqua", "Scent"])


def test_an_empty_phase_without_a_name_becomes_the_first_that_is_named() -> None:
    draft = Draft(phases=(DraftPhase("p"), DraftPhase("q", "Kept")))
    assert phases_of(draft, [("Oil", "5", "Oils"), ("Wax", "5", "Waxes")], "q") == [
        ("A", "Oils", ["Oil"]), ("B", "Kept", []), ("C", "Waxes", ["Wax"]),
    ]  # fmt: skip


def test_pasted_weights_become_shares_and_volumes_stay() -> None:
    """30 g and 0.01 kg of 40 g are 75 and 25 %; a volume has no weight here."""
    found = preview("Aqua\t30 g\nGlycerin\t0.01 kg\nOil\t5 mL\nGum\tx", 0, nothing)
    assert in_percent(found.rows) == {0: "75", 1: "25"}
    assert found.are_weights
    assert not preview("Aqua\t30 g\nGlycerin\t10", 0, nothing).are_weights


def test_a_formula_holds_so_many_lines_and_no_more() -> None:
    text = "\n".join(f"Material{n:04}\t0.1" for n in range(4))
    assert len(preview(text, MOST_LINES - 4, nothing).rows) == 4
    with pytest.raises(Invalid, match="3 are free"):
        preview(text, MOST_LINES - 3, nothing)


WAYS = [
    pytest.param(
        "Cetearyl alcohol, ceteareth-20, 5%",
        [("Cetearyl alcohol, ceteareth-20", "5%", "")],
        id="blend comma single",
    ),
    pytest.param(
        "Water, 70%\nCetearyl alcohol, ceteareth-20, 5%\nGlycerin, 3%\n"
        "Phenoxyethanol, ethylhexylglycerin, 1%\nSunflower oil, 21%",
        [
            ("Water", "70%", ""),
            ("Cetearyl alcohol, ceteareth-20", "5%", ""),
            ("Glycerin", "3%", ""),
            ("Phenoxyethanol, ethylhexylglycerin", "1%", ""),
            ("Sunflower oil", "21%", ""),
        ],
        id="blend comma among",
    ),
    pytest.param(
        "Glyceryl stearate, cetearyl alcohol, sodium stearoyl lactylate - 6%\nAqua - 94%",
        [("Glyceryl stearate, cetearyl alcohol, sodium stearoyl lactylate", "6%", ""), ("Aqua", "94%", "")],
        id="blend three",
    ),
    pytest.param(
        "Water, Aqua, 70\nGlycerine, Glycerin, 5\nVitamin E, Tocopherol, 25",
        [("Water", "70", ""), ("Glycerine", "5", ""), ("Vitamin E", "25", "")],
        id="inci column csv",
    ),
    pytest.param(
        "| Phase | Ingredient | % |\n|:---|:---:|---:|\n| A | Water | 70.0 |\n| A | Glycerin | 5.0 |\n"
        "| B | Sunflower oil | 25.0 |",
        [("Water", "70.0", "A"), ("Glycerin", "5.0", "A"), ("Sunflower oil", "25.0", "B")],
        id="markdown",
    ),
    pytest.param(
        "water 70g\nglycerin 5g\nshea butter 25g",
        [("water", "70g", ""), ("glycerin", "5g", ""), ("shea butter", "25g", "")],
        id="glued grams",
    ),
    pytest.param(
        "Water 80%\nGlycerin 2-3%\nOil 15–18 %",
        [("Water", "80%", ""), ("Glycerin", "2-3%", ""), ("Oil", "15–18 %", "")],
        id="range",
    ),
    pytest.param(
        "A1 Water 60\nA1 Glycerin 5\nA2 Xanthan gum 0.3\nB1 Oil 34.7",
        [("Water", "60", "A1"), ("Glycerin", "5", "A1"), ("Xanthan gum", "0.3", "A2"), ("Oil", "34.7", "B1")],
        id="phases A1",
    ),
    pytest.param(
        "A1\tWater\t60\nA1\tGlycerin\t5\nA2\tXanthan gum\t0.3\nB1\tOil\t34.7",
        [("Water", "60", "A1"), ("Glycerin", "5", "A1"), ("Xanthan gum", "0.3", "A2"), ("Oil", "34.7", "B1")],
        id="phase col tabs A1",
    ),
    pytest.param(
        "Water (boiled and cooled) 70%\nGlycerin (vegetable) 5%\nShea butter (melt first) 25%",
        [
            ("Water (boiled and cooled)", "70%", ""),
            ("Glycerin (vegetable)", "5%", ""),
            ("Shea butter (melt first)", "25%", ""),
        ],
        id="notes in brackets",
    ),
    pytest.param(
        "Water 70% (boiled)\nGlycerin 5% (veg)\nShea 25% - melt gently",
        [("Water", "70%", ""), ("Glycerin", "5%", ""), ("Shea", "25%", "")],
        id="note after amount",
    ),
    pytest.param(
        "2 oz shea butter\n1 1/2 oz coconut oil\n½ oz beeswax",
        [("shea butter", "2 oz", ""), ("coconut oil", "1 1/2 oz", ""), ("beeswax", "½ oz", "")],
        id="ounces first",
    ),
    pytest.param(
        ">> Phase A\n>> Water - 70\n>> Glycerin - 5\n>> Phase B\n>> Oil - 25",
        [("Water", "70", "Phase A"), ("Glycerin", "5", "Phase A"), ("Oil", "25", "Phase B")],
        id="email double quote",
    ),
    pytest.param(
        "## Phase A\n- Water 70%\n- Glycerin 5%\n## Phase B\n- Oil 25%",
        [("Water", "70%", "Phase A"), ("Glycerin", "5%", "Phase A"), ("Oil", "25%", "Phase B")],
        id="markdown heading phases",
    ),
    pytest.param(
        "- [ ] Water 70%\n- [x] Glycerin 5%\n- [ ] Oil 25%",
        [("Water", "70%", ""), ("Glycerin", "5%", ""), ("Oil", "25%", "")],
        id="checkbox",
    ),
    pytest.param(
        "Sodium hydroxide 10% solution 1.5%\nLactic acid 80 % 0.5 %\nWater 98%",
        [("Sodium hydroxide 10% solution", "1.5%", ""), ("Lactic acid 80 %", "0.5 %", ""), ("Water", "98%", "")],
        id="strength in name",
    ),
    pytest.param(
        "Water 70%, glycerin 5% and sunflower oil 25%",
        [("Water", "70%", ""), ("glycerin", "5%", ""), ("sunflower oil", "25%", "")],
        id="one line and",
    ),
    pytest.param(
        "Water ~70%\nGlycerin approx. 5%\nOil ca. 25%",
        [("Water", "70%", ""), ("Glycerin", "5%", ""), ("Oil", "25%", "")],
        id="x approx",
    ),
    pytest.param(
        "Rose oil 10 drops\nJojoba oil 30 ml",
        [("Rose oil", "10 drops", ""), ("Jojoba oil", "30 ml", "")],
        id="drops",
    ),
    pytest.param(
        "Water\xa070\xa0%\nOil\xa030\xa0%",
        [("Water", "70 %", ""), ("Oil", "30 %", "")],
        id="nbsp",
    ),
    pytest.param(
        "Water 70%,\nGlycerin 5%,\nOil 25%",
        [("Water", "70%", ""), ("Glycerin", "5%", ""), ("Oil", "25%", "")],
        id="trailing comma",
    ),
    pytest.param(
        "Water 70% w/w\nGlycerin 5% w/w\nOil 25% w/w",
        [("Water", "70%", ""), ("Glycerin", "5%", ""), ("Oil", "25%", "")],
        id="percent w/w",
    ),
    pytest.param(
        "Water 70% (350 g)\nGlycerin 5% (25 g)\nOil 25% (125 g)",
        [("Water", "70%", ""), ("Glycerin", "5%", ""), ("Oil", "25%", "")],
        id="two amounts spoken",
    ),
    pytest.param(
        "A: Water 70%\nA: Glycerin 5%\nB: Oil 25%",
        [("Water", "70%", "A"), ("Glycerin", "5%", "A"), ("Oil", "25%", "B")],
        id="phase prefix colon",
    ),
    pytest.param(
        "(A) Water 70%\n(A) Glycerin 5%\n(B) Oil 25%",
        [("Water", "70%", "A"), ("Glycerin", "5%", "A"), ("Oil", "25%", "B")],
        id="phase in brackets",
    ),
    pytest.param(
        "Phase A (75 °C)\nWater 75\nPhase B (75 °C)\nOil 25",
        [("Water", "75", "Phase A (75 °C)"), ("Oil", "25", "Phase B (75 °C)")],
        id="inline heading temp",
    ),
    pytest.param(
        "Water 99.9\nFragrance trace\nColour as needed",
        [("Water", "99.9", ""), ("Fragrance", "", ""), ("Colour", "", "")],
        id="trace",
    ),
    pytest.param(
        "1,2-Hexanediol, 2%\nWater, 98%",
        [("1,2-Hexanediol", "2%", ""), ("Water", "98%", "")],
        id="1,2-hexanediol comma",
    ),
]


@pytest.mark.parametrize(("text", "wanted"), WAYS)
def test_a_formula_is_read_as_the_person_who_keeps_it_means_it(text: str, wanted: list[tuple[str, str, str]]) -> None:
    """Ways in which people keep formulas: each with the name, amount and phase that a person reads in it."""
    assert [(row.name, row.amount, row.phase) for row in preview(text, 0, nothing).rows] == wanted


def test_parts_become_shares_of_their_sum_and_a_range_asks_for_one_amount() -> None:
    assert rows("Oil 3 parts\nBeeswax 1 part") == [("Oil", "75"), ("Beeswax", "25")]
    assert preview("Water 80%\nGlycerin 2-3%", 0, nothing).rows[1].fault == (
        "“2-3%” is a range: enter the amount that you weigh."
    )


def test_letters_that_only_count_are_no_phases() -> None:
    text = "A) Water 70%\nB) Glycerin 5%\nC) Oil 25%"
    found = [(row.name, row.amount, row.phase) for row in preview(text, 0, nothing).rows]
    assert found == [("Water", "70%", ""), ("Glycerin", "5%", ""), ("Oil", "25%", "")]
