"""What to start from, in words: pH, preservation, blends, what was moved and why, and what could not be met."""

from dataclasses import dataclass

from app.reference.label_start import LabelStart
from app.work.label_reading.estimate import LabelEstimate

WHY = {
    "preservation": "the least amount at which it usually preserves",
    "blend": "the ratio of the blend it is bought in",
    "gel": "the usual dose for body",
    "pH": "worked out for the proposed pH",
    "emulsifier": "enough for the oils",
    "solubiliser": "enough for the perfume",
    "working level": "the least usual amount at which it works",
    "law": "the legal maximum for this kind of product",
    "sum": "fills up to 100 %",
    "order": "keeps the printed order and the sum",
}
UNMET = {
    "preservation": "A preservative cannot reach its usual least amount in this order and within its bounds.",
    "blend": "The ratio of the blend does not fit the printed order.",
    "gel": "A thickener cannot reach its usual dose.",
    "pH": "What is printed cannot bring it to the proposed pH.",
    "emulsifier": "There is less emulsifier than usual for these oils.",
    "solubiliser": "There is less solubiliser than usual for this perfume.",
    "law": "A name cannot be brought under its legal maximum.",
    "working level": "A chelator or antioxidant stays below its usual least amount.",
}


@dataclass(frozen=True, slots=True)
class MoveView:
    """A name that starts elsewhere than is likely, % w/w, and why."""

    name: str
    before: float
    after: float
    why: str


@dataclass(frozen=True, slots=True)
class StartWords:
    """The start in words."""

    preservation: str
    ph: str
    blends: tuple[str, ...]
    moves: tuple[MoveView, ...]
    unmet: tuple[str, ...]


def start_words(sheet: LabelEstimate) -> StartWords | None:
    """Put the start of a list into words; None when there is none."""
    start = sheet.start
    if start is None:
        return None
    blends, moves = [], []
    for bought in start.blends:
        parts = " and ".join(
            f"{sheet.names[place].inci} ({share:g} %{', more may be added' if place in bought.on_top else ''})"
            for place, share in bought.shares.items()
        )
        blends.append(f"{parts}: {bought.name}; {bought.source}.")
    for move in start.start.moves:
        name, after = sheet.names[move.index].printed, start.percents[move.index]
        moves.append(MoveView(name, move.before, after, WHY[move.rule]))
    return StartWords(
        preservation=_preservation(start),
        ph=_ph(start, sheet),
        blends=tuple(blends),
        moves=tuple(moves),
        unmet=tuple(dict.fromkeys(UNMET[one.rule] for one in start.start.unmet)),
    )


def _preservation(start: LabelStart) -> str:
    if start.preservation is None:
        return "Preservation could not be asked."
    systems = start.preservation.systems
    names = ", ".join(one.inci for one in systems if one.acts)
    by = f", by {names}" if names else ""
    return f"By pH, amounts and charge: {start.preservation.status.value}{by}. Only a laboratory test shows it."


def _ph(start: LabelStart, sheet: LabelEstimate) -> str:
    ph = start.ph
    if ph.target is None or ph.adjuster is None:
        return f"Its pH comes out at about {ph.reached:.1f}." if ph.reached is not None else ""
    adjuster = sheet.names[ph.adjuster].inci
    serves = f" ({ph.reason} in range)" if ph.reason else ""
    words = f"Proposed pH {ph.target:.1f}{serves}."
    if ph.reached is None:
        return f"{words} It cannot be predicted here, so {adjuster} stays as likely: add it in parts, with a meter."
    return f"{words} {adjuster} is worked out for it: predicted {ph.reached:.1f}; set it with a meter."
