"""The drawing of a pH session: predicted curve, readings, refitted curve."""

from app.documents.drawings.shapes import Drawing
from app.documents.drawings.titration import PlottedReading, titration
from app.store.batches import BatchReading
from app.work.ph.session_state import State


def session_plot(state: State) -> Drawing | None:
    """Return the drawing of a session; None where the model has no curve."""
    if not state.curve:
        return None
    target, name = float(state.record.target_ph), f"session-{state.record.id}"
    return titration(state.name, state.curve, target, (), readings_of(state), state.refitted, name=name)


def readings_of(state: State) -> list[PlottedReading]:
    """Return the readings at the grams of the adjuster added before each; the last one names its pH."""
    readings: list[PlottedReading] = []
    grams = 0.0
    for row in state.rows:
        if isinstance(row.entry, BatchReading):
            readings.append(PlottedReading(grams, float(row.entry.value or 0)))
        elif row.material_id == state.record.material_id:
            grams = float(row.total_g)
    if readings:
        readings[-1] = PlottedReading(readings[-1].grams, readings[-1].ph, f"pH {readings[-1].ph:g}")
    return readings
