"""Where the model holds, how wide it is there, and the sentences that say so."""

import numpy as np

from app.science.acid_base.model import CARBONATE, Model
from app.science.acid_base.values import HARDLY_BUFFERED_CAPACITY, Influence, Mixture, Range, SpeciesAmount

WARN_IONIC_STRENGTH = 0.5
REFUSE_IONIC_STRENGTH = 1.0
LEAST_WATER_SHARE = 0.70  # of water + alcohols + glycols; from memory
MOSTLY_ALCOHOL = "alcohols and glycols outweigh the water here: the pH model was made for water and gives no number"
NO_NUMBER_WATER_SHARE = 0.50  # below, a prediction made for water means nothing (from memory)
LITTLE_WATER_PERCENT = 5.0  # of the formula; below, what there is of it is bound (common practice)
WIDEST = 7.0  # pH units; a wider range says nothing
MOST_HIDDEN = 2.0  # pH by which a material without constants may move a prediction that is still shown
HARDLY_BUFFERED = "Hardly buffered: no pH can be promised. Traces and the carbon dioxide of the air decide; measure."
METER = "This is a prediction: measure the pH of the batch."

_HALF_WIDTH_AT = (0.0, 0.1, 0.2, 0.5, 1.0, 2.0)
_HALF_WIDTH = (0.05, 0.05, 0.08, 0.18, 0.5, 1.0)


def model_half_width(ionic_strength: float) -> float:
    """Return the half width of the model itself in pH at an ionic strength in mol/kg.

    Read off its misses on published buffers: 0.01 to 0.05 up to 0.2 mol/kg, 0.19 near 0.58; beyond it is a guess.

    References:
        R. G. Bates, J. Res. NBS 1962, 66A, 179 (buffers to 0.1 mol/kg); T. C. McIlvaine, J. Biol. Chem. 1921, 49, 183
        (citrate-phosphate to 0.58 mol/kg).
    """
    return float(np.interp(ionic_strength, _HALF_WIDTH_AT, _HALF_WIDTH))


def water_share(mixture: Mixture, water_percent: float) -> float:
    """Return water / (water + alcohols + glycols), 0..1."""
    organic = sum(line.percent * line.assay_percent / 100.0 for line in mixture.lines if line.is_solvent)
    return water_percent / (water_percent + organic)


def why_withheld(model: Model, ph: Range, influences: tuple[Influence, ...]) -> str:
    """Return why no number may be given for a formula; empty when one may."""
    water = model.water_kg * 1e5
    if water_share(model.mixture, water) < NO_NUMBER_WATER_SHARE:
        return MOSTLY_ALCOHOL
    if water < LITTLE_WATER_PERCENT:
        return f"there is hardly any water in this ({water:.1f} %), and without water there is no pH to speak of"
    held = held_by(model.mixture, ph.value)
    if held:
        return held
    if ph.high - ph.low > WIDEST or any(i.hidden and i.ph_shift > MOST_HIDDEN for i in influences):
        return f"too little is known to predict a pH: it could be {ph.low:.0f} to {ph.high:.0f}, mostly for " + (
            influences[0].name if influences else "want of data"
        )
    return ""


def held_by(mixture: Mixture, ph: float) -> str:
    """Return which material holds a pH in a way that no charge balance describes, in words; empty when none does."""
    for line in mixture.lines:
        reserve = line.reserve
        if reserve is None or not reserve.holds_ph or line.percent < reserve.withhold_above:
            continue
        if reserve.only_above_ph is None or ph > reserve.only_above_ph:
            return f"{line.name} holds the pH itself ({reserve.words}): no number can be worked out, measure it"
    return ""


def prediction_notes(
    model: Model,
    ph: Range,
    ionic_strength: float,
    capacity: float,
    influences: tuple[Influence, ...],
    species: tuple[SpeciesAmount, ...],
) -> tuple[str, ...]:
    """Return what a reader must know beside the number.

    ``ionic_strength`` is in mol/kg, ``capacity`` the buffer capacity in mol/kg per pH unit.
    """
    notes = [HARDLY_BUFFERED] if capacity < HARDLY_BUFFERED_CAPACITY else []
    if influences and influences[0].ph_shift >= 0.01:
        first = influences[0]
        notes.append(f"Most of the range comes from {first.name} (about ±{first.ph_shift:.2f}).")
    notes += solution_notes(model, ionic_strength)
    notes += crystal_notes(model, species)
    notes += carbonate_notes(model, ph.value)
    return (*notes, METER)


