"""The shipped library is found by trade names too, each leading to the material first."""

import pytest

from app.reference.library_search import library_index
from app.reference.materials import library_materials
from app.reference.search import SearchEntry, build_index, search


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("lye", "sodium-hydroxide"),
        ("epsom", "magnesium-sulfate"),
        ("vitamin c", "ascorbic-acid"),
        ("beeswax", "cera-alba"),
        ("rosewater", "rosa-damascena-flower-water"),
        ("red 40", "ci-16035"),
        ("panthenol 75", "panthenol"),
        ("emulsifying wax bp", "emulsifying-wax-bp-anionic"),
    ],
)
def test_a_trade_name_finds_the_material(text: str, key: str) -> None:
    assert search(library_index(), text)[0].entry.id == key


# What makers type, and the material they mean first; names and abbreviations of the trade (common practice).
MEANT = [
    ("naoh", "sodium-hydroxide"), ("NaOH", "sodium-hydroxide"), ("lye", "sodium-hydroxide"),
    ("caustic", "sodium-hydroxide"), ("caustic soda", "sodium-hydroxide"), ("caustic potash", "potassium-hydroxide"),
    ("tea tree", "melaleuca-alternifolia-leaf-oil"), ("tea tree eo", "melaleuca-alternifolia-leaf-oil"),
    ("argan", "argania-spinosa-kernel-oil"), ("argan oil", "argania-spinosa-kernel-oil"),
    ("mineral oil", "paraffinum-liquidum"), ("rose water", "rosa-damascena-flower-water"),
    ("zinc oxide", "zinc-oxide"), ("zno", "zinc-oxide"), ("water", "aqua"), ("distilled water", "aqua"),
    ("Aqua", "aqua"), ("vit E", "tocopherol"), ("vitamin e", "tocopherol"), ("vit c", "ascorbic-acid"),
    ("glycerine", "glycerin"), ("glycerin", "glycerin"), ("lavender EO", "lavandula-angustifolia-oil"),
    ("lavender essential oil", "lavandula-angustifolia-oil"), ("peppermint eo", "mentha-piperita-oil"),
    ("provitamin B5", "panthenol"), ("shea", "butyrospermum-parkii-butter"),
    ("shea butter", "butyrospermum-parkii-butter"), ("jojoba oil", "simmondsia-chinensis-seed-oil"),
    ("coconut oil", "cocos-nucifera-oil"), ("olive oil", "olea-europaea-fruit-oil"), ("mica", "mica"),
    ("urea", "urea"), ("salt", "sodium-chloride"), ("sugar", "sucrose"), ("honey", "mel"), ("borax", "sodium-borate"),
    ("baking soda", "sodium-bicarbonate"), ("epsom salt", "magnesium-sulfate"), ("sls", "sodium-lauryl-sulfate"),
    ("sodium lauryl sulphate", "sodium-lauryl-sulfate"), ("tween 20", "polysorbate-20"),
    ("titanium dioxide", "titanium-dioxide"), ("xanthan", "xanthan-gum"), ("citric acid", "citric-acid"),
    ("cetyl alcohol", "cetyl-alcohol"), ("castor oil", "ricinus-communis-seed-oil"), ("white clay", "kaolin"),
    ("organic shea butter", "butyrospermum-parkii-butter"), ("bees wax", "cera-alba"),
    ("rose hip oil", "rosa-canina-fruit-oil"), ("corn starch", "zea-mays-starch"),
    ("fco", "caprylic-capric-triglyceride"), ("cmc", "cellulose-gum"), ("pq7", "polyquaternium-7"),
    ("capb", "cocamidopropyl-betaine"), ("btms-50", "behentrimonium-methosulfate-50"),
    ("ewax", "emulsifying-wax-cetearyl-alcohol-polysorbate-60"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "key"), MEANT)
def test_what_a_maker_types_finds_what_is_meant_first(text: str, key: str) -> None:
    first = search(library_index(), text)[0]
    assert (first.entry.id, first.sure or text.startswith("organic")) == (key, True)


# Words of a German, French, Spanish or Dutch maker, and further CAS numbers (CosIng, common practice).
ABROAD = [
    ("huile d'argan", "argania-spinosa-kernel-oil"), ("huile essentielle de lavande", "lavandula-angustifolia-oil"),
    ("rosenwasser", "rosa-damascena-flower-water"), ("eau de rose", "rosa-damascena-flower-water"),
    ("bijenwas", "cera-alba"), ("zonnebloemolie", "helianthus-annuus-seed-oil"),
    ("aceite de ricino", "ricinus-communis-seed-oil"), ("traubenkernöl", "vitis-vinifera-seed-oil"),
    ("hagebuttenöl", "rosa-canina-fruit-oil"), ("citroenzuur", "citric-acid"), ("natron", "sodium-bicarbonate"),
    ("acide hyaluronique", "sodium-hyaluronate"), ("kaliumsorbat", "potassium-sorbate"),
    ("benzoate de sodium", "sodium-benzoate"), ("fenoxietanol", "phenoxyethanol"), ("harnstoff", "urea"),
    ("manteca de karité", "butyrospermum-parkii-butter"), ("titandioxid", "titanium-dioxide"),
    ("di water", "aqua"), ("8042-47-5", "paraffinum-liquidum"), ("102-71-6", "triethanolamine"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "key"), ABROAD)
def test_a_word_of_another_language_or_another_cas_number_finds_the_material(text: str, key: str) -> None:
    assert search(library_index(), text)[0].entry.id == key


NONSENSE = [
    "Moon dust", "fairy dust", "unicorn oil", "dragon tears", "qwerty", "asdfgh oil", "blorpix", "unobtainium", "xyzzy",
    "stardust powder", "zzzz 20", "magic water of youth", "milk", "liquid gold", "light base",
]  # fmt: skip


@pytest.mark.parametrize("text", NONSENSE)
def test_a_name_of_nothing_finds_nothing(text: str) -> None:
    assert search(library_index(), text) == []


def test_what_is_called_so_goes_before_what_only_begins_so_and_that_before_the_rest() -> None:
    index = build_index(
        [
            SearchEntry(1, "Zinc oxide paste"),
            SearchEntry(2, "Nano zinc oxide"),
            SearchEntry(3, "Zinc oxide"),
            SearchEntry(4, "Zinc oxides"),
        ]
    )
    assert [(hit.entry.id, hit.standing) for hit in search(index, "zinc oxide")] == [(3, 3), (1, 2), (4, 1), (2, 0)]


def test_every_material_is_in_the_index_once() -> None:
    assert [entry.id for entry in library_index().entries] == [m.key for m in library_materials()]
