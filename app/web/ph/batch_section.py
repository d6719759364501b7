"""The pH sessions of a batch on its page: what was added and read, with the plot."""

from dataclasses import dataclass

from app.documents.drawings.shapes import Drawing
from app.documents.session_plot import session_plot
from app.work.batches import sections
from app.work.ph.batch_sessions import may_start, states_of
from app.work.ph.session_state import State


@dataclass(frozen=True, slots=True)
class PhOfBatch:
    """The sessions with their plots by session; ``may_start`` says whether one can be started or gone on with."""

    sessions: tuple[State, ...]
    plots: dict[int, Drawing | None]
    may_start: bool


def with_plots(states: tuple[State, ...], *, may_start: bool) -> PhOfBatch | None:
    """Return the section; None where there is no session and none can be, as in a balm."""
    if not states and not may_start:
        return None
    return PhOfBatch(states, {state.record.id: session_plot(state) for state in states}, may_start)


sections.add(
    sections.Section(
        "ph",
        "pH at the bench",
        "ph/_batch.html",
        lambda session, batch: with_plots(states_of(session, batch), may_start=may_start(session, batch)),
        ("css/ph.css", "css/ph_bench.css", "css/drawings.css"),
    )
)
