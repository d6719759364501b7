"""From a plan to the draft of a formula: phases, amounts that add up, steps, and the assumptions on each line."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from app.reference.inference_caps import exposure_of
from app.reference.label_inference import PRESERVING
from app.science.inference.cover import CoverLine
from app.science.inference.makeable import rounded_up, weighable
from app.science.inference.phases import ADJUSTERS, Step
from app.science.inference.values import WATER
from app.science.numbers import plain
from app.science.rules.values import Exposure
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.label_reading.choosing import StartPlan
from app.work.label_reading.estimate import LabelEstimate

LONGEST_NOTE = 480
TITLES = {"A": "Water phase", "B": "Oil phase", "C": "Cool-down", "D": "Setting the pH"}
HOT = "75"
STARTING_POINT = (
    "Started from a printed ingredient list. The percentages are what order, law and habit make likely: a starting "
    "point of my own, never a claim to be the same as anything."
)
OPENING = {
    "A": "Weigh the phase. Wet gums and powders first, then add the rest under stirring.",
    "B": "Weigh the phase and melt it in a water bath, attended.",
    "C": "Below 40 °C add one after the other, stirring each in.",
    "D": "Measure the pH with a meter, then adjust in small steps and measure after each.",
}
HEATED = "Heat to 75 °C and hold for 20 minutes; hot liquids scald."
JOINED = "Pour B into A, both at 75 °C, and stir until it has cooled below 40 °C."


def draft_of(sheet: LabelEstimate, plan: StartPlan, ids: Mapping[str, int], name: str = "") -> Draft:
    """Write a plan as a draft; ``ids`` gives the material on the shelf for each material of the plan."""
    amounts = amounts_of(plan.cover.lines)
    letters = tuple(dict.fromkeys(step.phase for step in plan.steps))
    staying = exposure_of(sheet.product_type)
    return Draft(
        name=name,
        product_type=sheet.product_type,
        exposure=(staying or Exposure.LEAVE_ON).value,
        notes=STARTING_POINT,
        target_ph=_target_ph(sheet),
        phases=tuple(_phase(letter, letters, plan.steps) for letter in letters),
        lines=tuple(_line(step, amounts, ids) for step in plan.steps),
    )


def _target_ph(sheet: LabelEstimate) -> str:
    ph = sheet.start.ph if sheet.start else None
    return f"{ph.target:.1f}" if ph and ph.target is not None and ph.adjuster is not None else ""


def amounts_of(lines: Sequence[CoverLine]) -> dict[str, str]:
    """Write the doses as one weighs them; the line that fills up to 100 (water where there is enough) has none."""
    filling = max(lines, key=lambda line: (line.material.class_name == WATER and line.percent >= 1, line.percent))
    rounded = {line.material.id: _rounded(line) for line in lines if line is not filling}
    return {**{key: plain(value) for key, value in rounded.items()}, filling.material.id: ""}


def _rounded(line: CoverLine) -> Decimal:
    """Round as one weighs; a preservative never below what it needs, what sets the pH to two figures."""
    if line.material.class_name in ADJUSTERS:
        return Decimal(f"{line.percent:.2g}")
    up = line.material.class_name in PRESERVING
    return Decimal(str(rounded_up(line.percent) if up else weighable(line.percent)))


def _line(step: Step, amounts: Mapping[str, str], ids: Mapping[str, int]) -> DraftLine:
    amount = amounts[step.line.material.id]
    note = step.line.material.assumption
    return DraftLine(
        id=f"l{step.number}",
        phase=step.phase.lower(),
        typed=step.line.material.name,
        material_id=ids.get(step.line.material.id),
        amount=amount,
        qs=not amount,
        note=note if len(note) <= LONGEST_NOTE else f"{note[:LONGEST_NOTE]} ...",
    )


def _phase(letter: str, letters: Sequence[str], steps: Sequence[Step]) -> DraftPhase:
    heated = letter in ("A", "B") and "B" in letters
    sentences = [OPENING[letter], *([HEATED] if heated else []), *_sentences(letter, steps)]
    if letter == "B" and "A" in letters:
        sentences.append(JOINED)
    title = TITLES[letter] if len(letters) > 1 else "One phase"
    return DraftPhase(letter.lower(), title, HOT if heated else "", "\n".join(sentences))


def _sentences(letter: str, steps: Iterable[Step]) -> Iterable[str]:
    """Give, in the order of addition, what a material asks for beyond the opening of its phase."""
    for step in steps:
        words = " ".join(part for part in (step.how, step.caution) if part)
        if step.phase == letter and words:
            yield f"{step.line.material.name}: {words}"
