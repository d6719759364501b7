"""Lists as people paste and type them."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.reference.declaration_names import name_book
from app.reference.label_names import LabelNames
from app.reference.library import substances
from app.science.composition import DosedMaterial, Part, PartKind
from app.science.declaration.listing import declare
from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.label_list.reading import read_list, read_name
from app.science.label_list.values import Certainty, ReadList

BOOK = LabelNames()


def read(text: str) -> ReadList:
    return read_list(text, BOOK)


def keys(text: str) -> list[str]:
    return [name.key for name in read(text).names]


CASES = [
    ("Aqua, Glycerin, Parfum", ["AQUA", "GLYCERIN", "PARFUM"]),
    ("Aqua; Glycerin; Parfum", ["AQUA", "GLYCERIN", "PARFUM"]),
    ("AQUA · GLYCERIN • PARFUM", ["AQUA", "GLYCERIN", "PARFUM"]),
    ("Aqua\nGlycerin\nParfum", ["AQUA", "GLYCERIN", "PARFUM"]),
    ("- Aqua\n- Glycerin\n", ["AQUA", "GLYCERIN"]),
    ("• Water\n• Glycerin\n", ["AQUA", "GLYCERIN"]),
    ("Ingredients: Aqua, Glycerin.", ["AQUA", "GLYCERIN"]),
    ("Ingrédients : Aqua, Glycerin.", ["AQUA", "GLYCERIN"]),
    ("INGREDIENTS (INCI): AQUA, GLYCERIN", ["AQUA", "GLYCERIN"]),
    ("Body lotion 200 ml. Ingredients: Aqua, Glycerin", ["AQUA", "GLYCERIN"]),
    ("Aqua (Water), Glycerin", ["AQUA", "GLYCERIN"]),
    ("Water/Aqua/Eau, Glycerin", ["AQUA", "GLYCERIN"]),
    ("Water (Aqua), Fragrance (Parfum)", ["AQUA", "PARFUM"]),
    ("Aqua, 1,2-Hexanediol, Glycerin", ["AQUA", "1,2-HEXANEDIOL", "GLYCERIN"]),
    ("Aqua,1,2-Hexanediol,Glycerin", ["AQUA", "1,2-HEXANEDIOL", "GLYCERIN"]),
    ("PEG-8,1,2-Hexanediol", ["PEG-8", "1,2-HEXANEDIOL"]),
    ("Aqua, 2-Bromo-2-Nitropropane-1,3-Diol", ["AQUA", "2-BROMO-2-NITROPROPANE-1,3-DIOL"]),
    ("Aqua, Sodium C14-16 Olefin Sulfonate", ["AQUA", "SODIUM C14-16 OLEFIN SULFONATE"]),
    (
        "Caprylic/Capric Triglyceride, Coco-Caprylate/Caprate",
        ["CAPRYLIC/CAPRIC TRIGLYCERIDE", "COCO-CAPRYLATE/CAPRATE"],
    ),
    ("Water (and) Glycerin (and) Xanthan Gum", ["AQUA", "GLYCERIN", "XANTHAN GUM"]),
    ("Glyceryl Stearate & PEG-100 Stearate", ["GLYCERYL STEARATE", "PEG-100 STEARATE"]),
    ("Butyrospermum Parkii (Shea) Butter", ["BUTYROSPERMUM PARKII BUTTER"]),
    ("Mel / Honey / Miel", ["MEL"]),
    ("Aqua, Parfum (Limonene, Linalool)", ["AQUA", "PARFUM", "LIMONENE", "LINALOOL"]),
    ("Aqua, PHENOXY-\nETHANOL, CETEARYL\nALCOHOL", ["AQUA", "PHENOXYETHANOL", "CETEARYL ALCOHOL"]),
    ("Aqua, PEG-\n40 Hydrogenated Castor Oil, Glyc\nerin", ["AQUA", "PEG-40 HYDROGENATED CASTOR OIL", "GLYCERIN"]),
    ("Aqua, Titanium Dioxide (CI 77891), C.I. 77491, 77492", ["AQUA", "CI 77891", "CI 77491", "CI 77492"]),
    ("Aqua, Iron Oxides (CI 77491, CI 77492)", ["AQUA", "CI 77491", "CI 77492"]),
    ("Aqua, Alcohol Denat., Glycerin", ["AQUA", "ALCOHOL DENAT.", "GLYCERIN"]),
    ("Aqua (Water, Glycerin, Parfum", ["AQUA", "GLYCERIN", "PARFUM"]),
    ("Aqua,, Glycerin , ,Parfum", ["AQUA", "GLYCERIN", "PARFUM"]),
    ("Sodium\u00a0Benzoate, Coco\u2011Glucoside", ["SODIUM BENZOATE", "COCO-GLUCOSIDE"]),
]


@pytest.mark.parametrize(("text", "expected"), CASES)
def test_a_list_gives_its_names(text: str, expected: list[str]) -> None:
    assert keys(text) == expected


@pytest.mark.parametrize(
    ("printed", "meant"),
    [
        ("Glicerin", "GLYCERIN"),
        ("Sodum Benzoate", "SODIUM BENZOATE"),
        ("Potasium Sorbate", "POTASSIUM SORBATE"),
        ("Xantan Gum", "XANTHAN GUM"),
        ("Phenoxyethenol", "PHENOXYETHANOL"),
        ("Cetaryl Alcohol", "CETEARYL ALCOHOL"),
        ("Butyrospermum Parkii Buter", "BUTYROSPERMUM PARKII BUTTER"),
        ("Cocamidopropyl Betain", "COCAMIDOPROPYL BETAINE"),
    ],
)
def test_misspellings_are_read_and_said(printed: str, meant: str) -> None:
    found = read(f"Aqua, {printed}")
    assert found.names[1].key == meant
    assert found.names[1].certainty is Certainty.SPELLING
    assert printed in found.notes[0]


@pytest.mark.parametrize("printed", ["PEG-9 Castor Oil", "Polysorbate 81", "CI 77892", "Ceteareth-26"])
def test_a_number_is_never_taken_for_a_misspelt_other_number(printed: str) -> None:
    assert read(printed).names[0].certainty is not Certainty.SPELLING


def test_certainty_is_told() -> None:
    found = read("Aqua, Shea Butter, Xantan Gum, Secret Complex 7")
    assert [n.certainty.value for n in found.names] == ["exact", "synonym", "spelling", "unknown"]
    assert found.names[3].printed == "Secret Complex 7"
    assert [n.printed for n in found.unknown] == ["Secret Complex 7"]


def test_taught_names_are_known() -> None:
    taught = LabelNames({"Secret Complex 7": "Glycerin"})
    assert read_list("Secret Complex 7", taught).names[0].key == "GLYCERIN"


def test_positions_lead_back_into_the_pasted_text() -> None:
    text = "Ingredients: Aqua (Water)*,  Urea 10 %, Water (and) Glycerin"
    found = read(text)
    assert [text[n.start : n.end] for n in found.names] == ["Aqua (Water)*", "Urea 10 %", "Glycerin"]
    assert [text[a:b] for a, b in found.names[0].again] == ["Water"]


def test_repeated_names_are_joined_with_a_note() -> None:
    found = read("Aqua, Glycerin, Aqua")
    assert [n.key for n in found.names] == ["AQUA", "GLYCERIN"]
    assert "Aqua is printed more than once" in found.notes[0]


@pytest.mark.parametrize("text", ["Urea 10%", "Urea (10 %)", "10% Urea", "Urea: 10,0 %"])
def test_percentages_are_read(text: str) -> None:
    name = read(f"Aqua, {text}").names[1]
    assert (name.key, name.percent) == ("UREA", Decimal(10))


def test_nano_and_marks_are_kept_apart() -> None:
    zinc, aloe = read("Zinc Oxide (nano), Aloe Barbadensis Leaf Juice**").names
    assert (zinc.key, zinc.nano) == ("ZINC OXIDE", True)
    assert (aloe.key, aloe.marks) == ("ALOE BARBADENSIS LEAF JUICE", "**")


FOOTNOTES = [
    ("Aqua, Parfum°, Limonene*. *from organic farming", 3),
    ("Aqua, Parfum, Limonene* *Certified organic ingredient", 3),
    ("Aqua, Parfum, Limonene\n*Certified organic, from natural essential oils", 3),
    ("*Aqua, *Parfum, Limonene. * organic farming", 3),
    ("Aqua, Parfum, Limonene, 99,5 % d'origine naturelle", 3),
]


@pytest.mark.parametrize(("text", "count"), FOOTNOTES)
def test_footnotes_are_not_names(text: str, count: int) -> None:
    found = read(text)
    assert [n.key for n in found.names] == ["AQUA", "PARFUM", "LIMONENE"][:count]
    assert found.footnotes


@pytest.mark.parametrize(
    "text",
    [
        "Talc, Mica, [+/- CI 77891, CI 77491]",
        "Talc, Mica (+/- CI 77891, CI 77491)",
        "Talc, Mica. May contain: CI 77891, CI 77491",
        "Talc, Mica, MAY CONTAIN (+/-): CI 77891, CI 77491.",
        "Talc, Mica, ± CI 77891, CI 77491",
        "Talc, Mica. Peut contenir: CI 77891, CI 77491",
    ],
)
def test_shades_after_may_contain(text: str) -> None:
    assert [(n.key, n.may_contain) for n in read(text).names] == [
        ("TALC", False),
        ("MICA", False),
        ("CI 77891", True),
        ("CI 77491", True),
    ]


def test_names_after_a_bracketed_palette_are_ordinary() -> None:
    assert [n.may_contain for n in read("Talc, [+/- CI 77891, CI 77491], Parfum").names] == [False, True, True, False]


def test_active_ingredients_stand_apart() -> None:
    found = read("Active ingredients: Zinc Oxide 20 %. Inactive ingredients: Water, Glycerin")
    assert [(n.key, n.active) for n in found.names] == [("ZINC OXIDE", True), ("AQUA", False), ("GLYCERIN", False)]


def test_allergens_in_brackets_remember_the_perfume() -> None:
    found = read("Parfum (Limonene, Linalool)")
    assert [n.within for n in found.names] == [None, "Parfum", "Parfum"]


@pytest.mark.parametrize("text", ["", "  ,; \n", "***"])
def test_a_text_without_names_is_refused(text: str) -> None:
    with pytest.raises(Invalid):
        read(text)


def test_a_book_is_refused() -> None:
    with pytest.raises(Invalid, match="longer"):
        read("Aqua, " * 4000)


@settings(max_examples=60)
@given(st.text(alphabet="Aqua, ()[]/+-±*.;:%12\n·GlycerinCI°", max_size=120))
def test_no_text_breaks_the_reader(text: str) -> None:
    try:
        found = read(text)
    except Invalid:
        return
    for name in found.names:
        assert 0 <= name.start <= name.end <= len(text)
        assert name.printed


SUBSTANCES = sorted(s.inci for s in substances().values())


@settings(max_examples=60)
@given(st.lists(st.sampled_from(SUBSTANCES), min_size=1, max_size=15, unique=True), st.data())
def test_a_printed_declaration_gives_back_its_names(names: list[str], data: st.DataObject) -> None:
    jurisdiction = data.draw(st.sampled_from(list(Jurisdiction)))
    parts = [_part(name) for name in names]
    share = Decimal(100) / len(parts)
    materials = [DosedMaterial(p.inci, share, (p,)) for p in parts]
    label = declare(materials, jurisdiction, name_book())
    found = read(label.text)
    printed = [entry.name for entry in label.entries]
    assert len(found.names) <= len(printed)
    assert all(name.certainty is not Certainty.UNKNOWN for name in found.names), label.text
    expected = list(dict.fromkeys(read_name(name, BOOK).key for name in printed))
    assert [name.key for name in found.names] == expected


def _part(name: str) -> Part:
    substance = substances()[name.upper()]
    return Part(name, Decimal(100), PartKind.COLOURANT if substance.group == "colourants" else PartKind.INGREDIENT)


def test_a_heap_of_brackets_is_left_unread_instead_of_followed_down() -> None:
    found = read_list("Aqua (" * 1_500, BOOK)
    assert all(name.printed for name in found.names)


@pytest.mark.parametrize(
    ("text", "percent"),
    [
        ("Urea 10 %, Aqua, Urea 2.5 %", "12.5"),
        ("Urea 10 %, Aqua, Urea", "10"),
        ("Urea, Aqua, Urea 2.5 %", None),
        ("Urea 10 %, Aqua, May contain: Urea 2.5 %", "10"),
    ],
)
def test_the_percentages_of_a_name_printed_twice_are_added(text: str, percent: str | None) -> None:
    """Without a percentage at its first place nothing is known of the whole; a shade that may be in it adds nothing."""
    assert read(text).names[0].percent == (None if percent is None else Decimal(percent))
