"""The shipped substances of ``ingredients.csv``: one per INCI name, each value with its source."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from app.reference.provenance import MEMORY, PRACTICE, Provenance, Status
from app.reference.synonyms import synonyms
from app.reference.tables import decimal_or_none, read_table
from app.science.names import inci_key

COLUMNS = [
    "inci_name",
    "common_name",
    "group",
    "cas",
    "functions",
    "phase_hint",
    "solubility",
    "typical_use_low_pct",
    "typical_use_high_pct",
    "ph_min",
    "ph_max",
    "max_process_temp_c",
    "charge",
    "electrolyte",
    "natural_origin_index",
    "density_g_ml",
    "active_matter_pct",
    "notes",
    "source",
    "source_status",
    "verified_fields",
    "cas_status",
    "density_status",
    "inci_status",
    "functions_status",
    "functions_other",
    "cas_alt",
    "cas_alt_note",
    "cas_source",
    "eu_cap_flag",
    "use_status",
    "ph_status",
    "temp_status",
    "identity_source",
    "molar_mass_g_mol",
    "molar_mass_note",
    "molar_mass_status",
]

Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Substance:
    """What is known of one INCI name.

    ``use_low`` and ``use_high`` are % w/w of the finished product for the grade as supplied (0..100),
    ``active_matter_pct`` is % w/w of the named substance in that grade, ``natural_origin_index`` is 0..1 (ISO 16128),
    ``max_temp_c`` the highest process temperature in degrees Celsius. ``sources`` has an entry per value that is given.
    """

    inci: str
    common_name: str
    group: str
    cas: str | None
    functions: tuple[str, ...]
    phase_hint: str
    solubility: str
    use_low: Decimal | None
    use_high: Decimal | None
    ph_min: Decimal | None
    ph_max: Decimal | None
    max_temp_c: Decimal | None
    charge: str
    electrolyte: bool
    natural_origin_index: Decimal | None
    density_g_ml: Decimal | None
    active_matter_pct: Decimal | None
    molar_mass_g_mol: Decimal | None
    notes: str
    eu_cap_flag: str
    cas_alt: tuple[str, ...] = ()
    functions_other: tuple[str, ...] = ()
    sources: Mapping[str, Provenance] = field(default_factory=dict, hash=False)


@cache
def substances() -> Mapping[str, Substance]:
    """Every shipped substance by `inci_key`, in the order of the table; read once, cannot be changed."""
    rows = read_table("ingredients", COLUMNS)
    return MappingProxyType(
        {
            inci_key(row["inci_name"]): Substance(
                inci=row["inci_name"],
                common_name=row["common_name"],
                group=row["group"],
                cas=row["cas"] or None,
                functions=split_cell(row["functions"]),
                phase_hint=row["phase_hint"],
                solubility=row["solubility"],
                use_low=decimal_or_none(row["typical_use_low_pct"]),
                use_high=decimal_or_none(row["typical_use_high_pct"]),
                ph_min=decimal_or_none(row["ph_min"]),
                ph_max=decimal_or_none(row["ph_max"]),
                max_temp_c=decimal_or_none(row["max_process_temp_c"]),
                charge=row["charge"],
                electrolyte=row["electrolyte"] == "yes",
                natural_origin_index=decimal_or_none(row["natural_origin_index"]),
                density_g_ml=decimal_or_none(row["density_g_ml"]),
                active_matter_pct=decimal_or_none(row["active_matter_pct"]),
                molar_mass_g_mol=decimal_or_none(row["molar_mass_g_mol"]),
                notes=row["notes"],
                eu_cap_flag=row["eu_cap_flag"],
                cas_alt=split_cell(row["cas_alt"]),
                functions_other=split_cell(row["functions_other"]),
                sources=MappingProxyType({name: read(row) for name, (column, read) in _READERS.items() if row[column]}),
            )
            for row in rows
        }
    )


def split_cell(text: str) -> tuple[str, ...]:
    """Split a cell that lists several things with semicolons; empty pieces are dropped."""
    return tuple(piece.strip() for piece in text.split(";") if piece.strip())


def _functions_source(row: Row) -> Provenance:
    if row["functions_status"] == Status.VERIFIED:
        return Provenance(row["identity_source"], Status.VERIFIED)
    return PRACTICE


def _cas_source(row: Row) -> Provenance:
    return Provenance(row["cas_source"], Status(row["cas_status"]))


def _use_end(end: str) -> Callable[[Row], Provenance]:
    """Tell the source of one end of the use range; ``use_status`` may cover both ends or only one of them."""

    def read(row: Row) -> Provenance:
        checked = row["use_status"] in (Status.VERIFIED, f"{end} value verified")
        return Provenance(row["source"], Status.VERIFIED) if checked else PRACTICE

    return read


def _by_status(column: str) -> Callable[[Row], Provenance]:
    def read(row: Row) -> Provenance:
        checked = row[column] == Status.VERIFIED
        return Provenance(row["source"], Status.VERIFIED) if checked else PRACTICE

    return read


def _by_fields(name: str) -> Callable[[Row], Provenance]:
    """Tell the source of a value that only ``verified_fields`` can vouch for."""

    def read(row: Row) -> Provenance:
        checked = name in split_cell(row["verified_fields"])
        return Provenance(row["source"], Status.VERIFIED) if checked else MEMORY

    return read


def _density_source(row: Row) -> Provenance:
    if row["density_status"] == Status.VERIFIED:
        return Provenance("see the density table for this substance", Status.VERIFIED)
    return MEMORY


def _molar_mass_source(row: Row) -> Provenance:
    status, _, source = row["molar_mass_status"].partition(" (")
    return Provenance(source.rstrip(")"), Status(status))


_READERS: Mapping[str, tuple[str, Callable[[Row], Provenance]]] = {
    "inci": ("inci_name", lambda row: Provenance(row["identity_source"], Status(row["inci_status"]))),
    "common_name": ("common_name", lambda row: PRACTICE),
    "cas": ("cas", _cas_source),
    "functions": ("functions", _functions_source),
    "phase_hint": ("phase_hint", _by_fields("phase_hint")),
    "solubility": ("solubility", _by_fields("solubility")),
    "use_low": ("typical_use_low_pct", _use_end("lower")),
    "use_high": ("typical_use_high_pct", _use_end("upper")),
    "ph_min": ("ph_min", _by_status("ph_status")),
    "ph_max": ("ph_max", _by_status("ph_status")),
    "max_temp_c": ("max_process_temp_c", _by_status("temp_status")),
    "charge": ("charge", lambda row: MEMORY),
    "electrolyte": ("electrolyte", lambda row: MEMORY),
    "natural_origin_index": ("natural_origin_index", lambda row: MEMORY),
    "density_g_ml": ("density_g_ml", _density_source),
    "active_matter_pct": ("active_matter_pct", _by_fields("active_matter_pct")),
    "molar_mass_g_mol": ("molar_mass_g_mol", _molar_mass_source),
    "notes": ("notes", lambda row: MEMORY),
}


_WATER_NAMES = ("Water", "Eau", "Aqua (Water)", "Water (Aqua)", "Aqua/Water", "Water/Aqua", "Aqua/Water/Eau")


@cache
def _by_other_name() -> Mapping[str, Substance]:
    """Names that lead to a substance without being its INCI name: trade names and CAS numbers.

    A name that several substances share (a CAS number of all starches) leads to the first of them only when
    nothing tells them apart, so those are left out.
    """
    found: dict[str, list[Substance]] = {}
    for substance in substances().values():
        for name in (substance.common_name, substance.cas or "", *substance.cas_alt):
            found.setdefault(inci_key(name), []).append(substance)
    water = substances()["AQUA"]
    found |= {key: [substances()[inci_key(name)] for name in names] for key, names in synonyms().items()}
    found |= {inci_key(name): [water] for name in _WATER_NAMES}
    return MappingProxyType({key: list_[0] for key, list_ in found.items() if key and len(set(list_)) == 1})


def find_substance(name: str) -> Substance | None:
    """Find a substance by INCI name, label form of water, trade name or CAS number, in any case; None if unknown."""
    key = inci_key(name)
    return substances().get(key) or _by_other_name().get(key)
