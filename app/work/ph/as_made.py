"""Taking what a batch really needed back into its formula, as a new step of the draft and a version."""

from dataclasses import dataclass, replace
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.acid_base.dosing import plan_dose
from app.science.acid_base.refit import refit
from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, parse_number, plain, to_places
from app.store.batches import Batch
from app.store.bench_ph import PhSession
from app.store.engine import Store
from app.store.errors import NotFound
from app.work.batches.loading import load_batch
from app.work.formulas.deeds import find
from app.work.formulas.draft import Draft, DraftLine
from app.work.formulas.reading import NotSound
from app.work.formulas.shelf import read_shelf, settle
from app.work.formulas.steps import add_step, opened
from app.work.formulas.versions import keep_in
from app.work.once import earlier_result, remember, scoped
from app.work.ph.beaker import own_line, shelf_of_batch
from app.work.ph.session_state import State, model_of, readings_of, state_of

PLACES = 4
HUNDRED, ZERO = Decimal(100), Decimal(0)


@dataclass(frozen=True, slots=True)
class AsMade:
    """What a session teaches the formula: the adjuster in % of the finished batch, and how that was found."""

    material_id: int
    material: str
    replaces_id: int
    percent: Decimal
    fitted: bool


def what_was_made(session: Session, batch: Batch, state: State) -> AsMade | None:
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
    return AsMade(material.id, material.name, setter.material_id if setter else material.id, percent, fitted)


def _fitted_dose(session: Session, batch: Batch, state: State) -> Decimal | None:
    model = model_of(session, batch, state)
    belief = refit(model.model, readings_of(state)).belief if readings_of(state) else None
    dose = plan_dose(model.model, model.target, belief).value
    return None if dose is None else to_places(Decimal(str(dose * model.batch_g)), PLACES)


def take_as_made(store: Store, batch_id: int, session_id: int, *, who: str, key: str = "") -> int:
    """Write what the batch needed into the draft of its formula, keep it as a version, and give the version's id.

    Raises:
        Invalid: when nothing was added, or the draft cannot take it.
        NotFound: when the batch has no such session.
    """
    key = scoped(f"as made from session {session_id}", key)
    with store.transaction() as session:
        earlier = earlier_result(session, key)
        if earlier is not None:
            return int(earlier)
        batch = load_batch(session, batch_id)
        made = _made(session, batch, session_id)
        formula = find(session, batch.version.formula_id)
        there = opened(session, formula)
        draft = settle(session, with_percent(there.draft, made, _name(session, made)), there.draft)
        note = f"As made, batch {batch.number}"
        if draft != there.draft:
            add_step(session, formula, draft, deed=note)
        version = _kept(session, formula.id, note, who)
        remember(session, key, str(version))
        return version


def _made(session: Session, batch: Batch, session_id: int) -> AsMade:
    wanted = select(PhSession).where(PhSession.id == session_id, PhSession.batch_id == batch.id)
    record = session.scalar(wanted)
    if record is None:
        raise NotFound("There is no such pH session.")
    made = what_was_made(session, batch, state_of(session, batch, record, curves=False))
    if made is None:
        raise Invalid("", "Nothing was added in this session, so there is nothing to take back.")
    return made


def _name(session: Session, made: AsMade) -> str:
    return read_shelf(session, {made.material_id})[made.material_id].name


def _kept(session: Session, formula_id: int, note: str, who: str) -> int:
    try:
        return keep_in(session, find(session, formula_id), note, who.strip()[:80]).id
    except NotSound as fault:
        raise Invalid("", f"The draft does not add up yet: {fault}") from fault


def with_percent(draft: Draft, made: AsMade, name: str) -> Draft:
    """Give the draft with the adjuster at its percentage as made; the rest keeps its proportions.

    Raises:
        Invalid: when the formula is not written in % w/w, or a line of it cannot be read.
    """
    if draft.basis != "w/w":
        raise Invalid("", "The formula is not written in % w/w; change its basis first, then take this back.")
    line = _line_to_change(draft, made)
    changed = replace(line, typed=name, material_id=made.material_id, amount=plain(made.percent), qs=False)
    there = line.id in {old.id for old in draft.lines}
    written = draft.with_line(changed) if there else replace(draft, lines=(*draft.lines, changed))
    return written if any(one.qs for one in written.lines) else _closed(written, changed)


def _line_to_change(draft: Draft, made: AsMade) -> DraftLine:
    lines = draft.in_page_order()
    for wanted in (made.material_id, made.replaces_id):
        found = [line for line in lines if line.material_id == wanted]
        if found:
            return found[-1]
    phase = draft.phases[-1].id if draft.phases else "p1"
    return DraftLine(f"ph{made.material_id}", phase)


def _closed(draft: Draft, kept: DraftLine) -> Draft:
    """Scale the lines beside ``kept`` so that the whole is 100 again."""
    others = [line for line in draft.lines if line.id != kept.id and line.amount.strip()]
    amounts = {line.id: parse_number(line.amount, "") for line in others}
    rest = HUNDRED - parse_number(kept.amount, "")
    with exact_arithmetic():
        whole = sum(amounts.values(), ZERO)
        if whole <= 0:
            return draft
        scaled = {key: to_places(value * rest / whole, PLACES) for key, value in amounts.items()}
        scaled[max(scaled, key=lambda key: scaled[key])] += rest - sum(scaled.values(), ZERO)
    lines = tuple(replace(line, amount=plain(scaled[line.id])) if line.id in scaled else line for line in draft.lines)
    return replace(draft, lines=lines)
