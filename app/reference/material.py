"""A shipped material, and the small steps that every way of making one shares."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from app.reference.cautions import Caution
from app.reference.densities import ROOM_C, DensityValue
from app.reference.library import Substance, substances
from app.reference.provenance import Provenance
from app.science.composition import Part, PartKind
from app.science.names import inci_key


@dataclass(frozen=True, slots=True)
class LibraryMaterial:
    """A material as a maker would buy it.

    ``parts`` are % w/w of the material and sum to 100; ``assumption`` says what was assumed to get there, empty when
    nothing was. ``use_low`` and ``use_high`` are % w/w of the finished product as supplied, ``max_temp_c`` degrees
    Celsius. ``sources`` has an entry per value that is given.
    """

    key: str
    name: str
    aliases: tuple[str, ...]
    parts: tuple[Part, ...]
    assumption: str
    group: str
    form: str
    phase_hint: str
    functions: tuple[str, ...]
    use_low: Decimal | None
    use_high: Decimal | None
    ph_min: Decimal | None
    ph_max: Decimal | None
    max_temp_c: Decimal | None
    density: DensityValue | None
    cautions: tuple[Caution, ...]
    notes: str
    sources: Mapping[str, Provenance] = field(default_factory=dict, hash=False)

    @property
    def inci_names(self) -> tuple[str, ...]:
        """The INCI names of the parts."""
        return tuple(part.inci for part in self.parts)

    @property
    def cas_numbers(self) -> tuple[str, ...]:
        """The CAS numbers known for the parts."""
        return tuple(part.cas for part in self.parts if part.cas)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A row of a table that did not become a material of its own, with the reason in one sentence."""

    table: str
    name: str
    reason: str


def slug(name: str) -> str:
    """Turn a name into a key of lower-case letters, digits and hyphens.

    >>> slug("MCI/MI 3:1 solution 1.5 %")
    'mci-mi-3-1-solution-1-5'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")


def titled(name: str) -> str:
    """Begin a name with a capital, leaving the rest as it is written."""
    return name[:1].upper() + name[1:]


def kind_of(substance: Substance) -> PartKind:
    """Return where the label puts a substance: colourants and perfume stand apart."""
    if substance.group == "colourants":
        return PartKind.COLOURANT
    return PartKind.PERFUME if inci_key(substance.inci) == "PARFUM" else PartKind.INGREDIENT


def named_parts(parts: Iterable[Part]) -> tuple[Part, ...]:
    """Add to each part the kind and CAS number its substance has in the library."""
    pairs = ((part, substances().get(inci_key(part.inci))) for part in parts)
    return tuple(p if s is None else replace(p, kind=kind_of(s), cas=s.cas) for p, s in pairs)


def dissolved(inci: str, strength_percent: Decimal) -> tuple[Part, ...]:
    """Return a substance in water, strength in % w/w, as two parts."""
    return named_parts((Part(inci, strength_percent), Part("Aqua", 100 - strength_percent)))


def known(parts: Iterable[Part]) -> tuple[Substance, ...]:
    """Return the substances of the parts that the library knows."""
    return tuple(s for part in parts if (s := substances().get(inci_key(part.inci))) is not None)


def nearest_room(values: Iterable[DensityValue]) -> DensityValue | None:
    """Return the density measured nearest to 20 C; None when there is none."""
    return min(values, key=lambda v: abs((v.temperature_c or ROOM_C) - ROOM_C), default=None)
