"""Forms that make a record are taken once, however often the button is pressed."""

from sqlalchemy.orm import Session

from app.store.workshop import FormKey
from app.work.clock import now


def earlier_result(session: Session, key: str) -> str | None:
    """Tell what a form with this key led to, when it was taken before; call inside the deed's transaction."""
    taken = session.get(FormKey, key) if key else None
    return taken.result if taken else None


def remember(session: Session, key: str, result: str) -> None:
    """Note that a form was taken and what came of it."""
    if key:
        session.add(FormKey(key=key, taken_at=now(), result=result))
        session.flush()
