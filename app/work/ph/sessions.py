"""Starting and ending the pH session of a batch, and what the page of it shows."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import plain, plain_or_empty, to_places
from app.science.quantities import HEAVIEST_G
from app.store.batches import Batch, BatchReading
from app.store.bench_ph import DropWeight, PhSession
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.work.action import action
from app.work.batches.loading import CLOSED, load_batch, log, open_batch
from app.work.clock import now
from app.work.form import Faults, Field, Form
from app.work.form_fields import Grams, Number, row_number
from app.work.formulas.pinned_materials import pin, read_shelf
from app.work.formulas.versions import formula_of
from app.work.people import SignedBy
from app.work.ph.batch_mixture import adjuster_line, materials_of, mixture_in_batch
from app.work.ph.droppers import droppers
from app.work.ph.formula_update import FormulaUpdate, formula_update
from app.work.ph.mixture import has_water, mixture_of
from app.work.ph.session_state import State, entries_of, sessions_of, state_of
from app.work.ph.solutions import Solution, as_solution, solutions_on_shelf
from app.work.typed_text import one_line

NO_WATER = "There is no water in this batch, and without water there is no pH."


@dataclass(frozen=True, slots=True)
class SessionOffer:
    """What the form that starts a session offers and is filled with."""

    solutions: tuple[Solution, ...]
    material_id: int | None
    target: str
    batch_g: str
    planned: tuple[str, ...]
    nothing: str


@dataclass(frozen=True, slots=True)
class BenchPage:
    """Everything the bench page of a batch shows."""

    batch: Batch
    closed: bool
    running: State | None
    ended: tuple[State, ...]
    start: SessionOffer
    droppers: tuple[DropWeight, ...]
    updates: dict[int, FormulaUpdate | None]


def look_at_session(store: Store, batch_id: int) -> BenchPage:
    """Return what the bench page of a batch shows.

    Raises:
        NotFound: when there is no such batch.
    """
    with store.reading() as session:
        batch = load_batch(session, batch_id)
        states = [state_of(session, batch, record) for record in sessions_of(session, batch_id)]
        closed = batch.state in CLOSED
        running = next((s for s in states if s.record.finished_at is None and not closed), None)
        ids = {s.material.id for s in (running.solution, running.counter_solution) if s} if running else set()
        return BenchPage(
            batch=batch,
            closed=closed,
            running=running,
            ended=tuple(s for s in states if s is not running),
            start=_offer(session, batch),
            droppers=droppers(session, ids),
            updates={s.record.id: formula_update(session, batch, s) for s in states if s is not running},
        )


def _offer(session: Session, batch: Batch) -> SessionOffer:
    shelf = materials_of(session, batch)
    wanted = formula_of(batch.version).target_ph
    target = plain_or_empty(wanted)
    setter = adjuster_line(batch, shelf, wanted)
    offered = solutions_on_shelf(session)
    chosen = setter.material_id if setter else (offered[0].material.id if offered else None)
    if setter and setter.material_id not in {s.material.id for s in offered}:
        own = as_solution(shelf[setter.material_id])
        offered = (own, *offered) if own else offered
    try:
        held = mixture_in_batch(batch, shelf, {})
        mixture_of(held.materials)
        nothing = "" if has_water(held.materials) else NO_WATER
        return SessionOffer(offered, chosen, target, plain(to_places(held.grams, 2)), held.planned, nothing)
    except Invalid as fault:
        return SessionOffer(offered, chosen, target, "", (), fault.message)


class AdjusterField(Field[int]):
    """The acid or base that is added: a material on the shelf that is a solution of one."""

    control = "choice"

    def read(self, text: str, at: str, form: Form) -> int:
        """Return its number."""
        found = row_number(text) or 0
        material = read_shelf(form.given, {found}).get(found)
        if material is None or as_solution(material) is None:
            raise Invalid(at, "Choose the acid or base that is added.")
        return material.id


class SessionForm(Form):
    """How a session starts."""

    material_id = AdjusterField("What is added")
    target = Number("Target pH", column="target_ph", high=14)
    batch_g = Grams("In the beaker, g", "Enter what is in the beaker, such as 491 g.", high=HEAVIEST_G)
    who = SignedBy("Enter who starts it.", column="started_by")


@action(once="pH session of batch {batch_id}")
def start_session(session: Session, batch_id: int, typed: SessionForm, *, key: str = "") -> int:
    """Start a session and give its id; the same form taken twice starts one.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the batch is decided, or a session runs already.
    """
    batch = open_batch(session, batch_id)
    if any(record.finished_at is None for record in sessions_of(session, batch_id)):
        raise Conflict("A pH session of this batch runs already.")
    form = typed.checked(session)
    solution = read_shelf(session, {form.material_id})[form.material_id]
    record = PhSession(batch_id=batch.id, **form.columns(), materials=pin([solution]), started_at=now())
    session.add(record)
    session.flush()
    state = state_of(session, batch, record, curves=False)
    if not has_water(mixture_in_batch(batch, materials_of(session, batch), {}).materials):
        raise Faults([Invalid("material_id", NO_WATER)])
    if state.why_not:
        raise Faults([Invalid("material_id", f"The pH of this batch cannot be worked out: {state.why_not}.")])
    batch.start(by=form.who, at=now())
    what = f"{solution.name} to pH {plain(record.target_ph)}, {plain(record.batch_g)} g in the beaker"
    log(batch, "pH session started", by=form.who, new=what)
    return record.id


def open_record(session: Session, batch_id: int, session_id: int, row_version: int) -> tuple[Batch, PhSession]:
    """Load a running session with its batch.

    Raises:
        NotFound: when the batch has no such session.
        Conflict: when it has ended, the batch is decided, or it changed since ``row_version``.
    """
    batch = open_batch(session, batch_id)
    record = session.scalar(select(PhSession).where(PhSession.id == session_id, PhSession.batch_id == batch_id))
    if record is None:
        raise NotFound("There is no such pH session.")
    if record.finished_at is not None:
        raise Conflict("This pH session has ended.")
    if record.row_version != row_version:
        raise Conflict("Something was added or read in the meantime. See what is here now, then send it again.")
    return batch, record


@action(once="end of pH session {session_id}")
def end_session(session: Session, batch_id: int, session_id: int, row_version: int, *, who: str, key: str = "") -> None:
    """End a session; its additions and readings stay in the record.

    Raises:
        Conflict: as for `open_record`.
    """
    batch, record = open_record(session, batch_id, session_id, row_version)
    readings = [entry for entry in entries_of(record) if isinstance(entry, BatchReading)]
    last = readings[-1].value if readings else None
    record.finished_at = now()
    log(
        batch,
        "pH session ended",
        by=one_line(who, "who", longest=80),
        new=f"pH {plain(last)}" if last is not None else "nothing read",
    )
    batch.start(by=who, at=now())
