"""The plot of a session marks each reading at the grams of the adjuster added before it."""

from typing import Any

from app.documents.session_plot import readings_of, session_plot
from app.store.engine import Store
from app.work.ph.entries import AdditionForm, PhReadingForm, SessionRef, add_addition, add_reading
from app.work.ph.sessions import SessionForm, look_at_session, start_session


def test_readings_are_marked_at_the_grams_before_them_and_the_correction_moves_none(store: Store, gel: Any) -> None:
    session_id = start_session(store, gel.batch_id, SessionForm(str(gel.materials["alkali"]), "6.2", "491", "Ines"))

    def ref() -> SessionRef:
        record = look_at_session(store, gel.batch_id).running.record
        return SessionRef(gel.batch_id, session_id, record.row_version)

    add_reading(store, ref(), PhReadingForm("3.2", sure="3.2", who="Ines"))
    add_addition(store, ref(), AdditionForm("4", who="Ines"))
    add_reading(store, ref(), PhReadingForm("5.0", sure="5.0", who="Ines"))
    add_addition(store, ref(), AdditionForm("6", who="Ines"))
    add_addition(store, ref(), AdditionForm("0.5", back="yes", who="Ines"))
    add_reading(store, ref(), PhReadingForm("6.6", sure="6.6", who="Ines"))
    state = look_at_session(store, gel.batch_id).running
    readings = readings_of(state)
    assert [(round(one.grams, 1), one.ph, one.words) for one in readings] == [
        (0.0, 3.2, ""),
        (4.0, 5.0, ""),
        (10.0, 6.6, "pH 6.6"),
    ]
    assert "pH 6.6: pH 6.60 at 10 g" in session_plot(state).marks
