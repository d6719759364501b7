"""Fill weights of a packing run: added, corrected by a row of their own, and judged by the packers' rules."""

import re
from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.net_content import Judged, judge_fills, tolerance_of
from app.science.numbers import exact_arithmetic, plain
from app.science.quantities import HEAVIEST_G, Quantity, parse_grams
from app.science.units import Measure
from app.store.errors import NotFound
from app.store.growing import standing
from app.store.packing import FillWeight, PackingRun
from app.work.action import action
from app.work.clock import now
from app.work.form import Field, Form, rule
from app.work.form_fields import MaybeGrams, Name
from app.work.packing.loading import open_run
from app.work.packing.runs import nominal_g, nominal_of
from app.work.people import SignedBy

MOST_AT_ONCE = 500


class Weights(Field[tuple[Decimal, ...]]):
    """Weights in grams, parted by blanks, semicolons or lines."""

    control = "area"
    lines = 3

    def read(self, text: str, at: str, form: Form) -> tuple[Decimal, ...]:
        """Return the weights in the order they were typed."""
        typed = [word for word in re.split(r"[;\s]+", re.sub(r"(?<=\d)\s+g\b", "", text)) if word]
        if not typed:
            raise Invalid(at, "Enter the weights, such as 60.2 60.4 59.9.")
        if len(typed) > MOST_AT_ONCE:
            raise Invalid(at, f"Enter at most {MOST_AT_ONCE} weights at a time; these are {len(typed)}.")
        found = tuple(parse_grams(word, at, low=Decimal(0), high=HEAVIEST_G) for word in typed)
        if not all(found):
            raise Invalid(at, "Every weight has to be above 0.")
        return found


class FillForm(Form):
    """Weights of filled units, with the tare of an empty unit where the scale shows that too."""

    weights = Weights("Weights, g", hint="Of one unit each, separated by spaces or lines.")
    tare = MaybeGrams(
        "Empty unit weighs", low=Decimal(0), high=HEAVIEST_G, hint="Taken off each weight; empty where it was tared."
    )
    who = SignedBy("Enter who weighed.")

    @rule
    def heavier_than_empty(self) -> None:
        """Refuse a filled unit that weighs no more than an empty one."""
        if self.tare is not None and min(self.weights) <= self.tare:
            raise Invalid("tare", f"A filled unit of {plain(min(self.weights))} g weighs no more than an empty one.")


class CorrectFillForm(Form):
    """A correction of one fill weight; left empty it is taken back."""

    grams = MaybeGrams("Right net weight", low=Decimal(0), high=HEAVIEST_G, hint="Empty takes it back.")
    reason = Name("Reason", "Enter why it is corrected.", longest=500, width="w20")
    who = SignedBy("Enter who corrects it.")

    @rule
    def something_was_in_it(self) -> None:
        """Refuse an empty unit."""
        if self.grams is not None and self.grams <= 0:
            raise Invalid("grams", "Enter a weight above 0, or leave it empty.")


@action(once="fill weights of run {run_id}")
def add_weights(session: Session, run_id: int, typed: FillForm, *, key: str = "") -> None:
    """Add the net weights of filled units to a run.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the run is closed.
        NotFound: when there is no such run.
    """
    run = open_run(session, run_id)
    form = typed.checked(session)
    first = max((one.n for one in run.weights), default=0) + 1
    tare = form.tare or Decimal(0)
    run.weights.extend(
        FillWeight(n=place, grams=grams - tare, tare_g=form.tare, by=form.who, at=now())
        for place, grams in enumerate(form.weights, first)
    )
    run.log("fill weights", by=form.who, at=now(), new=", ".join(f"{plain(grams - tare)} g" for grams in form.weights))
    run.touch()


@action(once="correction of fill weight {weight_id}")
def correct_weight(session: Session, run_id: int, weight_id: int, typed: CorrectFillForm, *, key: str = "") -> None:
    """Correct a fill weight by a row of its own, or take it back.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the run is closed.
        NotFound: when the run has no such weight, or it was corrected already.
    """
    run = open_run(session, run_id)
    wrong = next((one for one in standing(run.weights) if one.id == weight_id), None)
    if wrong is None or wrong.grams is None:
        raise NotFound("There is no such weight; it may have been corrected already.")
    form = typed.checked(session)
    run.weights.append(
        FillWeight(
            n=wrong.n,
            grams=form.grams,
            tare_g=wrong.tare_g,
            by=form.who,
            at=now(),
            replaces_id=wrong.id,
            reason=form.reason,
        )
    )
    new = "taken back" if form.grams is None else f"{plain(form.grams)} g"
    run.log(f"fill weight {wrong.n}", by=form.who, at=now(), old=f"{plain(wrong.grams)} g", new=new, why=form.reason)
    run.touch()


@dataclass(frozen=True, slots=True)
class Fills:
    """The fill weights of a run against the rules of its market.

    ``tolerance`` is what one unit may lack and ``values`` the fills, both in g or ml as ``nominal`` is; ``judged`` is
    None, and ``why_not`` says why, where nothing can be judged. ``grams`` are the net weights.
    """

    law: Jurisdiction
    nominal: Quantity
    grams: tuple[Decimal, ...]
    values: tuple[Decimal, ...]
    tolerance: Decimal | None
    judged: Judged | None
    why_not: str

    @property
    def unit(self) -> str:
        """``g`` or ``ml``."""
        return "g" if self.nominal.unit.measure is Measure.MASS else "ml"

    @property
    def mean_g(self) -> Decimal | None:
        """The mean net fill in grams; None without a weight."""
        return sum(self.grams, Decimal(0)) / len(self.grams) if self.grams else None

    @property
    def mean(self) -> Decimal | None:
        """The mean in the measure of the nominal content."""
        return sum(self.values, Decimal(0)) / len(self.values) if self.values else None

    @property
    def limits(self) -> tuple[Decimal, ...]:
        """The limits below the nominal content: the tolerable error, and in the EU twice that."""
        if self.tolerance is None:
            return ()
        times = (1, 2) if self.law is Jurisdiction.EU else (1,)
        return tuple(self.nominal.base - one * self.tolerance for one in times)


def fills_of(run: PackingRun) -> Fills:
    """Judge the fill weights of a run by the rules of its market, in the measure of its nominal content."""
    law, nominal, grams = run.jurisdiction, nominal_of(run), run.standing_weights
    is_mass = nominal.unit.measure is Measure.MASS
    with exact_arithmetic():
        values = grams if is_mass else tuple(one / run.density_g_ml for one in grams if run.density_g_ml)
    tolerance = tolerance_of(nominal, law)
    judged = judge_fills(nominal, values, law) if values else None
    return Fills(law, nominal, grams, values, tolerance, judged, _why_not(run, bool(grams), tolerance))


def _why_not(run: PackingRun, weighed: bool, tolerance: Decimal | None) -> str:
    if not weighed:
        return "No fill weight is recorded."
    if nominal_g(run) is None:
        return "The content is a volume and the formula has no density, so weights say nothing of it."
    if tolerance is None and run.jurisdiction is Jurisdiction.US and nominal_of(run).unit.measure is Measure.VOLUME:
        return (
            "The table of allowable variations by volume (NIST Handbook 133, table 2-6) is not shipped, so a content in"
            " volume is judged by its mean only."
        )
    return "No shipped table holds a tolerance for this content." if tolerance is None else ""


def usual_fill_g(run: PackingRun, fills: Fills) -> Decimal | None:
    """Return the fill per unit to reckon with, grams: the mean of what was weighed, else the nominal content."""
    return fills.mean_g or nominal_g(run)
