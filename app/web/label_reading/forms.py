"""What the pages of printed lists send, read as it was typed."""

from werkzeug.datastructures import MultiDict

from app.work.label_reading.choosing import Choices, read_choices

Form = MultiDict[str, str]
MOST_ROWS = 400
OUT = "out"


def typed_values(form: Form) -> dict[str, str]:
    """Read the known values that differ from what the page showed, by the key of the name."""
    rows = zip(form.getlist("key"), form.getlist("was"), form.getlist("value"), strict=False)
    return {key: value.strip() for key, was, value in list(rows)[:MOST_ROWS] if value.strip() != was.strip()}


def choices(form: Form) -> Choices:
    """Read what is left out and what replaces what: one ``choice`` for each ``name``."""
    rows = list(zip(form.getlist("name"), form.getlist("choice"), strict=False))[:MOST_ROWS]
    return read_choices((key for key, wished in rows if wished == OUT), {k: w for k, w in rows if w not in ("", OUT)})


def statement(form: Form) -> tuple[str, str]:
    """Read which statement a button speaks of: its kind and the key of its name."""
    kind, _, key = form.get("statement", "").partition(":")
    return kind, key[:300]
