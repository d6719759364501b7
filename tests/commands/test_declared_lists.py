"""Ingredient lists written by hand from the law (EU 1223/2009 Article 19, 21 CFR 701.3) before the tool was asked."""

import pytest

from app.commands.computations.declaration import Request, compute


def part(inci: str, percent: float = 100, **more) -> dict:
    allergens = [{"inci": n, "percent": p} for n, p in more.pop("allergens", {}).items()]
    return {"inci": inci, "percent": percent, "allergens": allergens, **more}


def listed(law: str, exposure: str, *materials: tuple) -> tuple[str, list[str]]:
    made = [{"name": str(n), "percent": p, "composition": list(parts)} for n, (p, *parts) in enumerate(materials)]
    answer = compute(Request(jurisdiction=law, exposure=exposure, materials=made))
    return answer.text, answer.warnings


COLOUR, PERFUME, FLAVOUR = {"kind": "colourant"}, {"kind": "perfume"}, {"kind": "flavour"}
CARRIED = {"kind": "incidental"}
OIL = part("Olea Europaea Fruit Oil")


@pytest.mark.parametrize(
    ("law", "exposure", "materials", "text"),
    [
        # (g) descending order of weight
        ("EU", "leave-on", [(5, part("Glycerin")), (80, part("Aqua")), (15, part("Cetyl Alcohol"))],
         "Aqua, Cetyl Alcohol, Glycerin"),
        # below 1 % after those of 1 % and more; exactly 1 % keeps its place in the EU
        ("EU", "leave-on", [(0.5, part("Tocopherol")), (97, part("Aqua")), (1, part("Panthenol")),
                            (1.5, part("Glycerin"))],
         "Aqua, Glycerin, Panthenol, Tocopherol"),
        # colours last, whatever their weight; the same substance in another role has its place by weight
        ("EU", "leave-on", [(70, part("Aqua")), (20, part("CI 77891", **COLOUR)), (10, part("Glycerin"))],
         "Aqua, Glycerin, CI 77891"),
        ("EU", "leave-on", [(70, part("Aqua")), (20, part("Titanium Dioxide")), (10, part("Glycerin"))],
         "Aqua, Titanium Dioxide, Glycerin"),
        ("US", "leave-on", [(70, part("Water")), (20, part("Titanium Dioxide", **COLOUR)), (10, part("Glycerin"))],
         "Water, Glycerin, Titanium Dioxide"),
        # one name for water, by market
        ("US", "leave-on", [(90, part("Aqua")), (10, part("Glycerin"))], "Water, Glycerin"),
        ("EU", "leave-on", [(90, part("Water")), (10, part("Glycerin"))], "Aqua, Glycerin"),
        # solutions are taken apart and summed
        ("EU", "leave-on", [(50, part("Sodium Lactate", 60), part("Aqua", 40)), (25, part("Glycerin")),
                            (25, part("Aqua"))],
         "Aqua, Sodium Lactate, Glycerin"),
        # allergens above 0.001 % in what stays on, 0.01 % in what is rinsed off; at the threshold is not above it
        ("EU", "leave-on", [(95, part("Aqua")), (1, part("x", allergens={"Linalool": 5, "Limonene": 0.05}, **PERFUME)),
                            (4, part("Glycerin"))], "Aqua, Glycerin, Parfum, Linalool"),
        ("EU", "rinse-off", [(95, part("Aqua")), (1, part("x", allergens={"Linalool": 5, "Citral": 0.9}, **PERFUME)),
                             (4, part("Glycerin"))], "Aqua, Glycerin, Parfum, Linalool"),
        ("EU", "leave-on", [(95, part("Aqua")), (1, part("x", allergens={"Linalool": 0.1}, **PERFUME)),
                            (4, part("Glycerin"))], "Aqua, Glycerin, Parfum"),
        # summed over what brings them, and over the names of one entry
        ("EU", "leave-on", [(94.9, part("Aqua")), (0.1, part("x", allergens={"Linalool": 0.6}, **PERFUME)),
                            (1, part("y", allergens={"Linalool": 0.05}, **PERFUME)), (4, part("Glycerin"))],
         "Aqua, Glycerin, Parfum, Linalool"),
        ("EU", "leave-on", [(97, part("Aqua")), (1, part("x", allergens={"Geranial": 1, "Neral": 0.5}, **PERFUME)),
                            (2, part("Glycerin"))], "Aqua, Glycerin, Parfum, Citral"),
        # perfume and flavour by one word each; no federal allergens in the United States
        ("US", "leave-on", [(95, part("Water")), (1, part("x", allergens={"Linalool": 5}, **PERFUME)),
                            (4, part("Glycerin"))], "Water, Glycerin, Fragrance"),
        ("EU", "leave-on", [(95, OIL), (3, part("mint", **FLAVOUR)), (2, part("rose", **PERFUME))],
         "Olea Europaea Fruit Oil, Aroma, Parfum"),
        # nano in brackets in the EU only
        ("EU", "leave-on", [(90, part("Aqua")), (10, part("Zinc Oxide", nano=True))], "Aqua, Zinc Oxide (nano)"),
        ("US", "leave-on", [(90, part("Water")), (10, part("Zinc Oxide", nano=True))], "Water, Zinc Oxide"),
        # colours by number in the EU, by listed name in the United States
        ("EU", "leave-on", [(95, OIL), (5, part("Carmine", **COLOUR))], "Olea Europaea Fruit Oil, CI 75470"),
        ("US", "leave-on", [(60, part("Talc")), (40, part("CI 77019", **COLOUR))], "Talc, Mica"),
        # incidental: 21 CFR 701.3(l); the EU has no carry-over exemption
        ("US", "leave-on", [(99.9, part("Water")), (0.1, part("Glycerin", 95), part("Sodium Benzoate", 5, **CARRIED))],
         "Water, Glycerin"),
        ("EU", "leave-on", [(99.9, part("Aqua")), (0.1, part("Glycerin", 95), part("Sodium Benzoate", 5, **CARRIED))],
         "Aqua, Glycerin, Sodium Benzoate"),
        # Article 19(6): common ingredient names, whatever the jar says
        ("EU", "leave-on", [(60, part("shea butter")), (40, part("sweet almond oil"))],
         "Butyrospermum Parkii Butter, Prunus Amygdalus Dulcis Oil"),
        ("EU", "rinse-off", [(90, part("Aqua")), (10, part("BTMS-25"))],
         "Aqua, Cetearyl Alcohol, Behentrimonium Methosulfate"),
        ("US", "leave-on", [(60, part("Castor Oil")), (40, part("Beeswax"))], "Castor Oil, Beeswax"),
    ],
)  # fmt: skip
def test_a_list_reads_as_the_law_has_it(law, exposure, materials, text) -> None:
    assert listed(law, exposure, *materials)[0] == text


def test_what_is_listed_under_another_name_is_told_and_a_perfume_name_is_not_asked_for() -> None:
    _, warnings = listed("EU", "leave-on", (60, part("shea butter")), (40, part("Midnight No. 5", **PERFUME)))
    assert [w for w in warnings if w.startswith("shea butter is listed as Butyrospermum Parkii Butter")]
    assert not [w for w in warnings if "Midnight" in w and "no table" in w]


def test_what_is_no_colour_never_stands_behind_may_contain_in_the_united_states() -> None:
    text, warnings = listed("US", "leave-on", (90, part("Water")), (9, part("Glycerin")),
                            (1, part("Panthenol", may_contain=True)))  # fmt: skip
    assert text == "Water, Glycerin, Panthenol"
    assert [w for w in warnings if "Panthenol is no colourant" in w]
