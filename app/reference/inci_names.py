"""The inventory of 28,703 INCI names, for names on labels that the library does not know; read when first asked."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from app.reference.provenance import Provenance, Status
from app.reference.tables import read_table
from app.science.names import inci_key

SOURCE = Provenance(
    "European Commission CosIng ingredient inventory export, state of 2020-12-30 (public copy)", Status.VERIFIED
)

_CAS = re.compile(r"[1-9]\d{1,6}-\d\d-\d")


@dataclass(frozen=True, slots=True)
class InventoryName:
    """A name as the inventory prints it; ``cas`` only when its check digit is right, ``functions`` in EU words."""

    inci: str
    cas: str | None
    functions: tuple[str, ...]


def cas_is_sound(number: str) -> bool:
    """Return whether a CAS number has the right form and check digit.

    The last digit is the sum of the others, each times its place counted from the right, modulo 10
    (Chemical Abstracts Service, "Check Digit Verification of CAS Registry Numbers").
    """
    if not _CAS.fullmatch(number):
        return False
    *digits, check = (int(sign) for sign in number if sign != "-")
    return sum(place * digit for place, digit in enumerate(reversed(digits), start=1)) % 10 == check


@cache
def inci_names() -> Mapping[str, InventoryName]:
    """Every name of the inventory by `inci_key`; read once, cannot be changed."""
    rows = read_table("inci_names", ("inci", "cas", "functions"))
    found: dict[str, InventoryName] = {}
    for row in rows:
        first, _, _ = row["cas"].partition(";")
        functions = tuple(piece.strip() for piece in row["functions"].split(";") if piece.strip())
        cas = first.strip() if cas_is_sound(first.strip()) else None
        found[inci_key(row["inci"])] = InventoryName(row["inci"], cas, functions)
    return MappingProxyType(found)
