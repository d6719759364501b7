"""Preservation: what each preserving substance can do at this pH, and what nothing in the formula covers.

The verdict words say only what was checked, the pH and the amount against the usual ranges:

========================= =============================================================================
``within its pH window``  pH and amount lie inside the usual ranges
``near the window's edge`` inside, but within 0.3 pH of the limit: measure and keep it there
``outside its pH window`` the pH lies outside the usual range
``below the usual amount`` the pH fits, the amount does not reach the usual level
``support only``          it helps another preservative; it is not one by itself
``not for this use``      the shipped EU table knows it in rinse-off products only
``no water phase``        there is no water for it to work in
``pH not known``          no pH was given and none can be predicted
========================= =============================================================================
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

EDGE_PH = 0.3
ANHYDROUS_PERCENT = 1.0  # less water than this and nothing grows until water gets in (from memory)
LITTLE_WATER_PERCENT = 10.0
HIGH_ALCOHOL = 0.20  # of water + alcohol by mass, from where alcohol itself preserves (from memory)
CHALLENGE = (
    "What decides is a challenge test by a laboratory (ISO 11930 or the pharmacopoeia); this is a check of pH and "
    "amounts against usual ranges, nothing more."
)
ORGANISMS = {
    "gram_positive": "gram-positive bacteria",
    "gram_negative": "gram-negative bacteria",
    "yeast": "yeast",
    "mould": "mould",
}


class Verdict(StrEnum):
    """What was found about one substance; see the table of the module."""

    WITHIN = "within its pH window"
    EDGE = "near the window's edge"
    OUTSIDE = "outside its pH window"
    LITTLE = "below the usual amount"
    SUPPORT = "support only"
    WRONG_USE = "not for this use"
    NO_WATER = "no water phase"
    UNKNOWN = "pH not known"


@dataclass(frozen=True, slots=True)
class Preservative:
    """A preserving substance as the table knows it.

    Attributes:
        inci: INCI name.
        ph_low, ph_high: usual pH range.
        use_low, use_high: usual level, % w/w of the formula.
        support: it only helps others.
        ionic: ``acid``, ``neutral`` or ``cationic``.
        rinse_off_only: whether the EU table allows nothing else.
        cover: good, some or weak for each of ORGANISMS.
        remark: what to watch.
    """

    inci: str
    ph_low: float
    ph_high: float
    use_low: float
    use_high: float
    support: bool
    ionic: str
    rinse_off_only: bool
    cover: dict[str, str]
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Dosed:
    """A preservative in a formula: % w/w of the substance, the same as acid, and the un-ionised share 0..1.

    ``undissociated`` is None where ionisation is not how it works (cationics).
    """

    preservative: Preservative
    percent: float
    as_acid_percent: float
    undissociated: float | None


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the formula is: pH (None when not known), water and alcohol in % w/w, use, and its chelators by name."""

    ph: float | None
    water_percent: float
    alcohol_percent: float
    leave_on: bool
    chelators: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class System:
    """One substance judged: active part in % w/w of the formula, pH window, verdict and the reason in words."""

    inci: str
    percent: float
    active_percent: float
    undissociated_fraction: float | None
    ph_window: tuple[float, float]
    verdict: Verdict
    why: str


@dataclass(frozen=True, slots=True)
class Preservation:
    """Every substance judged, what remains open, and hints for the pack."""

    systems: tuple[System, ...]
    gaps: tuple[str, ...]
    hints: tuple[str, ...]


def assess(dosed: Sequence[Dosed], around: Surroundings) -> Preservation:
    """Judge the preservation of a formula as far as pH, amounts and water tell."""
    systems = tuple(_judge(d, around) for d in dosed)
    return Preservation(systems, tuple(_gaps(dosed, systems, around)), _hints(around))


def _judge(dosed: Dosed, around: Surroundings) -> System:
    known = dosed.preservative
    share = 1.0 if dosed.undissociated is None else dosed.undissociated
    verdict = _verdict(dosed, around)
    return System(
        inci=known.inci,
        percent=dosed.percent,
        active_percent=dosed.as_acid_percent * share,
        undissociated_fraction=dosed.undissociated,
        ph_window=(known.ph_low, known.ph_high),
        verdict=verdict,
        why=" ".join(_why(dosed, around, verdict)),
    )


def _verdict(dosed: Dosed, around: Surroundings) -> Verdict:
    known = dosed.preservative
    if around.water_percent < ANHYDROUS_PERCENT:
        return Verdict.NO_WATER
    if known.rinse_off_only and around.leave_on:
        return Verdict.WRONG_USE
    if around.ph is None:
        return Verdict.UNKNOWN
    room = _room(known, around.ph)
    if room < 0:
        return Verdict.OUTSIDE
    return _amount_verdict(dosed, Verdict.EDGE if room < EDGE_PH else Verdict.WITHIN)


