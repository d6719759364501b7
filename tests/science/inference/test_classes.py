"""From names to classes, and which names at the end are colours."""

import pytest

from app.reference.inference_prior import class_of
from app.science.inference.classes import in_company
from app.science.inference.tail import colour_tail

CLASSES = [
    ("AQUA", "water"),
    ("SODIUM SULFATE", "salt"),
    ("SODIUM LAURYL SULFATE", "surfactant"),
    ("BETAINE", "sugar_humectant"),
    ("COCO-BETAINE", "surfactant_co"),
    ("PHENOXYETHYL CAPRYLATE", "ester"),
    ("PHENOXYETHANOL", "preservative"),
    ("DIMETHICONE", "silicone"),
    ("PEG-12 DIMETHICONE", "emulsifier"),
    ("PEG-8", "polyol"),
    ("PEG-100 STEARATE", "emulsifier"),
    ("PEG-90M", "thickener"),
    ("CETEARETH-25", "emulsifier"),
    ("CETEARYL ALCOHOL", "fatty_alcohol"),
    ("CETEARYL GLUCOSIDE", "emulsifier"),
    ("LAURYL GLUCOSIDE", "surfactant_co"),
    ("ASCORBYL GLUCOSIDE", "active"),
    ("BEHENTRIMONIUM METHOSULFATE", "cationic"),
    ("GUAR HYDROXYPROPYLTRIMONIUM CHLORIDE", "cationic_polymer"),
    ("POLYQUATERNIUM-7", "cationic_polymer"),
    ("STEARALKONIUM HECTORITE", "thickener"),
    ("LAVANDULA ANGUSTIFOLIA OIL", "essential_oil"),
    ("CITRUS AURANTIUM DULCIS PEEL OIL", "essential_oil"),
    ("CITRUS AURANTIUM DULCIS SEED OIL", "oil"),
    ("PASSIFLORA EDULIS SEED OIL", "oil"),
    ("ROSA CANINA FRUIT OIL", "oil"),
    ("ROSA DAMASCENA FLOWER WATER", "plant_water"),
    ("CUCUMIS SATIVUS FRUIT EXTRACT", "extract"),
    ("ORYZA SATIVA CERA", "wax"),
    ("MANGIFERA INDICA SEED BUTTER", "oil"),
    ("SODIUM OLIVATE", "surfactant"),
    ("ZINC STEARATE", "powder"),
    ("XANTHAN GUM", "thickener"),
    ("ACRYLATES/C10-30 ALKYL ACRYLATE CROSSPOLYMER", "thickener"),
    ("DISODIUM EDTA", "chelator"),
    ("BUTYLPARABEN", "paraben"),
    ("METHYLISOTHIAZOLINONE", "preservative_trace"),
    ("PALMITOYL TRIPEPTIDE-1", "peptide"),
    ("HYDROLYZED RICE PROTEIN", "protein"),
    ("LINALOOL", "allergen"),
    ("CI 77891", "colour"),
    ("CI 19140", "dye"),
    ("ISOPROPYL MYRISTATE", "ester"),
    ("GLYCERYL CAPRYLATE", "booster"),
    ("GLYCERYL OLEATE", "emulsifier"),
    ("A NAME NOBODY KNOWS", "other"),
]


@pytest.mark.parametrize(("key", "class_name"), CLASSES)
def test_a_name_tells_its_class(key: str, class_name: str) -> None:
    assert class_of(key) == class_name


def test_salts_of_an_isothiazolinone_solution_are_traces() -> None:
    keys = ["AQUA", "MAGNESIUM CHLORIDE", "METHYLISOTHIAZOLINONE"]
    assert in_company(keys, [class_of(key) for key in keys])[1] == "preservative_trace"
    assert in_company(keys[:2], ["water", "salt"])[1] == "salt"


def test_a_dye_in_a_list_without_water_is_a_pigment() -> None:
    assert in_company(["TALC", "CI 15850"], ["powder", "dye"]) == ["powder", "colour"]
    assert in_company(["AQUA", "CI 15850"], ["water", "dye"]) == ["water", "dye"]


@pytest.mark.parametrize(
    ("keys", "tail"),
    [
        (["AQUA", "CI 77891", "CI 77491"], {1, 2}),
        (["AQUA", "TITANIUM DIOXIDE", "GLYCERIN"], set()),
        (["AQUA", "GLYCERIN", "TITANIUM DIOXIDE"], set()),
        (["TALC", "MICA", "IRON OXIDES", "TITANIUM DIOXIDE"], {2, 3}),
        (["CI 77891", "AQUA"], set()),
        (["CI 77891"], {0}),
    ],
)
def test_only_trailing_colours_leave_the_order(keys: list[str], tail: set[int]) -> None:
    assert colour_tail(keys) == tail
