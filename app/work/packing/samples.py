"""Samples kept of a run: where, until when, what was seen when they were looked at, and when they were thrown away.

How long is the maker's to decide; shelf life and a year more is usual (common practice).
"""

from dataclasses import dataclass
from datetime import date

from sqlalchemy import case, func, select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.keeping_time import add_months
from app.store.errors import Conflict, NotFound
from app.store.packing import PackingRun, RetainedSample, SampleLook
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults, Form, rule
from app.work.form_fields import DayOrToday, LongText, MaybeDay, Name, ShortText
from app.work.one_after_another import rows_after
from app.work.packing.loading import open_run
from app.work.packing.runs import Units
from app.work.people import SignedBy, person_named
from app.work.products.product_form import Months

USUAL_MONTHS = 36  # where no best-before date is printed: 24 of use and 12 more (common practice)
AFTER_DATE = 12


class SampleForm(Form):
    """Units of a run that are kept."""

    units = Units("Units kept")
    place = Name("Place", "Enter where they are kept.", longest=120)
    keep_until = MaybeDay("Keep until", hint="Shelf life and a year more is usual.")
    look_months = Months("Check every, months", width="w4", hint="Leave empty for none.")
    notes = ShortText("Notes", longest=500, width="w20")
    who = SignedBy("Enter who keeps them.")

    @rule
    def something_is_kept(self) -> None:
        """Refuse no units, and no date."""
        if self.units < 1:
            raise Invalid("units", "Enter how many units are kept.")
        if self.keep_until is None:
            raise Invalid("keep_until", "Enter until when they are kept.")


class LookForm(Form):
    """What somebody saw when a sample was looked at."""

    looked_on = DayOrToday("Day", hint="Leave empty for today.")
    seen = LongText("What was seen", lines=2, longest=2000, hint="Look, smell, pH, weight, pack.")
    units_used = Units("Units opened for it")
    who = SignedBy("Enter who looked.")

    @rule
    def something_was_seen(self) -> None:
        """Refuse an empty look."""
        if not self.seen:
            raise Invalid("seen", "Enter what was seen, also when nothing changed.")


def usual_sample(run: PackingRun, *, who: str = "") -> SampleForm:
    """Return the form of a sample with the usual time: the printed date and a year more."""
    until = add_months(run.best_before, AFTER_DATE) if run.best_before else add_months(run.packed_on, USUAL_MONTHS)
    return SampleForm(units="2", keep_until=until.isoformat(), look_months="6", who=who)


@action(once="sample of run {run_id}")
def keep_sample(session: Session, run_id: int, typed: SampleForm, *, key: str = "") -> int:
    """Keep units of a run as a sample and return its id; they no longer count for the stock.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the run is closed.
        NotFound: when there is no such run.
    """
    run = open_run(session, run_id)
    form = typed.checked(session)
    faults = []
    left = run.units_filled - run.units_spoilt - run.units_sampled
    if form.units > left:
        faults.append(Invalid("units", f"Only {left} good units are recorded; enter the units filled first."))
    if form.keep_until is not None and form.keep_until < run.packed_on:
        faults.append(Invalid("keep_until", "That is before the day of packing."))
    if faults:
        raise Faults(faults)
    sample = RetainedSample(**form.columns(), kept_on=run.packed_on)
    sample.look_on = _look_on(sample)
    run.samples.append(sample)
    run.units_sampled += form.units
    run.log("sample kept", by=form.who, at=now(), new=f"{form.units} units, {form.place}, until {form.keep_until}")
    session.flush()
    return sample.id


def get_sample(session: Session, sample_id: int) -> RetainedSample:
    """Return one sample.

    Raises:
        NotFound: when there is none.
    """
    found = session.get(RetainedSample, sample_id)
    if found is None:
        raise NotFound("There is no such sample.")
    return found


def _kept(session: Session, sample_id: int) -> RetainedSample:
    sample = get_sample(session, sample_id)
    if sample.discarded_on is not None:
        raise Conflict("This sample is not kept any more.")
    return sample


def units_left(sample: RetainedSample) -> int:
    """Return the units of a sample that were not opened yet."""
    return 0 if sample.discarded_on else sample.units - sum(look.units_used for look in sample.looks)


