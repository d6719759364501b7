"""The composition, assay and allergens of one lot: its certificate goes before the usual figures of the material."""

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from sqlalchemy.orm import Session

from app.science.composition import Part
from app.science.errors import Invalid
from app.science.numbers import plain
from app.science.percent_range import HUNDRED
from app.store.batches import BatchLine
from app.store.engine import Store
from app.store.errors import Conflict
from app.store.stock import Lot, get_lot
from app.work.action import action
from app.work.clock import now
from app.work.form import Form, Rows, rule
from app.work.form_fields import Name
from app.work.materials.material_form import MOST_PARTS, MaterialForm, PartForm

ZERO = Decimal(0)


class LotCompositionForm(Form):
    """What is in one lot; all rows empty means: as the material says."""

    parts = Rows(
        "Composition", PartForm, "part", most=MOST_PARTS, too_many="A lot can have {most} rows; this one has {count}."
    )
    by = Name("By", "Enter your name or initials.", longest=80, width="w8")

    @rule
    def no_more_than_all(self) -> None:
        """Refuse more than 100 % in all."""
        total = sum((row.percent.typical for row in self.parts), ZERO)
        if total > HUNDRED:
            raise Invalid(f"{self.parts[-1].at}percent", f"The rows add up to {plain(total)} %.")


def composition_form(lot: Lot, by: str = "") -> LotCompositionForm:
    """Return the composition of a lot as it would be typed: its own, or else that of its material."""
    rows = _own_rows(lot) or (MaterialForm.of(lot.material).text["parts"] if lot.material else ())
    return LotCompositionForm(parts=(*rows, PartForm()), by=by)


def load_composition(store: Store, lot_id: int, by: str = "") -> tuple[Lot, LotCompositionForm]:
    """Return a lot with the form of its composition.

    Raises:
        NotFound: when there is no such lot.
    """
    with store.reading() as session:
        lot = get_lot(session, lot_id)
        return lot, composition_form(lot, by)


def _own_rows(lot: Lot) -> tuple[PartForm, ...]:
    rows: list[dict[str, Any]] = json.loads(lot.composition) if lot.composition else []
    return tuple(PartForm(**{name: text for name, text in row.items() if name in PartForm.fields}) for row in rows)


@action()
def set_composition(session: Session, lot_id: int, typed: LotCompositionForm, row_version: int) -> None:
    """Write what is in a lot; its history keeps what stood there before.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the lot changed since it was read.
        NotFound: when there is no such lot.
    """
    lot, form = get_lot(session, lot_id), typed.checked()
    if lot.row_version != row_version:
        raise Conflict(f"Lot {lot.code} was changed in the meantime.")
    before = "\n".join(row.line for row in _own_rows(lot))
    rows = [row.as_read() for row in form.parts]
    usual = [row for row in MaterialForm.of(lot.material).text["parts"] if not row.blank] if lot.material else []
    lot.composition = "" if rows == usual or not rows else json.dumps([row.text for row in rows], sort_keys=True)
    after = "\n".join(row.line for row in _own_rows(lot))
    lot.log("composition", by=form.by, at=now(), old=before or "as the material", new=after or "as the material")


def lot_parts(lot: Lot) -> tuple[Part, ...]:
    """Return the composition that was given for a lot, % w/w of it; empty where it is that of its material."""
    return tuple(row.checked().part for row in LotCompositionForm(parts=_own_rows(lot), by="-").checked().parts)


def parts_as_weighed(known: Mapping[int, Lot], line: BatchLine, usual: tuple[Part, ...]) -> tuple[Part, ...]:
    """Return the composition of what was weighed on a line: that of its lots where they have one of their own.

    Portions of several lots are mixed by weight: percent = sum(grams x percent) / sum(grams). What has no lot, or a
    lot without a composition of its own, counts as the material.
    """
    portions = [(one.grams, one.lot_id) for one in line.standing if one.grams]
    lots = {lot_id: lot_parts(known[lot_id]) for _, lot_id in portions if lot_id is not None}
    if not any(lots.values()):
        return usual
    whole = sum((grams for grams, _ in portions), ZERO)
    shares = [(grams / whole, lots.get(lot_id or 0) or usual) for grams, lot_id in portions]
    return shares[0][1] if len(shares) == 1 else _mixed(shares)


def _mixed(shares: list[tuple[Decimal, tuple[Part, ...]]]) -> tuple[Part, ...]:
    """Lay the parts of several lots side by side, each with its part of the whole; equal substances stay apart."""
    return tuple(
        Part(
            inci=part.inci,
            percent=part.percent * share,
            kind=part.kind,
            nano=part.nano,
            cas=part.cas,
            may_contain=part.may_contain,
            allergens=part.allergens,
        )
        for share, parts in shares
        for part in parts
    )
