"""One action of a person is one transaction, and a form is taken once however often its button is pressed.

``@action(once="note on batch {batch_id}")`` makes a function of a session callable with the store. The words of
``once`` tie the form's key to the place it belongs to; they and the key are filled from the arguments by name. The same
form sent again gets the first result and writes nothing. What an action does to a record, the record's own verbs do:
they write its history and count it as changed (``Batch.record``, ``Batch.touch``).
"""

import functools
import inspect
from collections.abc import Callable
from typing import Any, Concatenate, ParamSpec, TypeVar

from sqlalchemy.orm import Session

from app.store.engine import Store
from app.store.workshop import FormKey
from app.work.clock import now

LONGEST_KEY = 100
P = ParamSpec("P")
R = TypeVar("R", bound=int | str | None)
READERS: dict[object, Callable[[str], Any]] = {int: int, str: str, None: lambda _text: None}


def action(
    once: str = "", key: str = "{key}"
) -> Callable[[Callable[Concatenate[Session, P], R]], Callable[Concatenate[Store, P], R]]:
    """Make a function of a session one action on the store: all of it or nothing, once per form.

    Args:
        once: what the form belongs to, such as ``"reading of batch {batch_id}"``; without it every call is taken.
        key: where the form's one-time key stands among the arguments, such as ``"{plan.key}"``.
    """

    def wrap(do: Callable[Concatenate[Session, P], R]) -> Callable[Concatenate[Store, P], R]:
        signature = inspect.signature(do)
        read = READERS[signature.return_annotation]

        @functools.wraps(do)
        def act(store: Store, /, *args: P.args, **kwargs: P.kwargs) -> R:
            form = ""
            if once:
                given = signature.bind(None, *args, **kwargs)
                given.apply_defaults()
                form = request_key(once.format_map(given.arguments), key.format_map(given.arguments))
            # One action writes at a time, so a form that is not taken now is not taken by another one meanwhile.
            with store.transaction() as session:
                taken = session.get(FormKey, form) if form else None
                if taken is not None:
                    return read(taken.result)  # type: ignore[no-any-return]
                result = do(session, *args, **kwargs)
                if form:
                    session.add(FormKey(key=form, taken_at=now(), result="" if result is None else str(result)))
                return result

        return act

    return wrap


def request_key(place: str, key: str) -> str:
    """Return a form's key tied to its place; empty for a key that is none of ours, which then counts as no key."""
    whole = f"{place} {key}"
    return whole if key.strip() and whole.isprintable() and len(whole) <= LONGEST_KEY else ""
