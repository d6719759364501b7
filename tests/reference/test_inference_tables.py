"""The shipped tables of the inference: complete, consistent, and what the fit gives."""

import csv

import pytest

from app.reference.corpus import held_out_lists, known_lists
from app.reference.inference_caps import exposure_of, legal_caps, usual_exposure
from app.reference.inference_prior import (
    class_labels,
    class_of,
    class_priors,
    class_rules,
    class_starts,
    kind_of,
    kind_starts,
    listed_name,
)
from app.reference.label_blends import bought_together
from app.reference.label_names import LabelNames, printed_otherwise
from app.reference.library import substances
from app.reference.product_kinds import product_kinds
from app.reference.tables import FOLDER
from app.science.inference.fit import count_by_class, fit_priors
from app.science.label_list.values import Certainty
from app.science.rules.values import Exposure


def test_the_shipped_priors_are_the_fit_of_the_shipped_compositions() -> None:
    """To the last figure that the tables hold, so that no constant of the fit can change without them."""
    shipped, fitted = class_priors(), fit_priors(known_lists(), class_starts(), kind_starts())
    for name, prior in shipped.classes.items():
        assert prior.median_percent == pytest.approx(fitted.of(name).median_percent, rel=1e-4), name
        assert prior.sigma == pytest.approx(fitted.of(name).sigma, abs=1e-4), name
        assert prior.crowding == pytest.approx(fitted.of(name).crowding, abs=1e-4), name
        assert prior.use_pull == pytest.approx(fitted.of(name).use_pull, abs=1e-4), name
    assert shipped.names == pytest.approx(fitted.names, abs=1e-4)
    assert shipped.kinds == pytest.approx(fitted.kinds, abs=1e-4)
    assert dict(shipped.widths) == pytest.approx(fitted.widths, abs=1e-4)


def test_the_counts_are_those_of_the_compositions() -> None:
    counts = count_by_class(known_lists())
    with (FOLDER / "inference_classes.csv").open(encoding="utf-8") as handle:
        rows = list(csv.DictReader(line for line in handle if not line.startswith("#")))
    assert {row["class_name"]: int(row["count"]) for row in rows if int(row["count"])} == counts


def test_every_class_has_words_and_every_rule_a_class() -> None:
    assert all(class_labels().values())
    assert {rule.class_name for rule in class_rules().names} <= set(class_starts())


def test_compositions_are_whole_and_stand_as_printed() -> None:
    lists = known_lists()
    assert len(lists) == 226
    assert sum(len(known.names) for known in lists) == 2786
    for known in lists:
        assert sum(known.percents) == pytest.approx(100, abs=0.03), known.id
        chain = [p for p, name in zip(known.percents, known.names, strict=True) if not name.colour]
        assert sum(p >= 1 for p in chain) == known.above_line, known.id


def test_use_ranges_are_those_of_the_substance_not_of_the_solution() -> None:
    name = listed_name("CAPB", "COCAMIDOPROPYL BETAINE", "surfactant_co")
    assert (name.use_low, name.use_high) == (pytest.approx(1.2), pytest.approx(12.0))


@pytest.mark.parametrize(
    ("key", "exposure", "cap"),
    [
        ("PHENOXYETHANOL", None, 1.0),
        ("POTASSIUM SORBATE", None, 0.8039),
        ("SODIUM BENZOATE", None, 2.9499),
        ("SODIUM BENZOATE", Exposure.LEAVE_ON, 0.59),
        ("METHYLPARABEN", None, 0.4406),
        ("METHYLISOTHIAZOLINONE", None, 0.0015),
        ("TRIETHANOLAMINE", Exposure.LEAVE_ON, 2.5),
    ],
)
def test_maxima_are_those_of_the_annexes_as_the_named_substance(
    key: str, exposure: Exposure | None, cap: float
) -> None:
    """EU 1223/2009 Annex V entries 29, 4, 1, 12, 57 and Annex III entry 62."""
    assert legal_caps("EU", exposure)[key] == pytest.approx(cap, rel=1e-3)


@pytest.mark.parametrize(
    "key",
    ["TRIETHANOLAMINE", "BENZYL ALCOHOL", "SALICYLIC ACID", "SODIUM HYDROXIDE", "PETROLATUM", "COCAMIDE DEA", "AQUA"],
)
def test_no_maximum_where_some_use_has_none(key: str) -> None:
    assert key not in legal_caps("EU")


def test_another_jurisdiction_has_other_maxima() -> None:
    assert "PHENOXYETHANOL" not in legal_caps("US")
    assert not legal_caps("nowhere")


@pytest.mark.parametrize(
    ("words", "exposure"),
    [
        ("Shampoo", Exposure.RINSE_OFF),
        ("body lotion", Exposure.LEAVE_ON),
        ("o/w cream cleanser", None),
        ("rinse-off lotion", None),
        ("", None),
    ],
)
def test_words_settle_the_exposure_only_when_they_agree(words: str, exposure: Exposure | None) -> None:
    assert exposure_of(words) is exposure