def _room(known: Preservative, ph: float) -> float:
    """Give the pH units left to the nearer end of the window; an acid only loses its action upwards."""
    above = known.ph_high - ph
    return above if known.ionic == "acid" else min(above, ph - known.ph_low)


def _amount_verdict(dosed: Dosed, fits: Verdict) -> Verdict:
    if dosed.percent < dosed.preservative.use_low:
        return Verdict.LITTLE
    return Verdict.SUPPORT if dosed.preservative.support else fits


def _why(dosed: Dosed, around: Surroundings, verdict: Verdict) -> list[str]:
    known = dosed.preservative
    if verdict is Verdict.NO_WATER:
        return ["Without a water phase there is nothing for it to work in."]
    at = "pH not known" if around.ph is None else f"pH {around.ph:.1f}"
    words = [f"{at}; usual window {known.ph_low:g} to {known.ph_high:g}."]
    if dosed.undissociated is not None and dosed.undissociated < 0.995:
        words.append(f"{_two(100 * dosed.undissociated)} % of it is un-ionised, which is the form that acts.")
    if known.ionic == "acid" and around.ph is not None:
        active = dosed.as_acid_percent * (dosed.undissociated or 0.0)
        words.append(f"{_two(dosed.as_acid_percent)} % as acid, of which {_two(active)} % acts.")
    if verdict is Verdict.LITTLE:
        words.append(f"{_two(dosed.percent)} % is below the usual {known.use_low:g} to {known.use_high:g} %.")
    elif dosed.percent > known.use_high:
        words.append(f"{_two(dosed.percent)} % is above the usual {known.use_high:g} %.")
    if verdict is Verdict.SUPPORT:
        words.append("It helps a preservative; by itself it is not one.")
    if verdict is Verdict.WRONG_USE:
        words.append("The shipped EU table allows it in rinse-off products only.")
    return [*words, *([f"Note: {known.remark}."] if known.remark else []), *_leaves_out(known)]


def _two(value: float) -> str:
    """Write two significant figures, plainly."""
    return f"{float(f'{value:.2g}'):g}"


def _leaves_out(known: Preservative) -> list[str]:
    weak = [name for key, name in ORGANISMS.items() if known.cover[key] == "weak"]
    return [f"Weak against {', '.join(weak)}."] if weak else []


def _gaps(dosed: Sequence[Dosed], systems: Sequence[System], around: Surroundings) -> list[str]:
    if around.water_percent < ANHYDROUS_PERCENT:
        return [
            "There is hardly any water, and germs need water to grow; water that gets in during use (wet hands, "
            "shower) changes that.",
            CHALLENGE,
        ]
    alcohol = around.alcohol_percent / (around.alcohol_percent + around.water_percent)
    if alcohol >= HIGH_ALCOHOL:
        return [
            f"Alcohol is {alcohol:.0%} of water and alcohol together: it preserves by itself from about 20 %, if it "
            "stays in. Other preservatives were checked for pH and amount only.",
            CHALLENGE,
        ]
    gaps = [] if dosed else ["Water, and no preservative that the tables know: this formula is open to germs."]
    gaps += (
        []
        if around.water_percent >= LITTLE_WATER_PERCENT
        else ["Little water: the water activity decides; measure it."]
    )
    gaps += _uncovered(dosed, systems) if dosed else []
    if not around.chelators:
        gaps.append("No chelator: gram-negative bacteria resist better without one.")
    return [*gaps, CHALLENGE]


def _uncovered(dosed: Sequence[Dosed], systems: Sequence[System]) -> list[str]:
    acting = [
        d.preservative
        for d, s in zip(dosed, systems, strict=True)
        if s.verdict in {Verdict.WITHIN, Verdict.EDGE, Verdict.SUPPORT}
    ]
    if not any(not p.support for p in acting):
        return ["No preservative here has both its pH and its amount: nothing counts as covered."]
    gaps = []
    for key, name in ORGANISMS.items():
        best = {p.cover[key] for p in acting}
        if "good" not in best:
            level = "only partly covered" if "some" in best else "hardly covered"
            gaps.append(f"{name[0].upper()}{name[1:]}: {level} by what is in its window.")
    return gaps


def _hints(around: Surroundings) -> tuple[str, ...]:
    if around.water_percent < ANHYDROUS_PERCENT:
        return ("Pack: keep water out; a dry spatula or a tube rather than wet fingers in a jar.",)
    return ("Pack: a pump or tube brings in less than an open jar; a jar needs more reserve.",)
