"""The plot of a pH session: predicted curve, readings, refitted curve."""

from app.documents.ph_plot import Plot, plot
from app.store.batches import BatchReading
from app.work.ph.session_state import State


def session_plot(state: State) -> Plot | None:
    """Return the plot of a session; None where the model has no curve."""
    if not state.curve:
        return None
    return plot(state.curve, float(state.record.target_ph), (), _marks(state), state.refitted)


def _marks(state: State) -> list[tuple[float, float, str]]:
    """Return the readings at the grams of the adjuster added before each; the last one names its pH."""
    marks: list[tuple[float, float, str]] = []
    grams = 0.0
    for row in state.rows:
        if isinstance(row.entry, BatchReading):
            marks.append((grams, float(row.entry.value or 0), ""))
        elif row.material_id == state.record.material_id:
            grams = float(row.total_g)
    if marks:
        marks[-1] = (*marks[-1][:2], f"pH {marks[-1][1]:g}")
    return marks
