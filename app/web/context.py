"""What a view reaches for: the store and who is working."""

from typing import cast

from flask import current_app, session

from app.store.engine import Store


def store() -> Store:
    """Return the store of the running application."""
    return cast(Store, current_app.extensions["store"])


def person() -> str:
    """Name who worked last in this browser; offered again in the next form."""
    return str(session.get("person", ""))


def remember_person(name: str) -> None:
    """Keep the name that was typed, so that it is not asked for twice."""
    if name.strip():
        session["person"] = name.strip()[:80]
