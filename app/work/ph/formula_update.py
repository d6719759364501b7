"""Updating a formula from a batch: the acid or base at the percentage that is really in the batch."""

from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.acid_base.belief import InputBelief
from app.science.acid_base.bench import trusted_readings
from app.science.acid_base.dosing import dose_to, ph_after
from app.science.acid_base.refit import refit
from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, to_places
from app.store.batches import Batch
from app.store.bench_ph import PhSession
from app.store.errors import NotFound
from app.work.action import action
from app.work.batches.loading import load_batch
from app.work.formulas.editing import find
from app.work.formulas.faults import IncompleteFormula
from app.work.formulas.pinned_materials import match_materials
from app.work.formulas.steps import add_step, opened
from app.work.formulas.versions import keep_in
from app.work.ph.batch_mixture import materials_of, sets_ph
from app.work.ph.rewriting import Rewrite, rewritten
from app.work.ph.session_state import State, model_of, readings_of, state_of
from app.work.typed_text import one_line

PLACES, PLACES_G = 4, 4
LONGEST_NAME = 80
HUNDRED, ZERO = Decimal(100), Decimal(0)


@dataclass(frozen=True, slots=True)
class FormulaUpdate:
    """What a batch teaches its formula about the acid or base that set its pH; all of it is shown beforehand.

    Attributes:
        material_id, name: of the acid or base.
        in_sessions_g: of ``grams``, what this session added.
        grams: all of it in the record: weighed with the batch, in earlier sessions and in this one.
        counter_name, counter_g: what was added to go back, and how much.
        cancelled_g: grams of the acid or base that the correction cancelled. It is what the fitted model sees as too
            much: with that much less, and without the correction, the batch would have the same pH.
        whole_g: everything in the record, without the correction and what it cancelled.
        percent: % w/w for the formula: (grams - cancelled) / whole.
        replaces_id: the line of the formula that gives it its place, where the formula has no line of it.
        left_out: names of further acids and bases that were planned and not added; their lines leave the formula.
        left_out_ids: their materials.
    """

    material_id: int
    name: str
    in_sessions_g: Decimal
    grams: Decimal
    counter_name: str
    counter_g: Decimal
    cancelled_g: Decimal
    whole_g: Decimal
    percent: Decimal
    replaces_id: int | None
    left_out: tuple[str, ...]
    left_out_ids: tuple[int, ...]


def formula_update(session: Session, batch: Batch, state: State) -> FormulaUpdate | None:
    """Return what a session teaches the formula; None while nothing was added, or where it cannot be worked out.

    Lines that are not weighed count as planned, but an acid or base only as far as it was added.
    """
    if state.added_g <= 0 and state.counter_g <= 0:
        return None
    shelf = materials_of(session, batch)
    held = {}
    for line in batch.lines:
        not_weighed_g = ZERO if sets_ph(line, shelf) else line.target_g
        held[line.id] = not_weighed_g if line.held_g is None else line.held_g
    material_id = state.record.material_id
    with exact_arithmetic():
        grams = sum((held[line.id] for line in batch.lines if line.material_id == material_id), ZERO)
        cancelled = _cancelled_g(session, batch, state, grams) if state.counter_g > 0 else ZERO
        if cancelled is None or grams <= 0:
            return None
        whole = sum(held.values(), ZERO) - state.counter_g - cancelled
        percent = to_places(HUNDRED * (grams - cancelled) / whole, PLACES)
    own = [line for line in batch.lines if not line.added_at_bench]
    unused = [line for line in own if line.material_id != material_id and sets_ph(line, shelf) and not held[line.id]]
    has_line = any(line.material_id == material_id for line in own)
    return FormulaUpdate(
        material_id=material_id,
        name=state.name,
        in_sessions_g=state.added_g,
        grams=grams,
        counter_name=state.counter_solution.material.name if state.counter_solution else "",
        counter_g=state.counter_g,
        cancelled_g=cancelled,
        whole_g=whole,
        percent=percent,
        replaces_id=unused[-1].material_id if unused and not has_line else None,
        left_out=tuple(line.name for line in unused),
        left_out_ids=tuple(line.material_id for line in unused),
    )


def _cancelled_g(session: Session, batch: Batch, state: State, most: Decimal) -> Decimal | None:
    """Return the grams of the adjuster that the counter-adjuster cancelled.

    The fitted model gives the pH of the batch as it stands, and the dose of the adjuster alone that leads to the same
    pH; the difference to what was added is what the correction cancelled.
    """
    try:
        model = model_of(session, batch, state)
    except Invalid:
        return None
    trusted, _ = trusted_readings(model, readings_of(state))
    belief = refit(model.model, trusted).belief if trusted else InputBelief.prior(model.model)
    done = np.array([[float(state.added_g), float(state.counter_g)]]) / model.batch_g
    ph = ph_after(model.model, done, belief) - belief.offset
    alone = dose_to(model.model, belief.centre[None, :], ph, np.zeros((1, 2)))
    cancelled = to_places(state.added_g - Decimal(str(float(alone[0]) * model.batch_g)), PLACES_G)
    return min(max(cancelled, ZERO), most)


@action(once="formula updated from session {session_id}")
def update_formula(session: Session, batch_id: int, session_id: int, *, who: str, key: str = "") -> int:
    """Write what the batch really holds into the draft of its formula, save it as a version, and return its id.

    Raises:
        Invalid: when nothing was added, or the draft cannot take it.
        NotFound: when the batch has no such session.
    """
    batch = load_batch(session, batch_id)
    record = session.scalar(select(PhSession).where(PhSession.id == session_id, PhSession.batch_id == batch.id))
    if record is None:
        raise NotFound("There is no such pH session.")
    update = formula_update(session, batch, state_of(session, batch, record, curves=False))
    if update is None:
        raise Invalid("", "Nothing was added in this session, so the formula stays as it is.")
    formula = find(session, batch.version.formula_id)
    current = opened(session, formula)
    wanted = Rewrite(update.material_id, update.name, update.percent, update.replaces_id)
    draft = match_materials(session, rewritten(current.draft, wanted, leaving=update.left_out_ids), current.draft)
    note = f"As made, batch {batch.number}"
    if draft != current.draft:
        add_step(session, formula, draft, change=note)
    try:
        return keep_in(session, find(session, formula.id), note, one_line(who, "who", longest=LONGEST_NAME)).id
    except IncompleteFormula as fault:
        raise Invalid("", f"The draft does not add up yet: {fault}") from fault
