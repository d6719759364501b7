"""Preserving substances and chelators, and a formula read for them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from app.reference.acid_base import acid_base_table
from app.reference.tables import read_table
from app.science.acid_base.model import LEAST_WATER_PERCENT, compile_model, water_percent
from app.science.acid_base.prediction import predict_model
from app.science.acid_base.speciation import strength_at, undissociated_fraction
from app.science.acid_base.values import Family, Line, Mixture, Substance
from app.science.names import inci_key
from app.science.preservation import ORGANISMS, Dosed, Preservation, Preservative, Surroundings, assess

COLUMNS = [
    "inci_name",
    "acid_family",
    "ph_low",
    "ph_high",
    "use_low_percent",
    "use_high_percent",
    "role",
    "ionic",
    "scope",
    "gram_positive",
    "gram_negative",
    "yeast",
    "mould",
    "remark",
    "source",
    "source_status",
]
CHELATORS = frozenset(
    map(
        inci_key,
        (
            "Disodium EDTA",
            "Trisodium EDTA",
            "Tetrasodium EDTA",
            "EDTA",
            "Trisodium Ethylenediamine Disuccinate",
            "Tetrasodium Glutamate Diacetate",
            "Sodium Phytate",
            "Phytic Acid",
            "Sodium Gluconate",
            "Tetrasodium Etidronate",
            "Pentasodium Pentetate",
        ),
    )
)
ALCOHOLS = frozenset(
    map(inci_key, ("Alcohol", "Alcohol Denat.", "Alcohol Denat", "Ethanol", "SD Alcohol 40-B", "Isopropyl Alcohol"))
)


@dataclass(frozen=True, slots=True)
class Entry:
    """A row of the table: the preservative, the acid that acts, and where the figures come from."""

    preservative: Preservative
    family: Family | None
    source: str
    source_status: str


@cache
def preservatives() -> dict[str, Entry]:
    """Read the table, by ``inci_key``.

    Raises:
        ValueError: when a cell is not what it should be.
    """
    return {inci_key(row["inci_name"]): _entry(row) for row in read_table("preservatives", COLUMNS)}


def _entry(row: dict[str, str]) -> Entry:
    cover = {key: row[key] for key in ORGANISMS}
    if not set(cover.values()) <= {"good", "some", "weak"} or row["role"] not in {"preservative", "support"}:
        raise ValueError(f"preservatives.csv: {row['inci_name']}: cover or role is wrong")
    known = Preservative(
        inci=row["inci_name"],
        ph_low=float(row["ph_low"]),
        ph_high=float(row["ph_high"]),
        use_low=float(row["use_low_percent"]),
        use_high=float(row["use_high_percent"]),
        support=row["role"] == "support",
        ionic=row["ionic"],
        rinse_off_only=row["scope"] == "rinse-off",
        cover=cover,
        remark=row["remark"],
    )
    family = acid_base_table().families[row["acid_family"]] if row["acid_family"] else None
    return Entry(known, family, row["source"], row["source_status"])


def assess_mixture(mixture: Mixture, leave_on: bool, ph: float | None = None) -> Preservation:
    """Judge the preservation of a mixture at a pH, or at its predicted pH when none is given.

    Raises:
        Invalid: when the temperature is out of range.
    """
    water = max(water_percent(mixture.lines, mixture.water_percent), 0.0)
    wet = water >= LEAST_WATER_PERCENT
    model = compile_model(mixture) if wet else None
    found = predict_model(model) if ph is None and model is not None else None
    at = found.ph.value if found is not None and not found.withheld else ph
    strength = strength_at(model, at) if model is not None and at is not None else 0.0
    dosed = [
        _dosed(entry, line, percent, at, (strength, mixture.temperature_c))
        for entry, line, percent in _present(mixture.lines)
    ]
    around = Surroundings(
        ph=at,
        water_percent=water,
        alcohol_percent=sum(_pure(line) for line in mixture.lines if inci_key(line.name) in ALCOHOLS),
        leave_on=leave_on,
        chelators=tuple(line.name for line in mixture.lines if line.percent > 0 and _name(line) in CHELATORS),
    )
    return assess(dosed, around)


def _pure(line: Line) -> float:
    return line.percent * line.assay_percent / 100.0


def _name(line: Line) -> str:
    return inci_key(line.substance.inci if line.substance is not None else line.name)


def _present(lines: Sequence[Line]) -> list[tuple[Entry, Line, float]]:
    """Sum the lines by preservative, in the order they first appear."""
    found: dict[str, tuple[Entry, Line, float]] = {}
    for line in lines:
        entry = preservatives().get(_name(line))
        if entry is not None and _pure(line) > 0:
            before = found[_name(line)][2] if _name(line) in found else 0.0
            found[_name(line)] = (entry, line, before + _pure(line))
    return list(found.values())


def _dosed(entry: Entry, line: Line, percent: float, ph: float | None, medium: tuple[float, float]) -> Dosed:
    share: float | None = None if entry.preservative.ionic == "cationic" else 1.0
    if entry.family is not None and ph is not None:
        share = undissociated_fraction(entry.family, ph, *medium)
    acid = entry.preservative.ionic == "acid"
    return Dosed(entry.preservative, percent, percent * (acid_factor(line.substance) if acid else 1.0), share)


def acid_factor(substance: Substance | None) -> float:
    """Give grams of free acid per gram of a salt (1 for the acid itself and for what has no acid)."""
    if substance is None or not substance.families:
        return 1.0
    family, moles = substance.families[0]
    return family.molar_mass * moles / substance.molar_mass
