"""From a plan to the draft of a formula: phases, amounts that add up, and steps."""

from collections.abc import Mapping, Sequence
from decimal import Decimal

from app.reference.inference_caps import usual_exposure
from app.science.inference.cover import CoverLine
from app.science.inference.makeable import weighable
from app.science.inference.phases import HEATED_C, Step
from app.science.numbers import plain
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.label_reading.choosing import StartPlan, filling_line, weighed_percent
from app.work.label_reading.estimate import LabelEstimate

LONGEST_NOTE = 480
TITLES = {"A": "Water phase", "B": "Oil phase", "C": "Cool-down", "D": "Setting the pH"}
DRY_TITLES = {"A": "Mixture", "B": "Melt"}  # without a water phase
COLD_TITLE = "Last additions"  # where nothing is heated
HOT = str(HEATED_C)
STARTING_POINT = (
    "Started from a printed ingredient list. The percentages are what order, law and habit make likely: a starting "
    "point of my own, never a claim to be the same as anything."
)
OPENING = {
    "A": "Weigh the phase. Wet gums and powders first, then add the rest under stirring.",
    "B": "Weigh the phase and melt it in a water bath, attended.",
    "C": "Below 40 °C add one after the other, stirring each in.",
    "cold": "Add one after the other, stirring each in.",
    "dry": "Weigh the phase and mix until it is even.",
    "D": "Measure the pH with a meter, then adjust in small steps and measure after each.",
}
HEATED = "Heat to 75 °C and hold for 20 minutes; hot liquids scald."
JOINED = "Pour B into A, both at 75 °C, and stir until it has cooled below 40 °C."


def draft_of(sheet: LabelEstimate, plan: StartPlan, ids: Mapping[str, int], name: str = "") -> Draft:
    """Write a plan as a draft; ``ids`` gives the material on the shelf for each material of the plan."""
    amounts = amounts_of(plan.cover.lines)
    letters = tuple(dict.fromkeys(step.phase for step in plan.steps))
    ph = sheet.start.ph if sheet.start else None
    lines = []
    for step in plan.steps:
        material, amount = step.line.material, amounts[step.line.material.id]
        note = material.assumption
        if len(note) > LONGEST_NOTE:
            note = f"{note[:LONGEST_NOTE]} ..."
        phase, shelf_id = step.phase.lower(), ids.get(material.id)
        lines.append(
            DraftLine(f"l{step.number}", phase, material.name, shelf_id, amount=amount, qs=not amount, note=note)
        )
    return Draft(
        name=name,
        product_type=sheet.product_type,
        exposure=usual_exposure(sheet.product_type).value,
        notes="\n".join((STARTING_POINT, *_left_out(plan), *_not_needed(sheet))),
        target_ph=f"{ph.target:.1f}" if ph and ph.target is not None and ph.adjuster is not None else "",
        phases=tuple(_phase(letter, letters, plan.steps) for letter in letters),
        lines=tuple(lines),
    )


def _left_out(plan: StartPlan) -> list[str]:
    """Return which names have no line because no material holds them, with what they would have been."""
    if not plan.cover.missing:
        return []
    names = ", ".join(
        f"{one.name} (about {plain(Decimal(str(weighable(one.estimate))))} %)" for one in plan.cover.missing
    )
    return [f"Not in this formula, since nothing on the shelf or in the library holds it: {names}."]


def _not_needed(sheet: LabelEstimate) -> list[str]:
    """Say that what is printed to set the pH has no line, since nothing here asks for any of it."""
    start = sheet.start
    place = start.ph.adjuster if start else None
    if start is None or place is None or start.percents[place] > 0:
        return []
    name = sheet.names[place].inci
    said = [f"{name} has no line: by the model the pH asks for none of it. Measure first, then add a drop if it does."]
    if any(one.rule == "pH" for one in start.start.unmet) and start.ph.target is not None and start.ph.reached:
        way = "up" if start.ph.reached < start.ph.target else "down"
        word = "base" if way == "up" else "acid"
        said.append(
            f"Nothing that is printed brings the pH {way} to {start.ph.target:.1f}: by the model it stays near "
            f"{start.ph.reached:.1f}. Plan a little {word}."
        )
    return said


def amounts_of(lines: Sequence[CoverLine]) -> dict[str, str]:
    """Write the doses as one weighs them; the line that fills up to 100 has none."""
    filling = filling_line(lines)
    return {line.material.id: "" if line is filling else plain(Decimal(str(weighed_percent(line)))) for line in lines}


def _phase(letter: str, letters: Sequence[str], steps: Sequence[Step]) -> DraftPhase:
    wet = any(step.line.material.parts.get("AQUA") for step in steps if step.phase == "A")
    cold = "B" not in letters
    heated = letter in ("A", "B") and not cold
    opening = "cold" if letter == "C" and cold else "dry" if letter == "A" and not wet else letter
    sentences = [OPENING[opening], *([HEATED] if heated else [])]
    for step in steps:  # in the order of addition, what a material asks for beyond the opening of its phase
        words = " ".join(part for part in (step.how, step.caution) if part)
        if step.phase == letter and words:
            sentences.append(f"{step.line.material.name}: {words}")
    if letter == "B" and "A" in letters:
        sentences.append(JOINED)
    title = COLD_TITLE if opening == "cold" else TITLES[letter]
    title = DRY_TITLES[letter] if letter in DRY_TITLES and not wet else title
    title = title if len(letters) > 1 else "One phase"
    return DraftPhase(letter.lower(), title, HOT if heated else "", "\n".join(sentences))
