"""What the pH pages send, read as it was typed."""

from collections.abc import Mapping

from app.web.row_number import number
from app.work.ph.entries import SessionRef, TypedAddition, TypedReading
from app.work.ph.sessions import SessionStart


def start_of(form: Mapping[str, str]) -> SessionStart:
    """Read the form that starts a session."""
    return SessionStart(
        number(form.get("material_id", "")),
        form.get("target", ""),
        form.get("batch_g", ""),
        form.get("who", ""),
        form.get("key", ""),
    )


def at_of(form: Mapping[str, str], batch_id: int, session_id: int) -> SessionRef:
    """Read which state of a session a form was drawn from."""
    version = number(form.get("row_version", ""))
    return SessionRef(
        batch_id, session_id, -1 if version is None else version, form.get("who", ""), form.get("key", "")
    )


def addition_of(form: Mapping[str, str]) -> TypedAddition:
    """Read an addition."""
    return TypedAddition(
        form.get("grams", ""),
        form.get("drops", ""),
        number(form.get("dropper_id", "")),
        form.get("back", "") == "yes",
    )


def reading_of(form: Mapping[str, str]) -> TypedReading:
    """Read a reading."""
    return TypedReading(
        form.get("ph", ""),
        form.get("instrument", "meter"),
        form.get("uncertainty", ""),
        form.get("temperature", ""),
        form.get("sure", ""),
    )
