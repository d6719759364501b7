"""What the material pages send, read as it was typed."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import fields, replace

from app.science.errors import Invalid
from app.store.materials import PhaseHint
from app.web.row_number import number
from app.work.materials.composition import fitted, with_pasted, with_water
from app.work.materials.finding import ALL, IN_USE, RETIRED, Wanted
from app.work.materials.prices import TypedPrice
from app.work.materials.typed_material import TypedMaterial, TypedPart

MORE_ROWS = 3
MOST_ROWS = 400
_ROW = re.compile(r"part-([0-9]{1,4})-inci")


def wanted(query: Mapping[str, str]) -> Wanted:
    """Read what is looked for from the address; words that are no filter are passed over."""
    phase, state = query.get("phase", ""), query.get("state", IN_USE)
    return Wanted(
        words=query.get("q", ""),
        function=query.get("function", ""),
        phase=phase if phase in {hint.value for hint in PhaseHint} else "",
        state=state if state in (RETIRED, ALL) else IN_USE,
    )


def whole_number(text: str, otherwise: int = 0) -> int:
    """Read a page or version number; anything else is ``otherwise``."""
    found = number(text)
    return otherwise if found is None else found


def typed_material(form: Mapping[str, str]) -> TypedMaterial:
    """Read the form of a material."""
    texts = {f.name: form.get(f.name, "") for f in fields(TypedMaterial) if f.name != "parts"}
    return TypedMaterial(**texts, parts=tuple(_row(form, place) for place in _places(form)))


def _places(form: Mapping[str, str]) -> list[int]:
    found = sorted(int(match[1]) for name in form if (match := _ROW.fullmatch(name)))
    return found[:MOST_ROWS]


def _row(form: Mapping[str, str], place: int) -> TypedPart:
    def cell(name: str) -> str:
        return form.get(f"part-{place}-{name}", "")

    return TypedPart(
        inci=cell("inci"),
        percent=cell("percent"),
        cas=cell("cas"),
        kind=cell("kind") or "ingredient",
        nano=bool(cell("nano")),
        may_contain=bool(cell("may_contain")),
        allergens=cell("allergens"),
        source=cell("source"),
    )


def after_deed(typed: TypedMaterial, deed: str, pasted: str) -> TypedMaterial:
    """Do to the form what a button asks for without saving: more rows, fewer rows, water, fitting, pasting."""
    if deed == "more":
        return with_spare_rows(typed, MORE_ROWS)
    if deed == "water":
        return with_water(typed)
    if deed == "fit":
        return fitted(typed)
    if deed == "paste":
        return with_pasted(typed, pasted)
    place = whole_number(deed.removeprefix("drop-"), -1)
    return replace(typed, parts=tuple(row for n, row in enumerate(typed.parts) if n != place))


def with_spare_rows(typed: TypedMaterial, count: int = 1) -> TypedMaterial:
    """Add empty rows to be typed into."""
    return replace(typed, parts=(*typed.parts, *(TypedPart() for _ in range(count))))


def typed_price(form: Mapping[str, str]) -> TypedPrice:
    """Read the form of a price."""
    return TypedPrice(**{f.name: form.get(f.name, "") for f in fields(TypedPrice)})


def by_field(faults: Iterable[Invalid]) -> dict[str, str]:
    """Give the first fault of each field, in the order of the form."""
    found: dict[str, str] = {}
    for fault in faults:
        found.setdefault(fault.field, fault.message)
    return found
