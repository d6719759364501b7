"""What the shipped tables do not hold: said aloud, so that no finding is not taken for a clean bill."""

from collections.abc import Callable, Iterable

from app.science.rules.selectors import Ingredient

LISTS = {
    "preservative": "the positive list of preservatives (EU 1223/2009 Annex V)",
    "UV filter": "the positive list of UV filters (EU 1223/2009 Annex VI)",
    "hair dyeing": "the entries for hair dyes (EU 1223/2009 Annex III)",
}
COLOURANTS = "colourants and their areas of use (EU 1223/2009 Annex IV)"


def uncovered(
    present: Iterable[Ingredient], is_ruled: Callable[[str], bool], is_coloured: Callable[[str], bool]
) -> tuple[str, ...]:
    """List substances whose function is on a positive list of the EU, without a row of theirs in the tables.

    ``is_ruled`` tells whether a name has a row of limits, ``is_coloured`` whether the table of colourants has it.
    """
    lines: list[str] = []
    for i in present:
        if _is_colourant(i) and not is_coloured(i.name):
            lines.append(f"{i.name}: {COLOURANTS}; the shipped tables have no entry for it.")
        lines += [
            f"{i.name}: {where}; the shipped tables have no entry for it."
            for function, where in LISTS.items()
            if function in i.facts.functions and not is_ruled(i.name) and not _is_colourant(i)
        ]
    return tuple(lines)


def _is_colourant(i: Ingredient) -> bool:
    return "kind:colourant" in i.tags or i.is_a("colourant")
