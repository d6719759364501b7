"""Finding a packing run, and refusing to write one that is closed."""

from sqlalchemy.orm import Session

from app.store.errors import Conflict
from app.store.packing import PackingRun, get_run


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
