"""The plot of a pH session: predicted curve, readings, refitted curve."""

from app.documents.ph_plot import Plot, plot
from app.store.bench_ph import EntryKind
from app.work.ph.session_state import State


def session_plot(state: State) -> Plot | None:
    """Lay out the plot of a session; None where the model has no curve."""
    if not state.curve:
        return None
    return plot(state.curve, float(state.record.target_ph), (), _marks(state), state.refitted)


def _marks(state: State) -> list[tuple[float, float, str]]:
    marks: list[tuple[float, float, str]] = []
    grams = 0.0
    for entry in state.record.entries:
        if entry.kind is EntryKind.ADDITION and entry.material_id == state.record.material_id:
            grams += float(entry.grams or 0)
        elif entry.ph is not None:
            marks.append((grams, float(entry.ph), ""))
    if marks:
        marks[-1] = (*marks[-1][:2], f"pH {marks[-1][1]:g}")
    return marks
