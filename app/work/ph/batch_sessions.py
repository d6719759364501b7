"""The pH sessions of a batch, for its record."""

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.batches import Batch
from app.work.ph.batch_mixture import materials_of, mixture_in_batch
from app.work.ph.mixture import has_water
from app.work.ph.session_state import State, sessions_of, state_of


def states_of(session: Session, batch: Batch) -> tuple[State, ...]:
    """Return every pH session of a batch as it stands, oldest first."""
    return tuple(state_of(session, batch, record) for record in sessions_of(session, batch.id))


def may_start(session: Session, batch: Batch) -> bool:
    """Return whether a pH session can be started or gone on with: the batch is not decided, and there is water."""
    try:
        return not batch.is_decided and has_water(mixture_in_batch(batch, materials_of(session, batch), {}).materials)
    except Invalid:
        return False
