"""Preservation: what each preserving substance can do at this pH, and what nothing in the formula covers.

The verdict words say only what was checked, the pH, the amount and the charge against the usual ranges:

``within its pH window``
    pH and amount lie inside the usual ranges
``near the window's edge``
    inside, but within 0.3 pH of the limit: measure and keep it there
``outside its usual window, still active``
    an acid above its usual pH of which as much still acts as the least usual amount gives at the edge of the window
``outside its pH window``
    the pH lies outside the usual range
``below the usual amount``
    the pH fits, the amount does not reach the usual level
``inactivated by anionics``
    a cationic beside as much or more of an anionic surfactant, soap or polymer
``support only``
    it helps another preservative; it is not one by itself
``not for this use``
    the shipped EU table knows it in rinse-off products only
``no water phase``
    there is no water for it to work in
``pH not known``
    no pH was given and none can be predicted

A ready-made blend that is whole in the formula is judged by its own usual amount and pH, not by those of its parts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

EDGE_PH = 0.3
ANHYDROUS_PERCENT = 1.0  # less water than this and nothing grows until water gets in (from memory)
LITTLE_WATER_PERCENT = 10.0
LOW_RISK_PH = (3.0, 10.0)  # ISO 29621:2017, as quoted by testing institutes; the edge itself does not count
LOW_RISK_ALCOHOL = 20.0  # % of the product, from the same
LOW_RISK_WATER_ACTIVITY = 0.75  # from the same; computed here, so an estimate
HIGH_ALCOHOL = 0.20  # of water + alcohol by mass, from where alcohol itself preserves (from memory)
ROUNDED = 0.995  # an amount that was rounded down is still the usual amount
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


class SystemVerdict(StrEnum):
    """What was found about one substance; see the text of the module."""

    WITHIN = "within its pH window"
    EDGE = "near the window's edge"
    ACTIVE = "outside its usual window, still active"
    OUTSIDE = "outside its pH window"
    LITTLE = "below the usual amount"
    INACTIVATED = "inactivated by anionics"
    SUPPORT = "support only"
    WRONG_USE = "not for this use"
    NO_WATER = "no water phase"
    UNKNOWN = "pH not known"


ACTING = frozenset({SystemVerdict.WITHIN, SystemVerdict.EDGE, SystemVerdict.ACTIVE, SystemVerdict.SUPPORT})


class Preserved(StrEnum):
    """Whether a product is preserved as far as pH, amounts, charge and water tell; only a laboratory can say it is.

    Low risk by its nature, after ISO 29621:2017: pH below 3 or above 10, more than 20 % alcohol, a water activity
    below 0.75.
    """

    NO_WATER = "no water to preserve"
    LOW_RISK = "low risk by its nature"
    PRESERVED = "preserved"
    PARTLY = "partly preserved"
    UNSURE = "not known without its pH"
    UNPRESERVED = "not preserved"


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
class BlendDose:
    """A ready-made blend found whole in a formula: its dose and usual range, % w/w, and its usual pH where stated."""

    name: str
    percent: float
    use_low: float
    use_high: float | None = None
    ph_low: float | None = None
    ph_high: float | None = None


@dataclass(frozen=True, slots=True)
class Dosed:
    """A preservative in a formula: % w/w of the substance, the same as acid, and the un-ionised share 0..1.

    Attributes:
        undissociated: None where ionisation is not how it works (cationics).
        at_edge: the un-ionised share at the upper end of its own usual window.
        blend: the ready-made blend it comes in, when the formula holds all of one.
    """

    preservative: Preservative
    percent: float
    as_acid_percent: float
    undissociated: float | None
    at_edge: float = 1.0
    blend: BlendDose | None = None

    @property
    def least_percent(self) -> float:
        """The least usual amount, % w/w of the formula; in a blend what that comes to at the blend's least dose."""
        if self.blend is None:
            return self.preservative.use_low
        return self.percent * self.blend.use_low / self.blend.percent

    @property
    def window(self) -> tuple[float, float]:
        """The usual pH range; in a blend that of the blend, where one is stated."""
        low, high = self.preservative.ph_low, self.preservative.ph_high
        if self.blend is not None:
            low = low if self.blend.ph_low is None else self.blend.ph_low
            high = high if self.blend.ph_high is None else self.blend.ph_high
        return low, high

    @property
    def active_percent(self) -> float:
        """What acts, % w/w of the formula: the un-ionised acid where an acid acts."""
        return self.as_acid_percent * (1.0 if self.undissociated is None else self.undissociated)

    @property
    def acts_at_this_ph(self) -> bool:
        """Whether as much acts as the least usual amount gives at the upper end of its own usual window."""
        acid_per_percent = self.as_acid_percent / self.percent if self.percent else 0.0
        return self.active_percent >= self.least_percent * acid_per_percent * self.at_edge


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the formula is.

    Attributes:
        ph: None when not known.
        water_percent, alcohol_percent: % w/w.
        leave_on: whether it stays on the skin.
        chelators: by name.
        anionics: surfactants, soaps and polymers of negative charge, by name; ``anionic_percent`` their sum, % w/w.
        water_activity: estimated from what is dissolved, 0..1.
    """

    ph: float | None
    water_percent: float
    alcohol_percent: float
    leave_on: bool
    chelators: tuple[str, ...]
    anionics: tuple[str, ...] = ()
    anionic_percent: float = 0.0
    water_activity: float = 1.0


@dataclass(frozen=True, slots=True)
class PreservativeSystem:
    """One substance judged: active part in % w/w of the formula, pH window, verdict, reason, and whether it acts."""

    inci: str
    percent: float
    active_percent: float
    undissociated_fraction: float | None
    ph_window: tuple[float, float]
    verdict: SystemVerdict
    why: str
    acts: bool


@dataclass(frozen=True, slots=True)
class Preservation:
    """Every substance judged, what remains open, hints for the pack, and whether the product counts as preserved."""

    systems: tuple[PreservativeSystem, ...]
    gaps: tuple[str, ...]
    hints: tuple[str, ...]
    status: Preserved = Preserved.UNPRESERVED


def assess(dosed: Sequence[Dosed], around: Surroundings) -> Preservation:
    """Return how a formula is preserved, as far as pH, amounts, charge and water tell."""
    systems = []
    for d in dosed:
        verdict, (low, high) = _verdict(d, around), d.window
        neutral = d.preservative.ionic == "neutral" and d.percent >= d.least_percent
        at_any_usual_ph = neutral and low <= 4 and high >= 8
        systems.append(
            PreservativeSystem(
                inci=d.preservative.inci,
                percent=d.percent,
                active_percent=d.active_percent,
                undissociated_fraction=d.undissociated,
                ph_window=d.window,
                verdict=verdict,
                why=" ".join(_why(d, around, verdict)),
                acts=verdict in ACTING or (verdict is SystemVerdict.UNKNOWN and at_any_usual_ph),
            )
        )
    acting = [d.preservative for d, s in zip(dosed, systems, strict=True) if s.acts]
    gaps = _gaps(bool(dosed), acting, around)
    hint = "Pack: a pump or tube brings in less than an open jar; a jar needs more reserve."
    if around.water_percent < ANHYDROUS_PERCENT:
        hint = "Pack: keep water out; a dry spatula or a tube rather than wet fingers in a jar."
    return Preservation(tuple(systems), tuple(gaps), (hint,), _status(dosed, systems, acting, around))


def _status(
    dosed: Sequence[Dosed], systems: Sequence[PreservativeSystem], acting: Sequence[Preservative], around: Surroundings
) -> Preserved:
    if around.water_percent < ANHYDROUS_PERCENT:
        return Preserved.NO_WATER
    extreme = around.ph is not None and not LOW_RISK_PH[0] <= around.ph <= LOW_RISK_PH[1]
    if extreme or around.alcohol_percent > LOW_RISK_ALCOHOL or around.water_activity < LOW_RISK_WATER_ACTIVITY:
        return Preserved.LOW_RISK
    if all(p.support for p in acting):
        waiting = (d.preservative for d, s in zip(dosed, systems, strict=True) if s.verdict is SystemVerdict.UNKNOWN)
        return Preserved.UNSURE if any(not p.support for p in waiting) else Preserved.UNPRESERVED
    weak = [key for key in ORGANISMS if all(p.cover[key] == "weak" for p in acting)]
    return Preserved.PARTLY if weak else Preserved.PRESERVED


def _verdict(dosed: Dosed, around: Surroundings) -> SystemVerdict:
    known = dosed.preservative
    if around.water_percent < ANHYDROUS_PERCENT:
        return SystemVerdict.NO_WATER
    if known.rinse_off_only and around.leave_on:
        return SystemVerdict.WRONG_USE
    if known.ionic == "cationic" and around.anionic_percent >= dosed.percent:
        return SystemVerdict.INACTIVATED
    fits = SystemVerdict.UNKNOWN if around.ph is None else _ph_verdict(dosed, around.ph)
    if fits in (SystemVerdict.UNKNOWN, SystemVerdict.OUTSIDE):
        return fits
    if dosed.percent < dosed.least_percent * ROUNDED:
        return SystemVerdict.LITTLE
    return SystemVerdict.SUPPORT if known.support else fits


def _ph_verdict(dosed: Dosed, ph: float) -> SystemVerdict:
    """Judge the pH alone; an acid only loses its action upwards."""
    low, high = dosed.window
    acid = dosed.preservative.ionic == "acid"
    room = high - ph if acid else min(high - ph, ph - low)
    if acid and (room < 0 or dosed.blend is not None):
        if not dosed.acts_at_this_ph:
            return SystemVerdict.OUTSIDE
        return SystemVerdict.ACTIVE if room < 0 else SystemVerdict.EDGE if room < EDGE_PH else SystemVerdict.WITHIN
    return SystemVerdict.OUTSIDE if room < 0 else SystemVerdict.EDGE if room < EDGE_PH else SystemVerdict.WITHIN


def _why(dosed: Dosed, around: Surroundings, verdict: SystemVerdict) -> list[str]:
    known = dosed.preservative
    if verdict is SystemVerdict.NO_WATER:
        return ["Without a water phase there is nothing for it to work in."]
    at = "pH not known" if around.ph is None else f"pH {around.ph:.1f}"
    low, high = dosed.window
    words = [f"{at}; usual window {low:g} to {high:g}."]
    if dosed.undissociated is not None and dosed.undissociated < 0.995:
        words.append(f"{_two(100 * dosed.undissociated)} % of it is un-ionised, which is the form that acts.")
    if known.ionic == "acid" and around.ph is not None:
        words.append(f"{_two(dosed.as_acid_percent)} % as acid, of which {_two(dosed.active_percent)} % acts.")
    words += _amount_words(dosed, verdict)
    if verdict is SystemVerdict.ACTIVE:
        words.append("That is still as much as the least usual amount gives at the edge of the window; lower the pH.")
    if known.ionic == "cationic" and around.anionics:
        part = "out of action" if verdict is SystemVerdict.INACTIVATED else "partly out of action"
        words.append(f"The opposite charge of {', '.join(around.anionics)} takes it {part}.")
    if verdict is SystemVerdict.SUPPORT:
        words.append("It helps a preservative; by itself it is not one.")
    if verdict is SystemVerdict.WRONG_USE:
        words.append("The shipped EU table allows it in rinse-off products only.")
    weak = [name for key, name in ORGANISMS.items() if known.cover[key] == "weak"]
    return [
        *words,
        *([f"Note: {known.remark}."] if known.remark else []),
        *([f"Weak against {', '.join(weak)}."] if weak else []),
    ]


def _amount_words(dosed: Dosed, verdict: SystemVerdict) -> list[str]:
    if dosed.blend is not None:
        most = "" if dosed.blend.use_high is None else f" to {dosed.blend.use_high:g}"
        return [f"Part of the blend {dosed.blend.name}: {_two(dosed.blend.percent)} % of it, usual from "
                f"{dosed.blend.use_low:g}{most} %."]  # fmt: skip
    low, high = dosed.preservative.use_low, dosed.preservative.use_high
    if verdict is SystemVerdict.LITTLE:
        return [f"{_two(dosed.percent)} % is below the usual {low:g} to {high:g} %."]
    return [f"{_two(dosed.percent)} % is above the usual {high:g} %."] if dosed.percent > high else []


def _two(value: float) -> str:
    """Write two significant figures, plainly."""
    return f"{float(f'{value:.2g}'):g}"


def _gaps(any_known: bool, acting: Sequence[Preservative], around: Surroundings) -> list[str]:
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
    gaps = [] if any_known else ["Water, and no preservative that the tables know: this formula is open to germs."]
    if around.water_percent < LITTLE_WATER_PERCENT:
        gaps.append("Little water: the water activity decides; measure it.")
    if any_known and all(p.support for p in acting):
        gaps.append("No preservative here has both its pH and its amount: nothing counts as covered.")
    elif any_known:
        covers = ((name, {p.cover[key] for p in acting}) for key, name in ORGANISMS.items())
        for name, best in ((name, best) for name, best in covers if "good" not in best):
            level = "only partly covered" if "some" in best else "barely covered"
            gaps.append(f"{name[0].upper()}{name[1:]}: {level} by what acts at this pH.")
    if not around.chelators:
        gaps.append("No chelator: gram-negative bacteria resist better without one.")
    return [*gaps, CHALLENGE]
