"""Which names at the end of a list are colours, which may stand in any order and any amount."""

import re
from collections.abc import Sequence

SURE = re.compile(
    r"^CI ?\d{5}|\bIRON OXIDES?\b|\bULTRAMARINES?\b|\bCHROMIUM (OXIDE GREENS|HYDROXIDE GREEN)\b|\bMANGANESE VIOLET\b"
    r"|\bFERRIC (AMMONIUM )?FERROCYANIDE\b"
    r"|\bCARMINE\b|\b(RED|YELLOW|BLUE|ORANGE|GREEN|VIOLET|BROWN|BLACK) \d+( LAKE)?\b"
)
COMPANY = frozenset({"MICA", "TITANIUM DIOXIDE", "ZINC OXIDE", "BISMUTH OXYCHLORIDE", "TIN OXIDE", "CAROTENE"})


def colour_tail(keys: Sequence[str]) -> frozenset[int]:
    """Return the places of the trailing colours: colour names, and pigments that stand among or after them.

    Colours follow all other names (EU 1223/2009 Art. 19(1)(g); 21 CFR 701.3(f)(3)).

    >>> sorted(colour_tail(["TALC", "MICA", "SILICA", "CI 77491", "MICA", "CI 77492"]))
    [3, 4, 5]
    """
    start = len(keys)
    while start and (SURE.search(keys[start - 1]) or keys[start - 1] in COMPANY):
        start -= 1
    while start < len(keys) and not SURE.search(keys[start]):
        start += 1
    return frozenset(range(start, len(keys)))
