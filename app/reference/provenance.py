"""Where a shipped value comes from, and how far it was checked."""

from dataclasses import dataclass
from enum import StrEnum


class Status(StrEnum):
    """How far a shipped value was checked against its source."""

    VERIFIED = "verified"
    COMMON_PRACTICE = "common practice"
    FROM_MEMORY = "from memory"
    COMPUTED = "computed"


@dataclass(frozen=True, slots=True)
class Provenance:
    """The source of one value in words, and its status."""

    source: str
    status: Status


PRACTICE = Provenance("a rule of the trade, no published source", Status.COMMON_PRACTICE)
MEMORY = Provenance("no source opened", Status.FROM_MEMORY)

_COMPUTED = ("computed", "by definition", "arithmetic")


def provenance_of(source: str, status: str) -> Provenance:
    """Read a source cell and its status cell; a value that follows by arithmetic is told apart.

    Raises:
        ValueError: when the status is not one of the known words.
    """
    word = Status(status.strip())
    if word is Status.VERIFIED and source.startswith(_COMPUTED):
        word = Status.COMPUTED
    return Provenance(source.strip(), word)
