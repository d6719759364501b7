"""Stock solutions: how much material and water make a solution of a strength, its density, heat and label."""

from dataclasses import dataclass

import numpy as np

from app.science.acid_base.cautions import WORDS, Hazard, hazard
from app.science.acid_base.values import WATER_MOLAR_MASS, Solute
from app.science.errors import Invalid

DENSITY_SOURCE = "concentrative table of aqueous sodium hydroxide at 20 °C; 18, 25 and 50 % from memory"
SODIUM_HYDROXIDE_DENSITY = (
    (0.0, 0.9982), (1.0, 1.0095), (5.0, 1.0538), (10.0, 1.1089), (18.0, 1.197), (20.0, 1.2192), (25.0, 1.274),
    (30.0, 1.3277), (40.0, 1.4299), (50.0, 1.525),
)  # fmt: skip
# Adiabatic rise when solid dissolves, estimated from -44.5 kJ/mol at infinite dilution (from memory).
SODIUM_HYDROXIDE_RISE = (
    (0.0, 0.0),
    (1.0, 3.0),
    (5.0, 14.0),
    (10.0, 28.0),
    (18.0, 52.0),
    (20.0, 58.0),
    (25.0, 73.0),
    (30.0, 85.0),
)
BOILS_FROM_PERCENT = 40.0
CHECK = "Check the strength on a small trial before trusting it; keep the bottle closed and date it."


@dataclass(frozen=True, slots=True)
class StockRecipe:
    """How to make a stock solution.

    Attributes:
        material_g, water_g: grams of material as bought and of water.
        strength_percent: % w/w of the pure substance.
        molality: mol per kg of water.
        mmol_per_g: mmol of substance per gram of solution.
        density_g_ml: at 20 C; None when no table is shipped for it. ``density_source`` names the table.
        temperature_rise_c: how much it heats up when mixed at once, C; None when not known.
        steps: what to do, in order.
        cautions: what to wear and mind.
        label: text for the bottle.
    """

    material_g: float
    water_g: float
    strength_percent: float
    molality: float
    mmol_per_g: float
    density_g_ml: float | None
    density_source: str
    temperature_rise_c: float | None
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    label: str


@dataclass(frozen=True, slots=True)
class StockMaterial:
    """What the stock is made from: the substance, its strength in the material 0..100, and whether that is liquid."""

    substance: Solute
    assay_percent: float
    liquid: bool


def make_stock(material: StockMaterial, strength_percent: float, total_g: float) -> StockRecipe:
    """Work out a stock solution of ``strength_percent`` % w/w, ``total_g`` grams of it.

    Raises:
        Invalid: when the strength is not between 0 and the strength of the material, or there is nothing to make.
    """
    if not 0 < strength_percent <= material.assay_percent:
        limit = material.assay_percent
        raise Invalid(
            "strength_percent", f"the strength must be more than 0 and at most the material's own {limit:g} %"
        )
    most = material.substance.soluble_percent
    if most is not None and strength_percent > most:
        raise Invalid("strength_percent", f"water dissolves about {most:g} % of it at 20 °C: make a weaker solution")
    if total_g <= 0:
        raise Invalid("total_g", "enter how much to make: more than 0 g")
    needed = total_g * strength_percent / material.assay_percent
    water_g = total_g - needed
    known = material.substance.key == "sodium_hydroxide"
    moles = strength_percent / material.substance.molar_mass  # in 100 g of solution
    solvent_g = 100.0 - strength_percent + moles * material.substance.water * WATER_MOLAR_MASS
    name = material.substance.inci
    corrosive = hazard(material.substance) in {Hazard.STRONG_ALKALI, Hazard.STRONG_ACID}
    steps = [
        f"Weigh {water_g:.2f} g of cold water into a heat-proof vessel."
        if corrosive
        else f"Weigh {water_g:.2f} g of water."
    ]
    portions = "in small portions, stirring, letting it cool between" if corrosive else "and stir until it is clear"
    steps.append(f"Add {needed:.2f} g of {name} ({material.assay_percent:g} %) to the water {portions}.")
    if corrosive and not material.liquid:
        steps.append(_heat_words(strength_percent))
    words = {
        Hazard.STRONG_ALKALI: "CORROSIVE. Causes severe burns. Goggles, gloves.",
        Hazard.STRONG_ACID: "CORROSIVE. Causes burns. Goggles, gloves.",
        Hazard.AMINE: "Irritant. Goggles, gloves.",
        Hazard.ORGANIC_ACID: "Irritant to eyes and skin. Goggles.",
    }
    warning = words.get(hazard(material.substance), "Not for eating.")
    return StockRecipe(
        material_g=needed,
        water_g=water_g,
        strength_percent=strength_percent,
        molality=1000.0 * moles / solvent_g if solvent_g > 0 else float("inf"),
        mmol_per_g=10.0 * moles,
        density_g_ml=sodium_hydroxide_density(strength_percent) if known else None,
        density_source=DENSITY_SOURCE if known else "no density table is shipped for this solution: weigh it",
        temperature_rise_c=_rise(strength_percent) if known and not material.liquid else None,
        steps=(*steps, "Let it cool, make up for lost water by weight, close and label it.", CHECK),
        cautions=WORDS[hazard(material.substance)],
        label=(f"{name} {strength_percent:g} % w/w in water. {warning} Keep from children. Made on: ____ By: ____"),
    )


def sodium_hydroxide_density(mass_percent: float) -> float | None:
    """Return the density of aqueous sodium hydroxide at 20 C, g/mL, between 0 and 50 % w/w; None beyond."""
    strengths, densities = zip(*SODIUM_HYDROXIDE_DENSITY, strict=True)
    if not 0 <= mass_percent <= strengths[-1]:
        return None
    return float(np.interp(mass_percent, strengths, densities))


def _rise(strength_percent: float) -> float | None:
    if strength_percent >= BOILS_FROM_PERCENT:
        return None
    strengths, rises = zip(*SODIUM_HYDROXIDE_RISE, strict=True)
    return float(np.interp(strength_percent, strengths, rises))


def _heat_words(strength_percent: float) -> str:
    if strength_percent >= BOILS_FROM_PERCENT:
        return "Made at once this strength can boil: work in an ice bath, or make a weaker solution."
    rise = _rise(strength_percent) or 0.0
    return f"Made at once it heats up by about {rise:.0f} °C: let it cool between portions."