@action(once="look at sample {sample_id}")
def look_at_sample(session: Session, sample_id: int, typed: LookForm, *, key: str = "") -> None:
    """Write what was seen when a sample was looked at.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it was thrown away.
        NotFound: when there is no such sample.
    """
    sample = _kept(session, sample_id)
    form = typed.checked(session)
    faults = []
    if form.units_used > units_left(sample):
        faults.append(Invalid("units_used", f"Only {units_left(sample)} are left."))
    if form.looked_on < sample.kept_on:
        faults.append(Invalid("looked_on", "That is before it was kept."))
    if faults:
        raise Faults(faults)
    sample.looks.append(SampleLook(**form.columns(), at=now()))
    sample.look_on = _look_on(sample)


@action()
def discard_sample(session: Session, sample_id: int, *, who: str) -> None:
    """Note that a sample was thrown away today.

    Raises:
        Invalid: at ``who``.
        Conflict: when it was thrown away already.
        NotFound: when there is no such sample.
    """
    sample = _kept(session, sample_id)
    sample.discarded_by = person_named(session, who, "who", "Enter who throws it away.")
    sample.discarded_on = today()


def _look_on(sample: RetainedSample) -> date | None:
    if sample.look_months is None or units_left(sample) < 1:
        return None
    last = max((look.looked_on for look in sample.looks), default=sample.kept_on)
    return add_months(last, sample.look_months)


@dataclass(frozen=True, slots=True)
class SampleRow:
    """A sample with its run."""

    sample: RetainedSample
    run: PackingRun
    units: int
    today: date

    @property
    def is_over(self) -> bool:
        """Whether it need not be kept any longer."""
        return self.sample.keep_until < self.today

    @property
    def is_due(self) -> bool:
        """Whether it should be looked at by now."""
        look_on = self.sample.look_on
        return not self.is_over and look_on is not None and look_on <= self.today


PAGE = 100
KEPT = RetainedSample.discarded_on.is_(None)


def sample_rows(session: Session, *, discarded: bool = False, skip: int = 0) -> list[SampleRow]:
    """Return a page of the samples that are kept, or of those thrown away, the newest of these first.

    Of those that are kept, those to throw away come first, then those due to be looked at, then the others by the day
    of their next look.
    """
    day, look_on = today(), RetainedSample.look_on
    whole = select(RetainedSample, PackingRun).join(PackingRun, PackingRun.id == RetainedSample.run_id)
    if discarded:
        gone = RetainedSample.discarded_on
        asked = [whole.where(gone.is_not(None)).order_by(gone.desc(), RetainedSample.id.desc())]
    else:
        good = whole.where(KEPT, RetainedSample.keep_until >= day)
        asked = [
            whole.where(KEPT, RetainedSample.keep_until < day).order_by(RetainedSample.keep_until, RetainedSample.id),
            good.where(look_on.is_not(None)).order_by(look_on, RetainedSample.id),
            good.where(look_on.is_(None)).order_by(RetainedSample.keep_until, RetainedSample.id),
        ]
    return [SampleRow(one, run, units_left(one), day) for one, run in rows_after(session, asked, skip, PAGE + 1)]


@dataclass(frozen=True, slots=True)
class SampleCounts:
    """How many samples can be thrown away, and how many are due to be looked at."""

    over: int
    due: int


def count_samples(session: Session) -> SampleCounts:
    """Count the samples that somebody has to do something with."""
    day = today()
    over = select(func.count(RetainedSample.id)).where(KEPT, RetainedSample.keep_until < day)
    # Those due are counted off the index of looks; a second condition would have all that is kept be read instead.
    not_over = case((RetainedSample.keep_until >= day, RetainedSample.id))
    due = select(func.count(not_over)).where(KEPT, RetainedSample.look_on <= day)
    return SampleCounts(session.scalar(over) or 0, session.scalar(due) or 0)


def any_discarded(session: Session) -> bool:
    """Return whether any sample was thrown away."""
    gone = select(RetainedSample.id).where(RetainedSample.discarded_on.is_not(None)).limit(1)
    return session.scalar(gone) is not None
