"""What lies on the bench: batches in work, formulas touched last, and what wants attention."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.store.batches import Batch, BatchState
from app.store.engine import Store
from app.store.formulas import FormulaRow, FormulaVersion
from app.store.materials import MaterialRow, PriceRow
from app.store.quality import Recall
from app.store.workshop import ScaleRow, the_workshop
from app.work.backups import backup_folder, list_backups
from app.work.batches.listing import BatchRow, latest_batches
from app.work.batches.loading import CLOSED
from app.work.packing.listing import packing_wants
from app.work.stock.listing import attention
from app.work.tracing.cases import open_cases

MOST_FORMULAS = 8
MOST_BATCHES = 6
MOST_COUNTED = 20


@dataclass(frozen=True, slots=True)
class RecentFormula:
    """A formula with what the bench shows of it."""

    id: int
    code: str
    name: str
    product_type: str
    changed_at: datetime
    versions: int


@dataclass(frozen=True, slots=True)
class AttentionItem:
    """Something of the workshop that is still missing, and the page where it is mended."""

    words: str
    path: str


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything that the first page shows."""

    is_demo: bool
    formulas: tuple[RecentFormula, ...]
    open_batches: tuple[BatchRow, ...]
    decided_batches: tuple[BatchRow, ...]
    wanting: tuple[AttentionItem, ...]


IN_PROCESS = "/batches?state=in+process"


def look_at_bench(store: Store) -> Bench:
    """Gather what is in work, what was touched last and what is missing."""
    running = latest_batches(store, set(BatchState) - CLOSED, MOST_BATCHES)
    decided = latest_batches(store, CLOSED, MOST_BATCHES)
    with store.reading() as session:
        versions = (
            select(func.count(FormulaVersion.id)).where(FormulaVersion.formula_id == FormulaRow.id).scalar_subquery()
        )
        columns = (FormulaRow.id, FormulaRow.code, FormulaRow.name, FormulaRow.product_type, FormulaRow.changed_at)
        asked = select(*columns, versions).where(FormulaRow.retired_at.is_(None))
        # Both the same way round, so that the index gives the order and no other formula is looked at.
        newest = asked.order_by(FormulaRow.changed_at.desc(), FormulaRow.id.desc()).limit(MOST_FORMULAS)
        return Bench(
            is_demo=the_workshop(session).is_demo,
            formulas=tuple(RecentFormula(*row) for row in session.execute(newest)),
            open_batches=running,
            decided_batches=decided,
            wanting=(*_wanting(session), *_backup_wanting(store, session)),
        )


def _backup_wanting(store: Store, session: Session) -> list[AttentionItem]:
    """Ask for a first backup once there is something to lose."""
    if the_workshop(session).is_demo or not backup_folder(store) or list_backups(store):
        return []
    worth = session.scalar(select(FormulaRow.id).limit(1)) or session.scalar(select(MaterialRow.id).limit(1))
    return (
        [AttentionItem("There is no backup yet. Make one, and copy it to another disk.", "/workshop/backups")]
        if worth
        else []
    )


def _wanting(session: Session) -> tuple[AttentionItem, ...]:
    found = []
    if not session.scalar(select(func.count(ScaleRow.id))):
        found.append(AttentionItem("No scale is set up, so weights cannot be matched to one.", "/workshop/scales"))
    priced = select(PriceRow.id).where(PriceRow.material_id == MaterialRow.id)
    # Looked for no further than the words go: a shelf of thousands that were never priced is not read through.
    unpriced = select(MaterialRow.id).where(MaterialRow.retired_at.is_(None), ~priced.exists()).limit(MOST_COUNTED + 1)
    count = session.scalar(select(func.count()).select_from(unpriced.subquery())) or 0
    if count:
        shown = f"More than {MOST_COUNTED}" if count > MOST_COUNTED else str(count)
        noun, them = ("material has", "it") if count == 1 else ("materials have", "them")
        found.append(AttentionItem(f"{shown} {noun} no price yet; costs that use {them} say 'at least'.", "/materials"))
    stock, packing, (cases, overdue) = attention(session), packing_wants(session), open_cases(session)
    recalls = session.scalar(select(func.count(Recall.id)).where(Recall.closed_at.is_(None))) or 0
    waiting = session.scalar(select(func.count(Batch.id)).where(Batch.state == BatchState.IN_PROCESS)) or 0
    past, samples, cases_page = "/packing/finished", "/packing/samples", "/trace/cases"
    counted = (
        (stock.low, "material or packaging is low", "materials or packaging are low", "/stock?show=low"),
        (stock.expired, "lot is past its date", "lots are past their date", "/stock?show=due"),
        (stock.soon, "lot is due within 30 days", "lots are due within 30 days", "/stock?show=due"),
        (stock.held, "lot waits in quarantine", "lots wait in quarantine", "/stock?show=quarantine"),
        (packing.open_runs, "packing run is open", "packing runs are open", "/packing"),
        (packing.low, "product is low", "products are low", past),
        (packing.past, "finished product is past its date", "finished products are past their date", past),
        (packing.to_look_at, "sample is due to be looked at", "samples are due to be looked at", samples),
        (packing.to_discard, "sample can be discarded", "samples can be discarded", samples),
        (overdue, "case has to be reported and is overdue", "cases have to be reported and are overdue", cases_page),
        (cases - overdue, "case is open", "cases are open", cases_page),
        (recalls, "recall is open", "recalls are open", "/trace/recalls"),
        (waiting, "batch is in process and not decided", "batches are in process and not decided", IN_PROCESS),
    )
    found += [AttentionItem(f"{n} {one if n == 1 else many}.", path) for n, one, many, path in counted if n]
    return tuple(found)
