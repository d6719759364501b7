"""A formula as the rules are asked about it: its materials, exposure, pH, kind of product, heat and order."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from app.reference.rulebook import in_inci
from app.science.formula import dosed
from app.science.rules.names import is_water
from app.science.rules.values import Exposure, FormulaFacts
from app.work.formulas.reading import Reading, ReadLine
from app.work.rules.products import product_words

# Phases at least this hot are taken to be joined hot; a cool-down phase goes in later, at its own temperature.
JOINED_HOT_C = Decimal(55)


@dataclass(frozen=True, slots=True)
class Question:
    """What the rules are asked: the facts, the words used of the product, where the pH is from, what is missing."""

    facts: FormulaFacts
    texts: tuple[str, ...]
    has_claims: bool
    ph_from: str
    missing: tuple[str, ...]


def question(reading: Reading, predicted_ph: Decimal | None = None) -> Question:
    """Turn a draft that was read into the question; the target pH goes before a predicted one."""
    draft, target = reading.draft, reading.head.target_ph
    exposure = draft.exposure if draft.exposure in set(Exposure) else Exposure.LEAVE_ON
    facts = FormulaFacts(
        materials=in_inci(dosed(reading.science)),
        exposure=Exposure(exposure),
        ph=predicted_ph if target is None else target,
        products=product_words(draft.product_type, draft.special_uses),
        temperatures_c=_temperatures(reading),
        order=tuple(dict.fromkeys(line.material.name for line in reading.lines if line.material)),
        joined_c=_joined_hot(reading),
    )
    texts = tuple(text for text in (draft.name, draft.product_type, draft.claims) if text.strip())
    return Question(facts, texts, bool(draft.claims.strip()), _ph_from(target, predicted_ph), tuple(_missing(reading)))


def _ph_from(target: Decimal | None, predicted: Decimal | None) -> str:
    if target is not None:
        return "the target pH"
    return "" if predicted is None else "the predicted pH"


def _temperatures(reading: Reading) -> Mapping[str, Decimal]:
    """Give the hottest phase that each material is in, by its name."""
    found: dict[str, Decimal] = {}
    for line in reading.lines:
        heat = reading.temperatures.get(line.draft.phase)
        if line.material is not None and heat is not None:
            found[line.material.name] = max(heat, found.get(line.material.name, heat))
    return found


def _joined_hot(reading: Reading) -> tuple[Decimal, ...]:
    """Give the temperatures of hot phases where one of them holds water, so that an emulsion is made of them."""
    hot = {key: t for key, t in reading.temperatures.items() if t is not None and t >= JOINED_HOT_C}
    watery = {line.draft.phase for line in reading.lines if line.percent > 0 and _is_watery(line)}
    return tuple(hot.values()) if watery & hot.keys() else ()


def _is_watery(line: ReadLine) -> bool:
    return line.material is not None and any(is_water(part.inci) for part in line.material.parts)


def _missing(reading: Reading) -> Iterable[str]:
    """Name the lines that no rule can look at."""
    for line in reading.lines:
        if line.material is None and line.draft.typed.strip():
            yield f"{line.draft.typed.strip()[:80]}: not on the shelf, so no rule can look at it."
        elif line.material is not None and not line.material.parts:
            yield f"{line.material.name}: it has no composition yet, so no rule can look at it."
        elif line.material is not None and (short := _unaccounted(line)) > 0:
            yield f"{line.material.name}: {short:f} % of it is not named in its composition."


def _unaccounted(line: ReadLine) -> Decimal:
    parts = line.material.parts if line.material else ()
    return (Decimal(100) - sum((part.percent for part in parts), Decimal(0))).normalize()
