"""What a composition to start from fails of its own checks without saying so: order, sum, preservation, gels."""

import itertools
from collections.abc import Iterator, Sequence

from app.reference.label_start import LabelStart
from app.science.inference.values import ListedName

EXACTLY = 1e-4
ROUNDED = 0.006  # figures that one can weigh miss a requirement by no more than this part of it


def start_faults(listed: Sequence[ListedName], begun: LabelStart) -> Iterator[str]:
    """Yield each fault as a sentence; a requirement of which the start says that it cannot be met is none."""
    if abs(sum(begun.percents) - 100) > EXACTLY or min(begun.percents) < 0:
        yield f"adds up to {sum(begun.percents):g}"
    ordered = (place for place, name in enumerate(listed) if not name.colour and place not in begun.freed)
    chain = [*ordered][: begun.start.above_line]
    for first, second in itertools.pairwise(chain):
        if begun.percents[first] < begun.percents[second] - 1e-6:
            yield f"{listed[second].name} is more than {listed[first].name} before it"
    said = {requirement.rule for requirement in begun.start.unmet}
    for requirement in begun.requirements:
        if len(requirement.terms) > 1 or requirement.rule not in ("preservation", "gel") or requirement.rule in said:
            continue
        (place,) = requirement.terms
        if not requirement.low * (1 - ROUNDED) <= begun.percents[place] <= requirement.high * (1 + ROUNDED):
            yield f"{listed[place].name} at {begun.percents[place]:g} % misses its amount ({requirement.rule})"
