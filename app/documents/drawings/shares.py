"""Weight against cost, line by line."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.documents.drawings.shapes import EDGE, Drawing, Shape


@dataclass(frozen=True, slots=True)
class Share:
    """A line with its share of the weight and of the material cost, %; ``cost`` None without a price."""

    name: str
    weight: float
    cost: float | None


SHARE_ROW, WIDE_ROW = 28.0, 16.0
LONGEST_NAME = 28  # letters between the bars at the width of a sheet; above them there is room for half as many more
DEAR = 10  # times its weight
DECADES = 4.0


def _log(percent: float) -> float:
    return max(0.0, min(1.0, math.log10(max(percent, 0.01) / 0.01) / DECADES))


def weight_against_cost(shares: Sequence[Share], *, wide: bool = False) -> Drawing:
    """Draw what each line weighs to the left and costs to the right, on logarithmic scales from 0.01 to 100 %.

    Args:
        shares: the lines, in their order.
        wide: names stand between the bars, as where the width is known to be enough; else above them.
    """
    inner, row = (0.14, WIDE_ROW) if wide else (0.02, SHARE_ROW)
    length = 0.5 - inner - EDGE
    shapes = [
        Shape("text", 0.5 - inner, 11, look="strong", words="share of the weight", anchor="end"),
        Shape("text", 0.5 + inner, 11, look="strong", words="share of the cost"),
    ]
    bottom = 34 + row * len(shares)
    for step, words in enumerate(("0.01", "0.1", "1", "10", "100 %")):
        for side in (-1, 1):
            x = 0.5 + side * (inner + length * step / 4)
            shapes += [Shape("line", x, 30, x, bottom, "grid")]
            anchor = "middle" if step < 4 else "start" if side < 0 else "end"
            shapes += [Shape("text", x, 26, look="tick", words=words, anchor=anchor)] if step in (2, 4) else []
    for place, one in enumerate(shares):
        top = 34 + row * place
        bar = top + (4 if wide else 16)
        left = 0.5 - inner - length * _log(one.weight)
        words = f"{one.name}: {one.weight:.3g} % of the weight"
        shapes.append(Shape("rect", left, bar, 0.5 - inner, bar + 8, "weight", words))
        most = LONGEST_NAME if wide else LONGEST_NAME * 3 // 2
        name = one.name if len(one.name) <= most else f"{one.name[: most - 1].rstrip()}…"
        shapes.append(Shape("text", 0.5, top + 12, words=name, anchor="middle", look="name"))
        if one.cost is None:
            shapes.append(Shape("text", 0.5 + inner, bar + 8, look="tick", words="no price"))
            continue
        times = one.cost / one.weight if one.weight else 0.0
        more = f", {times:.0f} times its weight" if times >= DEAR else ""
        words = f"{one.name}: {one.cost:.3g} % of the cost{more}"
        shapes.append(Shape("rect", 0.5 + inner, bar, 0.5 + inner + length * _log(one.cost), bar + 8, "cost", words))
    return Drawing("shares", "Share of the weight and of the material cost, line by line", bottom + 4, tuple(shapes))
