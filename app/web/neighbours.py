"""One's own workshop and the demonstration: two files, two addresses, and the way from one to the other.

They have ports of their own, so no page left open in one can ever write into the other, and what a browser keeps for
one (cookies, what was typed last) is not there in the other.
"""

from dataclasses import dataclass
from typing import Protocol

from flask import current_app, request

from app.work.workshop import BeginForm


class Workshops(Protocol):
    """What the program that serves both can do with them."""

    def own_port(self) -> int | None:
        """Return the port of one's own workshop; None while there is none."""

    def demonstration_port(self) -> int | None:
        """Return the port of the demonstration; None when it was thrown away."""

    def may_begin(self) -> bool:
        """Return whether a workshop of one's own can be begun here."""

    def begin_own(self, form: BeginForm) -> int:
        """Make one's own workshop and return its port."""

    def renew_demonstration(self) -> str:
        """Make the demonstration afresh, whole; return where the former one was kept, empty when there was none."""

    def discard_demonstration(self) -> str:
        """Throw the demonstration away; return where a copy was kept."""


@dataclass(frozen=True, slots=True)
class Neighbours:
    """What a page says of the two: which one it is in, and the addresses; an empty one is not there."""

    in_demonstration: bool
    own: str
    demonstration: str
    may_begin: bool


def workshops() -> Workshops | None:
    """Return what serves both workshops; None where an application stands alone, as in tests."""
    found: Workshops | None = current_app.extensions.get("workshops")
    return found


def neighbours() -> Neighbours | None:
    """Return what pages say of the two workshops; None where an application stands alone."""
    both = workshops()
    if both is None:
        return None
    demonstration = both.demonstration_port()
    return Neighbours(
        in_demonstration=current_app.extensions["port"] == demonstration,
        own=address(both.own_port()),
        demonstration=address(demonstration),
        may_begin=both.may_begin(),
    )


def address(port: int | None) -> str:
    """Return the address of a port under the name that was asked for; empty for none."""
    return f"http://{request.host.partition(':')[0]}:{port}/" if port else ""
