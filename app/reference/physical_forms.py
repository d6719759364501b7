"""The form a substance usually comes in, and the phase of a formula it usually goes to (both common practice)."""

from app.reference.library import Substance
from app.science.names import inci_key

_SOLID = (
    "BUTTER",
    "CERA",
    "LANOLIN",
    "TALLOW",
    "ADEPS SUILLUS",
    "COCOS NUCIFERA OIL",
    "ELAEIS GUINEENSIS OIL",
    "ELAEIS GUINEENSIS KERNEL OIL",
    "ORBIGNYA OLEIFERA SEED OIL",
    "PETROLATUM",
    "HYDROGENATED CASTOR OIL",
    "MYRISTYL MYRISTATE",
    "GLYCERYL CAPRYLATE",
    "CAPRYLYL GLYCOL",
    "MENTHOL",
    "CAMPHOR",
    "CHOLESTEROL",
    "LANOLIN ALCOHOL",
    "SODIUM HYDROXIDE",
    "POTASSIUM HYDROXIDE",
    "SODIUM CHLORIDE",
    "MAGNESIUM SULFATE",
    "MARIS SAL",
    "SUCROSE",
    "SODIUM COCOATE",
    "SODIUM PALMATE",
    "SODIUM OLIVATE",
    "PEG-150 DISTEARATE",
    "LAURETH-23",
)
_LIQUID = (
    "OLEIC ACID",
    "COCAMIDE DEA",
    "RETINOL",
    "RETINYL PALMITATE",
    "BAKUCHIOL",
    "ASCORBYL TETRAISOPALMITATE",
    "LEVULINIC ACID",
    "SODIUM PHYTATE",
    "SODIUM HYDROXYMETHYLGLYCINATE",
    "BENZALKONIUM CHLORIDE",
    "METHYLISOTHIAZOLINONE",
    "BENZYL ALCOHOL",
    "SODIUM LEVULINATE",
    "POLYGLYCERYL-4 ISOSTEARATE",
    "POLYGLYCERYL-3 DIISOSTEARATE",
    "POLYGLYCERYL-2 DIPOLYHYDROXYSTEARATE",
    "POLYGLYCERYL-3 POLYRICINOLEATE",
    "POLYGLYCERYL-4 CAPRATE",
    "POLYGLYCERYL-10 LAURATE",
    "CARAMEL",
)
_SOLID_GROUPS = ("waxes, fatty alcohols, fatty acids",)
_LIQUID_GROUPS = ("vegetable oils and butters", "extracts and hydrosols", "essential oils and fragrance")
_POWDER_GROUPS = ("clays and powders", "colourants")


def form_of(substance: Substance) -> str:
    """Return ``liquid``, ``powder`` or ``solid`` (flakes, pellets, butter, wax) as the substance is usually sold."""
    key = inci_key(substance.inci)
    if key in _LIQUID:
        return "liquid"
    if key.endswith(_SOLID) or substance.group in _SOLID_GROUPS:
        return "solid"
    if substance.group in _POWDER_GROUPS:
        return "powder"
    if substance.density_g_ml is not None or substance.group in _LIQUID_GROUPS:
        return "liquid"
    if substance.group == "emulsifiers and solubilisers" and substance.phase_hint != "water":
        return "solid"
    return "powder"


def phase_of(substance: Substance) -> str:
    """Return ``water``, ``oil``, ``cool-down``, ``powder`` or ``adjuster``, where the substance usually goes."""
    if substance.group == "pH adjusters and buffers" and substance.phase_hint == "water":
        return "adjuster"
    if substance.group in _POWDER_GROUPS and substance.solubility.startswith("insoluble"):
        return "powder"
    if substance.phase_hint != "either":
        return substance.phase_hint
    first = substance.solubility.split(",")[0].split(" ")[0]
    return {"water": "water", "oil": "oil", "alkaline": "water", "insoluble": "powder"}.get(first, "cool-down")
