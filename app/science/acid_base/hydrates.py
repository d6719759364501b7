"""Water of crystallisation: reading how people write it, and moving a substance from one hydrate to another."""

import re
from dataclasses import replace

from app.science.acid_base.values import WATER_MOLAR_MASS, Solute
from app.science.errors import Invalid

WORDS = {
    "hemi": 0.5, "mono": 1.0, "sesqui": 1.5, "di": 2.0, "tri": 3.0, "tetra": 4.0, "penta": 5.0, "hexa": 6.0,
    "hepta": 7.0, "octa": 8.0, "nona": 9.0, "deca": 10.0, "undeca": 11.0, "dodeca": 12.0,
}  # fmt: skip
NONE = frozenset({"anhydrous", "anhydrate", "anhydride", "none", "no", "dry", "waterfree", "water free"})
VAGUE = frozenset({"", "hydrate", "hydrated", "x", "-", "*", "·", "."})
MOST_WATERS = 24.0

_WORD = re.compile(r"^([a-z]+?)[ -]?(?:hydrate|hydrated|hydrat)?$")
_NUMBER = re.compile(r"^[x·*.]?\s*([0-9]+(?:[.,][0-9]+)?)?\s*[x·*]?\s*[ -]?(?:hydrate|h2o|h₂o|aq|waters?)?$")
_IN_NAME = re.compile(r"^(.*?)[\s,(·*]+((?:[a-z]+|\d+)[ -]?hydrate|anhydrous|\d*\s*h2o)\)?$", re.IGNORECASE)


def parse_waters(text: str) -> float:
    """Read moles of crystal water per mole: ``dihydrate``, ``2 H2O``, ``x 12 H2O``, ``anhydrous``, ``7``.

    Raises:
        Invalid: field ``hydrate``, when the words are not understood.
    """
    plain = " ".join(text.strip().lower().replace("_", " ").split())
    if plain in NONE:
        return 0.0
    word = _WORD.match(plain)
    if word and word.group(1) in WORDS:
        return WORDS[word.group(1)]
    number = _NUMBER.match(plain) if plain not in VAGUE else None
    waters = float((number.group(1) or "1").replace(",", ".")) if number else -1.0
    if not 0.0 <= waters <= MOST_WATERS:
        raise Invalid("hydrate", f"enter the water of crystallisation as anhydrous, monohydrate or 2 H2O, not {text!r}")
    return waters


def split_name(name: str) -> tuple[str, str | None]:
    """Take a hydrate written in the name apart: ``Sodium Citrate (dihydrate)`` -> ``Sodium Citrate``, ``dihydrate``."""
    found = _IN_NAME.match(name.strip())
    return (found.group(1).strip(), found.group(2)) if found else (name, None)


def name_waters(waters: float) -> str:
    """Return the word for a number of waters: 0 -> ``anhydrous``, 2 -> ``dihydrate``."""
    if waters == 0:
        return "anhydrous"
    words = {n: f"{prefix}hydrate" for prefix, n in WORDS.items()}
    return words.get(waters, f"with {waters:g} H2O")


def with_waters(substance: Solute, formula_waters: float, waters: float) -> Solute:
    """Return the same substance with ``waters`` crystal waters in place of ``formula_waters`` (mol per mol).

    Molar mass and released water both move by the difference (18.015 g/mol each).
    """
    if waters == formula_waters:
        return substance
    more = waters - formula_waters
    return replace(
        substance,
        key=f"{substance.key}+{waters:g}H2O",
        molar_mass=substance.molar_mass + more * WATER_MOLAR_MASS,
        water=substance.water + more,
    )
