"""The pH sessions of a batch on its page: what was added and read, with the plot."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.documents.ph_plot import Plot
from app.documents.session_plot import session_plot
from app.science.errors import Invalid
from app.store.batches import Batch
from app.work.batches import sections
from app.work.ph.batch_mixture import materials_of, mixture_in_batch
from app.work.ph.mixture import has_water
from app.work.ph.session_state import State, sessions_of, state_of


@dataclass(frozen=True, slots=True)
class PhOfBatch:
    """The sessions with their plots by session; ``may_start`` says whether one can be started or gone on with."""

    sessions: tuple[State, ...]
    plots: dict[int, Plot | None]
    may_start: bool


def load(session: Session, batch: Batch) -> PhOfBatch | None:
    """Return the pH sessions of a batch; None where there is none and none can be, as in a balm."""
    states = tuple(state_of(session, batch, record) for record in sessions_of(session, batch.id))
    may_start = not batch.is_decided and _holds_water(session, batch)
    if not states and not may_start:
        return None
    return PhOfBatch(states, {state.record.id: session_plot(state) for state in states}, may_start)


def _holds_water(session: Session, batch: Batch) -> bool:
    try:
        return has_water(mixture_in_batch(batch, materials_of(session, batch), {}).materials)
    except Invalid:
        return False


sections.add(sections.Section("ph", "pH at the bench", "ph/_batch.html", load, ("css/ph.css", "css/ph_bench.css")))
