"""Readings, notes and the yield of a batch."""

from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.science.quantities import DENSEST_G_ML, HEAVIEST_G, LIGHTEST_G_ML, parse_grams
from app.science.tolerance import checks_of
from app.store.batches import PH, Batch, BatchReading
from app.work.action import action
from app.work.batches.loading import load_batch, open_batch
from app.work.clock import now
from app.work.form import Form, rule
from app.work.form_fields import LongText, MaybeGrams, MaybeNumber, Name, ShortText
from app.work.formulas.versions import formula_of
from app.work.people import SignedBy

LONGEST_READING, LONGEST_NOTE = 2_000, 10_000
SLIP = Decimal(2)  # times what is in the batch, from which on a yield is asked about (common practice)
KINDS = (PH, "appearance", "smell", "viscosity", "density", "temperature", "weight", "other")
COLDEST, HOTTEST = Decimal(-30), Decimal(250)
LIMITS = {
    PH: (Decimal(0), Decimal(14)),
    "temperature": (COLDEST, HOTTEST),
    "density": (LIGHTEST_G_ML, DENSEST_G_ML),
}


def kinds_of(batch: Batch) -> tuple[str, ...]:
    """Return what can be read of a batch: the checks of its specification first."""
    wanted = [check.what for check in checks_of(formula_of(batch.version))]
    known = {name.casefold() for name in wanted}
    return (*wanted, *(kind for kind in KINDS if kind.casefold() not in known))


class ReadingForm(Form):
    """What was read or seen of a batch; checked with that batch."""

    kind = Name("What", "Choose what was observed.")
    words = LongText("Reading", "Enter what was read or seen.", longest=LONGEST_READING)
    temperature = MaybeNumber("At °C", column="temperature_c", low=COLDEST, high=HOTTEST)
    who = SignedBy("Enter who read it.", column="taken_by")

    @rule
    def a_number_where_one_is_wanted(self) -> None:
        """Refuse words where a number is wanted."""
        self.number()

    def number(self) -> Decimal | None:
        """Return what was read as a number, where such a reading is one.

        Raises:
            Invalid: at ``words``, when it cannot be read.
        """
        kind, text = self.kind, self.words
        checks = checks_of(formula_of(self.given.version))
        check = next((one for one in checks if one.answers_to(kind)), None)
        if check is not None and check.is_number and kind not in (PH, "temperature", "weight", "density"):
            return parse_number(text.removesuffix(check.unit).strip(), "words", low=Decimal(-(10**9)))
        if kind == "weight":
            return parse_grams(text, "words", low=Decimal(0), high=HEAVIEST_G)
        limits = LIMITS.get(kind)
        return parse_number(text, "words", low=limits[0], high=limits[1]) if limits else None


@action(once="reading of batch {batch_id}")
def add_reading(session: Session, batch_id: int, typed: ReadingForm, *, key: str = "") -> None:
    """Add an observation to a batch; a pH, temperature, density or weight is read as a number.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the batch is decided already.
    """
    batch = open_batch(session, batch_id)
    form = typed.checked(batch)
    batch.record(BatchReading(**form.columns(), value=form.number(), taken_at=now()), by=form.who)


class NoteForm(Form):
    """A note on a batch."""

    note = LongText("Note", "Enter the note first.", longest=LONGEST_NOTE)
    who = SignedBy("Enter who adds the note.")


@action(once="note on batch {batch_id}")
def add_note(session: Session, batch_id: int, typed: NoteForm, *, key: str = "") -> None:
    """Add a dated note; the only way to correct a batch that is decided.

    Raises:
        Faults: at ``note``, when nothing is written, or at ``who``.
    """
    batch = load_batch(session, batch_id)
    form = typed.checked(session)
    batch.log("note", by=form.who, at=now(), new=form.note)


class YieldForm(Form):
    """How much finished product came out; checked with its batch. ``sure`` repeats an amount that was asked about."""

    amount = MaybeGrams("Yield, g", low=Decimal(0), high=HEAVIEST_G)
    who = SignedBy("Enter who weighed the yield.")
    sure = ShortText("")

    @rule
    def no_slip(self) -> None:
        """Ask about twice what is in the batch or more."""
        held = self.given.held_g
        if self.amount is not None and held and self.amount >= SLIP * held and self.sure != self.text["amount"].strip():
            words = f"{plain(self.amount)} g is more than the {plain(held)} g in the batch. Is it right?"
            raise Invalid("sure", words)


@action()
def record_yield(session: Session, batch_id: int, typed: YieldForm) -> None:
    """Record how much finished product came out, in grams.

    Raises:
        Faults: with everything that is wrong; at ``sure``, when it is twice what is in the batch or more.
        Conflict: when the batch is decided already.
    """
    batch = open_batch(session, batch_id)
    form = typed.checked(batch)
    if form.amount == batch.yield_g:
        return
    old, new = ("" if one is None else f"{plain(one)} g" for one in (batch.yield_g, form.amount))
    batch.log("yield", by=form.who, at=now(), old=old, new=new)
    batch.yield_g = form.amount


def yield_percent(batch: Batch) -> Decimal | None:
    """Return the yield in % of what was weighed in, less the water lost while heating; None until both are known."""
    held = batch.held_g
    return None if batch.yield_g is None or not held else batch.yield_g / held * 100
