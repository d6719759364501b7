"""The draft of a formula, exactly as typed: every field is text, so that nothing typed is ever lost."""

import json
from dataclasses import asdict, dataclass, fields, replace
from typing import Any, Self


@dataclass(frozen=True, slots=True)
class DraftPhase:
    """A phase as typed; its letter follows from its place."""

    id: str
    name: str = ""
    temperature: str = ""
    method: str = ""


@dataclass(frozen=True, slots=True)
class DraftLine:
    """A line as typed. ``amount`` is read in the basis of the draft; ``material_id`` is None until one is chosen."""

    id: str
    phase: str
    typed: str = ""
    material_id: int | None = None
    amount: str = ""
    qs: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Draft:
    """Everything that is typed on the formula page.

    Attributes:
        specification: what is read of a batch and its limits, a check on each line.
        basis: how amounts are meant: ``w/w``, ``w/v``, ``v/v``, or ``amounts`` (weights or measures of a known batch).
        density: density of the finished product in g/mL, needed for ``w/v``, ``v/v`` and sizes given as a volume.
        batch: the batch size: a mass, a volume, or a number of units (``40 units``); empty is the usual one, or the sum
            of amounts that are weights and measures.
        fill: what goes into one unit, a mass or a volume.
        product_kind: the kind of product of the pick-list; empty while none was chosen.
        special_uses: further words of exposure (``eye area``, ``spray``, ``oral``, ``under three``).
    """

    name: str = ""
    code: str = ""
    product_type: str = ""
    product_kind: str = ""
    exposure: str = "leave-on"
    special_uses: tuple[str, ...] = ()
    basis: str = "w/w"
    density: str = ""
    batch: str = ""
    fill: str = "50 g"
    loss_percent: str = ""
    target_ph: str = ""
    labour_minutes: str = ""
    notes: str = ""
    specification: str = ""
    phases: tuple[DraftPhase, ...] = ()
    lines: tuple[DraftLine, ...] = ()

    def to_json(self) -> str:
        """Write the draft as one JSON text, keys in a fixed order."""
        return json.dumps(asdict(self), ensure_ascii=False, separators=(",", ":"))

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Read a draft back; keys that this program does not know are left out."""
        values: dict[str, Any] = _known(cls, json.loads(text))
        values["special_uses"] = tuple(values.get("special_uses", ()))
        for key, kind in (("phases", DraftPhase), ("lines", DraftLine)):
            values[key] = tuple(kind(**_known(kind, row)) for row in values.get(key, ()))
        return cls(**values)

    def letter_of(self, phase_id: str) -> str:
        """Return the letter of a phase: A for the first, Z for the 26th, then A1, B1 ..."""
        place = next((n for n, phase in enumerate(self.phases) if phase.id == phase_id), 0)
        turn, letter = divmod(place, 26)
        return chr(ord("A") + letter) + (str(turn) if turn else "")

    def lines_of(self, phase_id: str) -> tuple[DraftLine, ...]:
        """Return the lines of one phase in their order."""
        return tuple(line for line in self.lines if line.phase == phase_id)

    def in_page_order(self) -> tuple[DraftLine, ...]:
        """Return the lines phase by phase; lines of a phase that is gone come last."""
        known = {phase.id for phase in self.phases}
        by_phase = [line for phase in self.phases for line in self.lines_of(phase.id)]
        return (*by_phase, *(line for line in self.lines if line.phase not in known))

    def with_line(self, line: DraftLine) -> Self:
        """Return the draft with one line exchanged for the line of the same id."""
        return replace(self, lines=tuple(line if old.id == line.id else old for old in self.lines))


def _known(kind: type, row: dict[str, Any]) -> dict[str, Any]:
    names = {f.name for f in fields(kind)}
    return {key: value for key, value in row.items() if key in names}
