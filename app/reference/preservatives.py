"""Preserving substances and chelators, and a formula read for them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache, lru_cache

from app.reference.acid_base import acid_base_table
from app.reference.blends import blend_uses, blends
from app.reference.compatibility import classes
from app.reference.mixtures import MixtureEntry, build_mixture
from app.reference.tables import read_table
from app.science.acid_base.model import LEAST_WATER_PERCENT, compile_model, water_percent
from app.science.acid_base.prediction import predict_model
from app.science.acid_base.speciation import strength_at, undissociated_fraction
from app.science.acid_base.values import WATER_MOLAR_MASS, Family, Mixture, MixtureLine, Solute
from app.science.composition import DosedMaterial, expand
from app.science.names import inci_key
from app.science.preservation import (
    ORGANISMS,
    ROUNDED,
    BlendDose,
    Dosed,
    Preservation,
    Preservative,
    Surroundings,
    assess,
)

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
ANIONIC = frozenset({"anionic_surfactant", "soap", "anionic_polymer", "anionic_gum"})
ALCOHOLS = frozenset(
    map(inci_key, ("Alcohol", "Alcohol Denat.", "Alcohol Denat", "Ethanol", "SD Alcohol 40-B", "Isopropyl Alcohol"))
)


@dataclass(frozen=True, slots=True)
class PreservativeRow:
    """A row of the table: the preservative, the acid that acts, and where the figures come from."""

    preservative: Preservative
    family: Family | None
    source: str
    source_status: str


@cache
def preservatives() -> dict[str, PreservativeRow]:
    """Read the table, by ``inci_key``.

    Raises:
        ValueError: when a cell is not what it should be.
    """
    found: dict[str, PreservativeRow] = {}
    for row in read_table("preservatives", COLUMNS):
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
        found[inci_key(row["inci_name"])] = PreservativeRow(known, family, row["source"], row["source_status"])
    return found


# A batch and its checks ask the same of the same mixture several times.
@lru_cache(maxsize=256)
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
    present: dict[str, tuple[PreservativeRow, MixtureLine, float]] = {}
    for line in mixture.lines:
        entry = preservatives().get(_name(line))
        if entry is not None and _pure(line) > 0:
            before = present[_name(line)][2] if _name(line) in present else 0.0
            present[_name(line)] = (entry, line, before + _pure(line))
    blended = _blends_in({name: percent for name, (_, _, percent) in present.items()})
    dosed = [
        replace(_dosed(entry, line, percent, at, (strength, mixture.temperature_c)), blend=blended.get(name))
        for name, (entry, line, percent) in present.items()
    ]
    anionics = [line for line in mixture.lines if _pure(line) > 0 and ANIONIC & classes().of(_name(line))]
    around = Surroundings(
        ph=at,
        water_percent=water,
        alcohol_percent=sum(_pure(line) for line in mixture.lines if inci_key(line.name) in ALCOHOLS),
        leave_on=leave_on,
        chelators=tuple(line.name for line in mixture.lines if line.percent > 0 and _name(line) in CHELATORS),
        anionics=tuple(dict.fromkeys(line.name for line in anionics)),
        anionic_percent=sum(map(_pure, anionics)),
        water_activity=water_activity(mixture, water),
    )
    return assess(dosed, around)


def assess_materials(materials: Iterable[DosedMaterial], leave_on: bool, ph: Decimal | None = None) -> Preservation:
    """Judge the preservation of a formula of materials, expanded to substances; see ``assess_mixture``.

    Raises:
        Invalid: when the formula adds up to more than 100 %.
    """
    entries = [
        MixtureEntry(total.inci, total.percent, Decimal(100)) for total in expand(materials) if total.percent > 0
    ]
    return assess_mixture(build_mixture(entries).mixture, leave_on, None if ph is None else float(ph))


def water_activity(mixture: Mixture, water: float) -> float:
    """Estimate the water activity (0..1) from the dissolved substances of known molar mass, by Raoult's law.

    a = n_w / (n_w + sum of nu n), nu the particles that a substance gives (P. W. Atkins, Physical Chemistry, ideal
    solutions); 0 without water. Substances without data count as nothing, so that the true activity is lower.

    Args:
        mixture: the formula.
        water: its water, % w/w.
    """
    free = water / WATER_MOLAR_MASS
    solutes = sum(
        _pure(line) / s.molar_mass * max(len(s.families) + sum(n for _, n in s.ions), 1.0)
        for line in mixture.lines
        if (s := line.substance) is not None and s.polymer is None
    )
    return free / (free + solutes) if free > 0 else 0.0


def _blends_in(percents: Mapping[str, float]) -> dict[str, BlendDose]:
    """Find the ready-made blends whose preserving parts are all in a formula, by the name of each part.

    The dose of a blend is that of its scarcest part; where a part stands in several blends the largest dose counts.
    """
    found: dict[str, BlendDose] = {}
    for name, blend in blends().items():
        use = blend_uses().get(name)
        shares = {k: float(part.percent) for part in blend.parts if (k := inci_key(part.inci)) in preservatives()}
        if use is None or use.use_low is None or len(shares) < 2 or not shares.keys() <= percents.keys():
            continue
        dose = BlendDose(
            name=name,
            percent=min(100.0 * percents[k] / share for k, share in shares.items()),
            use_low=float(use.use_low),
            use_high=None if use.use_high is None else float(use.use_high),
            ph_low=None if use.ph_min is None else float(use.ph_min),
            ph_high=None if use.ph_max is None else float(use.ph_max),
        )
        if dose.percent >= dose.use_low * ROUNDED:
            found |= {k: dose for k in shares if k not in found or found[k].percent < dose.percent}
    return found


def _pure(line: MixtureLine) -> float:
    return line.percent * line.assay_percent / 100.0


def _name(line: MixtureLine) -> str:
    return inci_key(line.substance.inci if line.substance is not None else line.name)


def _dosed(
    entry: PreservativeRow, line: MixtureLine, percent: float, ph: float | None, medium: tuple[float, float]
) -> Dosed:
    share: float | None = None if entry.preservative.ionic == "cationic" else 1.0
    if entry.family is not None and ph is not None:
        share = undissociated_fraction(entry.family, ph, *medium)
    acid = entry.preservative.ionic == "acid"
    edge = undissociated_fraction(entry.family, entry.preservative.ph_high, *medium) if acid and entry.family else 1.0
    return Dosed(entry.preservative, percent, percent * (acid_factor(line.substance) if acid else 1.0), share, edge)


def acid_factor(substance: Solute | None) -> float:
    """Return grams of free acid per gram of a salt (1 for the acid itself and for what has no acid)."""
    if substance is None or not substance.families:
        return 1.0
    family, moles = substance.families[0]
    return family.molar_mass * moles / substance.molar_mass