def solution_notes(model: Model, ionic_strength: float) -> list[str]:
    """Return what of a solution of that ionic strength (mol/kg) is outside what the model covers, or near it."""
    away = abs(model.mixture.temperature_c - 25.0)
    unknown = [f.name for f in model.columns.families if not f.enthalpy_known]
    notes = []
    if away > 3 and unknown:
        notes.append(
            f"How the pKa moves with temperature is not known for {', '.join(unknown)}: the 25 °C value is used."
        )
    if model.mixture.temperature_c > 50:
        notes.append("Above 50 °C the constants are extrapolated.")
    found = [ROUGH[f.key] for f in model.columns.families if f.key in ROUGH]
    for substance in model.columns.substances:
        if substance.key == "gluconolactone":
            found.append("Gluconolactone turns into gluconic acid over hours: the pH given is that at the end.")
    return [*_strength(ionic_strength), *_solvents(model), *_unknown(model), *notes, *found]


def _strength(ionic_strength: float) -> list[str]:
    if ionic_strength > REFUSE_IONIC_STRENGTH:
        return [
            f"The ionic strength is {ionic_strength:.1f} mol/kg, above 1: outside what the model covers. "
            "Take the number without its decimals."
        ]
    if ionic_strength > WARN_IONIC_STRENGTH:
        return [f"The ionic strength is {ionic_strength:.2f} mol/kg, above 0.5: the prediction is rougher here."]
    return []


def _solvents(model: Model) -> list[str]:
    share = water_share(model.mixture, model.water_kg * 1e5)
    if share >= LEAST_WATER_SHARE:
        return []
    return [
        f"Water is only {share:.0%} of water, alcohols and glycols together: pKa values move and the electrode reads "
        "differently. The model was made for water and is outside its range here."
    ]


def _unknown(model: Model) -> list[str]:
    bringing = [(line.name, line.reserve) for line in model.mixture.lines if line.reserve and line.percent > 0]
    said = dict.fromkeys(f"{name}: {reserve.words}. The range allows for it." for name, reserve in bringing
                         if reserve.words and not reserve.holds_ph)  # fmt: skip
    names = dict.fromkeys(name for name, reserve in bringing if not reserve.words)
    if not names:
        return list(said)
    return [*said, f"No acid-base data for {', '.join(names)}: they may move the pH, and the range is wider for it."]


ROUGH = {
    "phytic_acid": "Phytic acid and its salts are approximate only.",
    "lauric_acid": "Soap in water does not follow its pKa: this prediction does not hold for soap.",
    "hydroxymethylglycine": "Sodium hydroxymethylglycinate releases formaldehyde in water: its pH is not predictable.",
    "boric_acid": "Borate forms larger ions above about 0.1 mol/kg; boron compounds are restricted in cosmetics.",
}


def crystal_notes(model: Model, species: tuple[SpeciesAmount, ...]) -> list[str]:
    """Return a warning for each acid of which more is un-ionised than dissolves."""
    whole = {a.inci: a.molality for a in reversed(species)}
    notes = []
    for family in model.columns.families:
        grams = whole.get(family.name, 0.0) * family.molar_mass
        if family.solubility_g_kg is not None and grams > family.solubility_g_kg:
            notes.append(
                f"{family.name}: {grams:.1f} g per kg of water would be un-ionised, more than the "
                f"{family.solubility_g_kg:g} g that dissolve: it may crystallise unless another solvent holds it."
            )
    return notes


def carbonate_notes(model: Model, ph: float) -> list[str]:
    """Say that carbon dioxide will leave, where carbonate is counted in full at a pH that does not hold it."""
    if not any(f.key == CARBONATE for f in model.columns.families) or ph > 8.3:
        return []
    return [
        "Carbon dioxide will leave an open vessel here and the pH goes on rising; ask for `degassed` to see where to."
    ]
