"""Forms that make a record are taken once, however often the button is pressed."""

from sqlalchemy.orm import Session

from app.store.workshop import FormKey
from app.work.clock import now

LONGEST = 100


def _kept(key: str) -> str:
    """Give a key as it is stored; what cannot be one of ours is no key at all."""
    return key if key.isprintable() and len(key) <= LONGEST and key.strip() else ""


def scoped(deed: str, key: str) -> str:
    """Tie a key to one deed, so that a form sent to another place is not taken for one that was taken here."""
    return f"{deed} {key}" if _kept(key) else ""


def earlier_result(session: Session, key: str) -> str | None:
    """Tell what a form with this key led to, when it was taken before; call inside the deed's transaction."""
    taken = session.get(FormKey, key) if _kept(key) else None
    return taken.result if taken else None


def remember(session: Session, key: str, result: str) -> None:
    """Note that a form was taken and what came of it."""
    if _kept(key):
        session.add(FormKey(key=key, taken_at=now(), result=result))
        session.flush()
