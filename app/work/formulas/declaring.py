"""The ingredient list of a draft, for the workshop's jurisdiction and for the other."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.science.composition import DosedMaterial
from app.store.workshop import Jurisdiction


@dataclass(frozen=True, slots=True)
class Declared:
    """A list under one jurisdiction."""

    jurisdiction: str
    text: str
    entries: tuple[object, ...] = ()
    warnings: tuple[str, ...] = ()


def declared(
    mixture: Sequence[DosedMaterial], exposure: str, jurisdictions: Sequence[Jurisdiction]
) -> tuple[Declared, ...]:
    """Write the list under each jurisdiction."""
    return ()
