"""A printed list with its estimates, as what it must meet to be made looks at it."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from app.reference.label_ph import BASES
from app.reference.thickeners import thickener_of
from app.science.acid_base.model import LEAST_WATER_PERCENT
from app.science.inference.values import PLANT_WATER, WATER, Estimate, ListedName

# What is alkaline by its nature: the pH of the skin is no target for it.
ALKALINE_KINDS = frozenset(
    {"oxidative hair dye", "depilatory", "straightener", "hair waving", "soap", "cuticle remover"}
)
FATTY_ACID = re.compile(r"(STEARIC|PALMITIC|MYRISTIC|LAURIC|OLEIC|COCONUT|COCO|PALM|TALL OIL|OLIVE) ACID$")
SOAP_MAKING = 1.0  # % w/w of fatty acid from which a base in the list is there to make soap of it (common practice)


@dataclass(frozen=True, slots=True)
class ListShape:
    """A list with its estimates, as the requirements look at it."""

    listed: Sequence[ListedName]
    rows: Sequence[Estimate]
    counted: tuple[bool, ...]
    leave_on: bool
    alkaline: bool = False

    def places(self, classes: frozenset[str]) -> list[int]:
        """Return the places of the names of some classes that are certainly in the product."""
        return [i for i, name in enumerate(self.listed) if name.class_name in classes and self.counted[i]]

    def total(self, classes: frozenset[str]) -> float:
        """Return what they are likely to be together, % w/w."""
        return sum(self.rows[i].estimate for i in self.places(classes))

    @property
    def wet(self) -> bool:
        """Whether there is water to speak of: what is not wet has no pH and needs no preserving."""
        return self.total(frozenset({WATER, PLANT_WATER})) >= LEAST_WATER_PERCENT

    @property
    def soapy(self) -> bool:
        """Whether it is alkaline by its nature: soap, or fatty acid with a base that makes soap of it, or its kind."""
        rows = [(name.key, row.estimate) for name, row in zip(self.listed, self.rows, strict=True)]
        made = sum(percent for key, percent in rows if FATTY_ACID.search(key)) >= SOAP_MAKING
        for_gel = any((gel := thickener_of(key)) and gel.needs_neutraliser for key, _ in rows)
        made = made and bool(self.places(BASES)) and not for_gel
        return self.alkaline or made or any(_is_soap(key) and percent >= 1 for key, percent in rows)


@cache
def _is_soap(key: str) -> bool:
    base, _, rest = key.partition(" ")
    return base in ("SODIUM", "POTASSIUM") and rest.split(" ")[-1] in {
        "COCOATE", "PALMATE", "OLIVATE", "TALLOWATE", "STEARATE", "OLEATE", "LAURATE", "KERNELATE", "CASTORATE",
    }  # fmt: skip
