"""Finding a packing run, refusing to write one that is closed, and reading forms that a person signs."""

from typing import TypeVar

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.errors import Conflict
from app.store.packing import PackingRun, get_run
from app.work.form import Faults, Form
from app.work.people import person_named

F = TypeVar("F", bound=Form)


def open_run(session: Session, run_id: int, row_version: int | None = None) -> PackingRun:
    """Load a packing run that is still being written.

    Raises:
        NotFound: when there is none of that id.
        Conflict: when it is closed or cancelled, or was changed since the form with ``row_version`` was read.
    """
    run = get_run(session, run_id, for_writing=True)
    if not run.is_open:
        raise Conflict(f"Packing run {run.number} is {run.state.value}: it is kept as it is.")
    if row_version is not None and run.row_version != row_version:
        raise Conflict(f"Packing run {run.number} was changed in the meantime.")
    return run


def signed(session: Session, typed: F, field: str = "who") -> tuple[F, str]:
    """Return a form with every field read, and the full name of the person who signs it.

    Raises:
        Faults: with everything that is wrong, each at its field.
    """
    faults: list[Invalid] = []
    form, who = typed, ""
    try:
        form = typed.checked()
    except Faults as wrong:
        faults += wrong.faults
    if typed.text[field].strip():
        try:
            who = person_named(session, typed.text[field], field, "Write who it was.")
        except Invalid as fault:
            faults.append(fault)
    if faults:
        raise Faults(faults)
    return form, who