@pytest.mark.parametrize(
    ("words", "exposure"),
    [("hair mask", "rinse-off"), ("body scrub", "rinse-off"), ("mouthwash", "rinse-off"), ("after shave", "leave-on"),
     ("dry shampoo", "leave-on"), ("leave-in conditioner", "leave-on"), ("shampoo", "rinse-off"), ("", "leave-on")],
)  # fmt: skip
def test_a_start_is_used_as_products_of_its_kind_are(words: str, exposure: str) -> None:
    assert usual_exposure(words) == exposure


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("Face mist", "mist or toner"),
        ("kaolin clay mask", "clay mask"),
        ("o/w mineral sunscreen", "mineral sun cream"),
        ("Sun cream SPF 30", "sun cream"),
        ("o/w hand cream", "cream or lotion"),
        ("shampoo", "cleanser"),
        ("o/w after-sun lotion", "cream or lotion"),
        ("mouthwash (solution)", "mist or toner"),
        ("after shave lotion (alcohol solution)", "mist or toner"),
        ("beard oil", "oil"),
        ("o/w cream, high oil phase", "cream or lotion"),
        ("candle", ""),
        ("", ""),
    ],
)
def test_a_kind_of_product_is_told_by_its_words(words: str, kind: str) -> None:
    assert kind_of(words) == kind


def test_every_kind_of_the_pick_list_has_levels_of_its_own() -> None:
    levels = {kind for kind, _ in class_priors().kinds}
    assert [kind for kind in product_kinds() if kind_of(kind) not in levels] == []


def test_names_of_a_bought_blend_are_known_together() -> None:
    """Blends as sold: phenoxyethanol 90 % with ethylhexylglycerin 10 %; water and glycerin tell of no blend."""
    found = bought_together(["AQUA", "PHENOXYETHANOL", "GLYCERIN", "ETHYLHEXYLGLYCERIN"])
    assert found == ("", "phenoxyethanol + ethylhexylglycerin", "", "phenoxyethanol + ethylhexylglycerin")
    assert bought_together(["AQUA", "PHENOXYETHANOL", "SODIUM LACTATE"]) == ("", "", "")


def test_no_list_of_the_fit_is_among_those_kept_out_of_it() -> None:
    fitted = {frozenset(name.key for name in known.names) for known in known_lists()}
    held_out = [frozenset(name.key for name in known.names) for known in held_out_lists()]
    assert len(held_out) == len(set(held_out)) >= 30
    assert not fitted & set(held_out)
    assert all(sum(known.percents) == pytest.approx(100, abs=1e-3) for known in held_out_lists())


def test_kinds_and_classes_of_the_levels_are_known() -> None:
    for kind, class_name in class_priors().kinds:
        assert kind_of(kind) == kind
        assert class_name in class_starts()


def test_lists_of_one_document_are_one_family() -> None:
    lists = known_lists()
    assert 60 < len({known.family for known in lists}) < len(lists)


@pytest.mark.parametrize(
    ("key", "class_name"),
    [
        ("CERESIN", "wax"),
        ("THYMOL", "essential_oil"),
        ("SODIUM HYALURONATE", "active_trace"),
        ("CERAMIDE NP", "active_trace"),
        ("ALUMINUM PHENOLSULFONATE", "antiperspirant"),
        ("TRICAPRYLIN", "oil"),
        ("ETHYL MACADAMIATE", "ester"),
        ("ETHYL ACETATE", "glycol_minor"),
        ("STYRAX BENZOIN RESIN EXTRACT", "extract"),
    ],
)
def test_names_whose_shape_misleads(key: str, class_name: str) -> None:
    assert class_of(key) == class_name


def test_every_other_way_of_printing_leads_to_a_known_name() -> None:
    book = LabelNames()
    for printed, inci in printed_otherwise().items():
        found = book.find(printed)
        assert found is not None
        assert found.certainty is Certainty.SYNONYM
        assert book.find(inci) is not None, inci


def test_shipped_substances_are_found_as_printed() -> None:
    book = LabelNames()
    for substance in substances().values():
        found = book.find(substance.inci)
        assert found is not None
        assert found.inci == substance.inci


@pytest.mark.parametrize(
    "printed",
    [
        "PEG-10 Rapeseed Sterol",
        "PPG-15 Stearyl Ether",
        "Bis-PEG/PPG-20/20 Dimethicone",
        "VP/VA Copolymer",
        "MEA-Lauryl Sulfate",
        "HDI/Trimethylol Hexyllactone Crosspolymer",
        "Sodium C14-16 Olefin Sulfonate",
        "CI 77891",
        "Pyridoxine HCl",
    ],
)
def test_inventory_names_are_written_as_labels_write_them(printed: str) -> None:
    """Capitals as products sold in the EU print them; the inventory holds capitals alone."""
    found = LabelNames().find(printed.upper())
    assert found is not None
    assert found.inci == printed
