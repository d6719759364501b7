"""From lines as people write them (INCI, percent, strength, hydrate) to a mixture for the acid-base computation."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from rapidfuzz import fuzz, process

from app.reference.acid_base import AcidBaseTable, acid_base_table
from app.reference.known_names import unknown_names
from app.science.acid_base.model import check_temperature
from app.science.acid_base.values import STANDARD_TEMPERATURE_C, Adjuster, Mixture, MixtureLine
from app.science.errors import Invalid
from app.science.names import inci_key

ROUNDING = Decimal("0.01")  # percentages that add up to 100.01 are rounded, not wrong


@dataclass(frozen=True, slots=True)
class MixtureEntry:
    """One line as written: INCI name, % w/w of the formula, strength 0..100 (None: not said), hydrate in words."""

    inci: str
    percent: Decimal
    assay_percent: Decimal | None = None
    hydrate: str | None = None


@dataclass(frozen=True, slots=True)
class Conditions:
    """Balancing water in % (None: what is missing to 100), temperature in C, carbonate gone, activities left at 1."""

    water_percent: Decimal | None = None
    temperature_c: float = STANDARD_TEMPERATURE_C
    degassed: bool = False
    ideal: bool = False


@dataclass(frozen=True, slots=True)
class Built:
    """A mixture with the sentences that say what was assumed."""

    mixture: Mixture
    notes: tuple[str, ...]


def build_mixture(entries: Sequence[MixtureEntry], conditions: Conditions | None = None) -> Built:
    """Write a mixture from lines.

    Raises:
        Invalid: naming ``mixture``, ``mixture[i].hydrate``, ``water_percent`` or ``temperature_c``.
    """
    stated = conditions or Conditions()
    check_temperature(stated.temperature_c)
    table = acid_base_table()
    lines = []
    for index, entry in enumerate(entries):
        assay = 100.0 if entry.assay_percent is None else float(entry.assay_percent)
        try:
            lines.append(table.line(entry.inci, float(entry.percent), assay, entry.hydrate))
        except Invalid as error:
            raise Invalid(f"mixture[{index}].{error.field}", error.message) from error
    water = _balancing_water(entries, lines, stated.water_percent)
    if stated.water_percent is not None:
        lines = [line for line in lines if not line.is_water]
    present = [entry for entry in entries if entry.percent > 0]
    notes = [unknown.sentence for unknown in unknown_names(entry.inci for entry in present)]
    notes += [note for entry in present for note in _assumptions(table, entry)]
    mixture = Mixture(tuple(lines), float(water), stated.temperature_c, stated.degassed, stated.ideal)
    return Built(mixture, tuple(dict.fromkeys(notes)))


def _balancing_water(entries: Sequence[MixtureEntry], lines: Sequence[MixtureLine], stated: Decimal | None) -> Decimal:
    """Return the water that makes up the formula; stated water takes the place of water lines too."""
    counted = [e.percent for e, line in zip(entries, lines, strict=True) if stated is None or not line.is_water]
    total = sum(counted, Decimal(0))
    if total > 100 + ROUNDING:
        raise Invalid("mixture", f"the percentages add up to {total.normalize():f}, more than 100")
    if stated is None:
        return max(100 - total, Decimal(0))
    if total + stated > 100 + ROUNDING:
        raise Invalid("water_percent", f"with this water the formula adds up to {total + stated:f}, more than 100")
    return stated


def _assumptions(table: AcidBaseTable, entry: MixtureEntry) -> list[str]:
    found = table.find(entry.inci, entry.hydrate)
    if found is None:
        return []
    notes = [f"{found.note}."] if found.note else []
    usual = found.substance.usual_assay_percent
    if entry.assay_percent is None and usual is not None and usual < 98:
        notes.append(
            f"{found.substance.inci} is taken at 100 %; it is usually sold at about {usual:g} %: "
            "give the assay if yours is."
        )
    if entry.hydrate is not None and found.substance.polymer is not None:
        notes.append(f"{found.substance.inci} is a polymer: the hydrate is left out of account.")
    return notes


def build_adjuster(
    inci: str, strength_percent: Decimal, hydrate: str | None = None
) -> tuple[Adjuster, tuple[str, ...]]:
    """Write an adjuster from its INCI name, its strength in % w/w and, where it has one, its hydrate in words.

    Raises:
        Invalid: naming the field, when the name has no acid-base data or the substance moves no pH.
    """
    table = acid_base_table()
    try:
        found = table.find(inci, hydrate)
    except Invalid as error:
        raise Invalid(f"adjuster.{'inci' if hydrate is None else 'hydrate'}", error.message) from error
    if found is None:
        close = process.extract(
            inci_key(inci), list(table.by_name), scorer=fuzz.ratio, processor=None, limit=3, score_cutoff=70
        )
        names = dict.fromkeys(table.by_name[name][0].substance.inci for name, _, _ in close)
        hint = f"; did you mean {', '.join(names)}?" if names else ""
        raise Invalid("adjuster.inci", f"there are no acid-base data for {inci!r}, so no dose can be worked out{hint}")
    if not found.substance.active:
        raise Invalid("adjuster.inci", f"{found.substance.inci} is neither an acid nor a base: it cannot set the pH")
    if strength_percent <= 0:
        raise Invalid("adjuster.strength_percent", "must be more than 0")
    return Adjuster(found.substance, float(strength_percent)), ((f"{found.note}.",) if found.note else ())
