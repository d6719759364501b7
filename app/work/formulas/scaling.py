"""A draft made to add up: every line scaled, every line but the kept ones, or one line that fills up."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, plain, to_places
from app.work.formulas.draft import Draft

HUNDRED = Decimal(100)
LEAST_PLACES = 2


def scale_to_hundred(
    percents: Mapping[str, Decimal], kept: Collection[str] = (), *, places: int = 2
) -> dict[str, Decimal]:
    """Return percentages % w/w that make exactly 100: those of ``kept`` as they are, the others in their ratio.

    Args:
        percents: % w/w by line, each 0 or more.
        kept: lines that stay as they are.
        places: decimals of the result; the largest scaled line takes what rounding left.

    Raises:
        Invalid: when the kept lines leave nothing, or there is nothing to scale.
    """
    with exact_arithmetic():
        fixed = sum((percent for key, percent in percents.items() if key in kept), Decimal(0))
        loose = {key: percent for key, percent in percents.items() if key not in kept}
        written, room = sum(loose.values(), Decimal(0)), HUNDRED - fixed
        if not written:
            raise Invalid("total", "There is nothing to scale: no other line has an amount.")
        if room <= 0:
            raise Invalid("total", f"The kept lines make {plain(fixed)} % already; keep fewer of them.")
        scaled = {key: to_places(percent * room / written, places) for key, percent in loose.items()}
        largest = max(scaled, key=lambda key: scaled[key])
        scaled[largest] += room - sum(scaled.values(), Decimal(0))
    return {key: scaled.get(key, percent) for key, percent in percents.items()}


def make_hundred(draft: Draft, percents: Mapping[str, Decimal], kept: Collection[str] = ()) -> Draft:
    """Write scaled percentages into a draft; no line fills up any more.

    Args:
        draft: the draft, its amounts in % w/w.
        percents: % w/w of every line that has an amount of its own.
        kept: lines that stay as they are.

    Raises:
        Invalid: when the amounts are no percentages by weight, or cannot be scaled.
    """
    if draft.basis != "w/w":
        raise Invalid("basis", "Convert the amounts to % w/w first; then they can be scaled.")
    places = max([LEAST_PLACES, *(_places(percent) for percent in percents.values())])
    scaled = scale_to_hundred(percents, kept, places=min(places, 6))
    lines = (
        replace(line, amount=plain(scaled[line.id]), qs=False) if line.id in scaled and line.id not in kept else line
        for line in draft.lines
    )
    return replace(draft, lines=tuple(lines))


def _places(value: Decimal) -> int:
    exponent = value.normalize().as_tuple().exponent
    return -exponent if isinstance(exponent, int) and exponent < 0 else 0


def fill_up(draft: Draft, line_id: str) -> Draft:
    """Let one line fill up to 100, and no other.

    Raises:
        Invalid: when there is no such line.
    """
    if line_id not in {line.id for line in draft.lines}:
        raise Invalid("total", "Choose the line that is to fill up.")
    lines = [
        replace(line, qs=False) if line.id != line_id else replace(line, qs=True, amount="") for line in draft.lines
    ]
    return replace(draft, lines=tuple(lines))
