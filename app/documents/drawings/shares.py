"""Weight against cost, line by line."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.documents.drawings.shapes import Drawing, Shape


@dataclass(frozen=True, slots=True)
class Share:
    """A line with its share of the weight and of the material cost, %; ``cost`` None without a price."""

    name: str
    weight: float
    cost: float | None


SHARE_ROW = 28.0
DECADES = 4.0


def _log(percent: float) -> float:
    return max(0.0, min(1.0, math.log10(max(percent, 0.01) / 0.01) / DECADES))


def weight_against_cost(shares: Sequence[Share]) -> Drawing:
    """Draw what each line weighs to the left and costs to the right, on logarithmic scales from 0.01 to 100 %."""
    shapes = [
        Shape("text", 0.48, 11, look="strong", words="share of the weight", anchor="end"),
        Shape("text", 0.52, 11, look="strong", words="share of the cost"),
    ]
    bottom = 34 + SHARE_ROW * len(shares)
    for step, words in enumerate(("0.01", "0.1", "1", "10", "100 %")):
        for side in (-1, 1):
            x = 0.5 + side * (0.02 + 0.46 * step / 4)
            shapes += [Shape("line", x, 30, x, bottom, "grid")]
            shapes += [Shape("text", x, 26, look="tick", words=words, anchor="middle")] if step in (2, 4) else []
    for place, one in enumerate(shares):
        y = 34 + SHARE_ROW * place
        left = 0.48 - 0.46 * _log(one.weight)
        shapes.append(
            Shape("rect", left, y + 16, 0.48, y + 24, "weight", f"{one.name}: {one.weight:.3g} % of the weight")
        )
        shapes.append(Shape("text", 0.5, y + 12, words=one.name, anchor="middle", look="name"))
        if one.cost is None:
            shapes.append(Shape("text", 0.52, y + 24, look="tick", words="no price"))
            continue
        times = one.cost / one.weight if one.weight else 0.0
        more = f", {times:.0f} times its weight" if times >= 10 else ""
        right = 0.52 + 0.46 * _log(one.cost)
        words = f"{one.name}: {one.cost:.3g} % of the cost{more}"
        shapes.append(Shape("rect", 0.52, y + 16, right, y + 24, "cost", words))
    return Drawing("shares", "Share of the weight and of the material cost, line by line", bottom + 4, tuple(shapes))
