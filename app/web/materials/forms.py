"""What the material pages send, read as it was typed."""

from collections.abc import Mapping

from app.store.materials import PhaseHint
from app.web.row_number import number
from app.work.materials.composition import fitted, with_pasted, with_water
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.material_search import ALL, IN_USE, RETIRED, SearchedFor

MORE_ROWS = 3


def wanted(query: Mapping[str, str]) -> SearchedFor:
    """Return what is looked for from the address; words that are no filter are passed over."""
    phase, state = query.get("phase", ""), query.get("state", IN_USE)
    return SearchedFor(
        words=query.get("q", ""),
        function=query.get("function", ""),
        phase=phase if phase in {hint.value for hint in PhaseHint} else "",
        state=state if state in (RETIRED, ALL) else IN_USE,
    )


def whole_number(text: str, otherwise: int = 0) -> int:
    """Return a page or version number; anything else is ``otherwise``."""
    found = number(text)
    return otherwise if found is None else found


def without_saving(form: MaterialForm, button: str, pasted: str) -> MaterialForm:
    """Return the form after a button that does not save: more rows, fewer rows, water, fitting, pasting."""
    if button == "more":
        return with_spare_rows(form, MORE_ROWS)
    if button == "water":
        return with_water(form)
    if button == "fit":
        return fitted(form)
    if button == "paste":
        return with_pasted(form, pasted)
    place = whole_number(button.removeprefix("drop-"), -1)
    return form.but(parts=tuple(row for n, row in enumerate(form.text["parts"]) if n != place))


def with_spare_rows(form: MaterialForm, count: int = 1) -> MaterialForm:
    """Return the form with empty rows to be typed into."""
    return form.but(parts=(*form.text["parts"], *(PartForm() for _ in range(count))))
