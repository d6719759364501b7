"""Raw materials that are mixtures, of ``blends.csv``, and how some of them are used, of ``blend_use.csv``."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from itertools import groupby
from operator import itemgetter
from types import MappingProxyType

from app.reference.provenance import Provenance, least_sure, provenance_of
from app.reference.tables import decimal_or_none, read_table
from app.science.composition import Part
from app.science.names import inci_key

COLUMNS = (
    "blend_name",
    "component_inci",
    "percent_low",
    "percent_typical",
    "percent_high",
    "source",
    "source_status",
    "notes",
    "component_inci_status",
)
USE_COLUMNS = (
    "blend_name",
    "use_low_pct",
    "use_high_pct",
    "use_status",
    "ph_min",
    "ph_max",
    "ph_status",
    "max_process_temp_c",
    "source",
)

ALIAS_COLUMNS = ("alias", "blend_name", "source_status")


@dataclass(frozen=True, slots=True)
class Blend:
    """A mixture as sold; the typical percentages of its parts sum to 100 and each lies in its low-high range.

    ``provenance`` is that of the part that is least sure.
    """

    name: str
    parts: tuple[Part, ...]
    notes: str
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class BlendUse:
    """How a blend is dosed: % w/w of the finished product, finished pH, highest temperature; None when not stated."""

    use_low: Decimal | None
    use_high: Decimal | None
    ph_min: Decimal | None
    ph_max: Decimal | None
    max_temp_c: Decimal | None
    use_provenance: Provenance | None
    ph_provenance: Provenance | None


@cache
def blends() -> Mapping[str, Blend]:
    """Every shipped blend by its name, in the order of the table.

    Raises:
        ValueError: when the typical percentages of a blend do not sum to 100.
    """
    found: dict[str, Blend] = {}
    for name, lines in groupby(read_table("blends", COLUMNS), key=itemgetter("blend_name")):
        rows = list(lines)
        parts = tuple(
            Part(
                inci=row["component_inci"],
                percent=Decimal(row["percent_typical"]),
                low=Decimal(row["percent_low"]),
                high=Decimal(row["percent_high"]),
            )
            for row in rows
        )
        total = sum(part.percent for part in parts)
        if total != 100:
            raise ValueError(f"blends.csv: {name} sums to {total}, not 100")
        source = least_sure(provenance_of(row["source"], row["source_status"]) for row in rows)
        found[name] = Blend(name, parts, rows[0]["notes"], source)
    return MappingProxyType(found)


@cache
def blend_aliases() -> Mapping[str, str]:
    """Return the name of the blend that makers mean, by what they call it.

    Raises:
        KeyError: when an alias leads to no blend.
    """
    rows = read_table("blend_aliases", ALIAS_COLUMNS)
    return MappingProxyType({row["alias"]: blends()[row["blend_name"]].name for row in rows})


@cache
def _by_any_name() -> Mapping[str, Blend]:
    called = {name: name for name in blends()} | dict(blend_aliases())
    return MappingProxyType({inci_key(name): blends()[meant] for name, meant in called.items()})


def find_blend(name: str) -> Blend | None:
    """Return the blend of a name or of what makers call it; None when there is none."""
    return _by_any_name().get(inci_key(name))


@cache
def blend_uses() -> Mapping[str, BlendUse]:
    """The stated ways of use by blend name; most blends have none."""
    return MappingProxyType(
        {
            row["blend_name"]: BlendUse(
                use_low=decimal_or_none(row["use_low_pct"]),
                use_high=decimal_or_none(row["use_high_pct"]),
                ph_min=decimal_or_none(row["ph_min"]),
                ph_max=decimal_or_none(row["ph_max"]),
                max_temp_c=decimal_or_none(row["max_process_temp_c"]),
                use_provenance=provenance_of(row["source"], row["use_status"]) if row["use_status"] else None,
                ph_provenance=provenance_of(row["source"], row["ph_status"]) if row["ph_status"] else None,
            )
            for row in read_table("blend_use", USE_COLUMNS)
        }
    )


def blend_names(blend: Blend) -> frozenset[str]:
    """Return the keys of the parts without water, by which a density table names a blend."""
    return frozenset(inci_key(part.inci) for part in blend.parts) - {"AQUA"}
