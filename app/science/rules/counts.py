"""Counts people ask of a formula: water, oil phase, surfactants as matter, solids; and how free its water is."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.rules.selectors import Ingredient

OIL_GROUPS = frozenset(
    {"vegetable oils and butters", "esters, hydrocarbons, silicones", "waxes, fatty alcohols, fatty acids"}
)
EMULSIFIER_GROUPS = frozenset({"emulsifiers and solubilisers", "surfactants"})
VOLATILE_CLASSES = ("volatile", "alcohol")
WATER_G_MOL = Decimal("18.015")
# Ions that one mole of a salt gives; a sugar or a glycol counts once.
IONS = {"SODIUMCHLORIDE": 2, "MARISSAL": 2, "SODIUMLACTATE": 2, "SODIUMPCA": 2}
SALT_G_MOL = {"MARISSAL": Decimal("58.44"), "MEL": Decimal("180.16"), "ALCOHOLDENAT": Decimal("46.07")}


@dataclass(frozen=True, slots=True)
class Counts:
    """Shares of the finished formula, % w/w. ``solids`` is what neither evaporates as water nor as a volatile."""

    water: Decimal
    oil_phase: Decimal
    surfactant_matter: Decimal
    solids: Decimal


def count(present: Iterable[Ingredient]) -> Counts:
    """Count a formula expanded to substances, so that a surfactant counts as its matter and not as its grade."""
    all_ = tuple(present)
    return Counts(
        water=sum((i.water for i in all_), Decimal(0)),
        oil_phase=_sum(i for i in all_ if is_oil(i)),
        surfactant_matter=_sum(i for i in all_ if is_surfactant(i)),
        solids=sum((i.percent - i.water for i in all_ if not i.is_a(*VOLATILE_CLASSES)), Decimal(0)),
    )


def _sum(present: Iterable[Ingredient]) -> Decimal:
    return sum((i.percent for i in present), Decimal(0))


def is_oil(i: Ingredient) -> bool:
    """Return whether a substance belongs to the oil phase; perfume counts, emulsifiers do not."""
    if i.is_water or is_emulsifier(i) or i.is_a("alcohol"):
        return False
    return i.facts.group in OIL_GROUPS or i.is_a("oil") or "kind:perfume" in i.tags


def is_emulsifier(i: Ingredient) -> bool:
    """Return whether a substance can hold oil in water: by the substance table, by function or by its name."""
    if i.facts.group in EMULSIFIER_GROUPS or i.is_a("emulsifier", "anionic_surfactant", "cationic_surfactant", "soap"):
        return True
    return not i.facts.group and "surfactant - emulsifying" in i.facts.functions


def is_surfactant(i: Ingredient) -> bool:
    """Return whether a substance is a cleansing surfactant."""
    if i.facts.group:
        return i.facts.group == "surfactants" and not i.is_a("cationic_polymer")
    return i.is_a("anionic_surfactant", "soap") or "surfactant - cleansing" in i.facts.functions


def water_activity(present: Sequence[Ingredient]) -> Decimal:
    """Estimate the water activity (0..1) of the water phase by Raoult's law over the humectants, salts and sugars.

    An ideal estimate, good to a few hundredths for glycerol and sugars at moderate strength, rough beyond that.
    Formula: P. W. Atkins, Physical Chemistry, ideal solutions. Without water it is zero.
    """
    water = sum((i.water for i in present), Decimal(0)) / WATER_G_MOL
    if not water:
        return Decimal(0)
    solutes = (i for i in present if i.is_a("humectant") and _molar_mass(i))
    others = sum((i.percent / _molar_mass(i) * IONS.get(i.key, 1) for i in solutes), Decimal(0))
    return water / (water + others)


def _molar_mass(i: Ingredient) -> Decimal:
    return SALT_G_MOL.get(i.key) or i.facts.molar_mass_g_mol or Decimal(0)
