"""Taking what a batch really needed back into its formula, as a new step of the draft and a version."""

from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.acid_base.dosing import plan_dose
from app.science.acid_base.refit import refit
from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, to_places
from app.store.batches import Batch
from app.store.bench_ph import PhSession
from app.store.errors import NotFound
from app.work.action import action
from app.work.batches.loading import load_batch
from app.work.formulas.deeds import find
from app.work.formulas.faults import IncompleteFormula
from app.work.formulas.shelf import settle
from app.work.formulas.steps import add_step, opened
from app.work.formulas.versions import keep_in
from app.work.ph.beaker import own_line, shelf_of_batch
from app.work.ph.rewriting import Rewrite, rewritten
from app.work.ph.session_state import State, model_of, readings_of, state_of

PLACES = 4
HUNDRED, ZERO = Decimal(100), Decimal(0)


def what_was_made(session: Session, batch: Batch, state: State) -> Rewrite | None:
    """Work out the adjuster's percentage as made; None while nothing was added.

    Where the way back was used, the dose that would have met the target is taken from the fitted model instead.
    """
    if state.added_g <= 0:
        return None
    fitted = state.back_g > 0
    grams = _fitted_dose(session, batch, state) if fitted else state.added_g
    if grams is None:
        return None
    setter = own_line(batch, shelf_of_batch(session, batch))
    material = state.solution.material
    with exact_arithmetic():
        percent = to_places(HUNDRED * grams / (state.record.batch_g + grams), PLACES)
    return Rewrite(material.id, material.name, percent, setter.material_id if setter else None)


def _fitted_dose(session: Session, batch: Batch, state: State) -> Decimal | None:
    model = model_of(session, batch, state)
    belief = refit(model.model, readings_of(state)).belief if readings_of(state) else None
    dose = plan_dose(model.model, model.target, belief).value
    return None if dose is None else to_places(Decimal(str(dose * model.batch_g)), PLACES)


@action(once="as made from session {session_id}")
def take_as_made(session: Session, batch_id: int, session_id: int, *, who: str, key: str = "") -> int:
    """Write what the batch needed into the draft of its formula, keep it as a version, and give the version's id.

    Raises:
        Invalid: when nothing was added, or the draft cannot take it.
        NotFound: when the batch has no such session.
    """
    batch = load_batch(session, batch_id)
    made = _made(session, batch, session_id)
    formula = find(session, batch.version.formula_id)
    there = opened(session, formula)
    draft = settle(session, rewritten(there.draft, made), there.draft)
    note = f"As made, batch {batch.number}"
    if draft != there.draft:
        add_step(session, formula, draft, deed=note)
    return _kept(session, formula.id, note, who)


def _made(session: Session, batch: Batch, session_id: int) -> Rewrite:
    wanted = select(PhSession).where(PhSession.id == session_id, PhSession.batch_id == batch.id)
    record = session.scalar(wanted)
    if record is None:
        raise NotFound("There is no such pH session.")
    made = what_was_made(session, batch, state_of(session, batch, record, curves=False))
    if made is None:
        raise Invalid("", "Nothing was added in this session, so there is nothing to take back.")
    return made


def _kept(session: Session, formula_id: int, note: str, who: str) -> int:
    try:
        return keep_in(session, find(session, formula_id), note, who.strip()[:80]).id
    except IncompleteFormula as fault:
        raise Invalid("", f"The draft does not add up yet: {fault}") from fault
