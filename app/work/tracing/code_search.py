"""From what stands on a jar, a drum or a letter to the batch, lot, receiver, case or recall it means."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store.batches import Batch
from app.store.distribution import Receiver
from app.store.packing import PackingRun
from app.store.quality import CaseFile, Recall
from app.store.stock import Lot
from app.store.tracing import batch_nodes, typed_as, variants

MOST_WORDS, MOST_FOUND = 8, 50


@dataclass(frozen=True, slots=True)
class SearchHit:
    """Something a code may mean: what it is, its name, and the page of its trace."""

    kind: str
    code: str
    words: str
    path: str


def find_code(session: Session, code: str) -> list[SearchHit]:
    """Return everything that a code means, exactly: a batch number, the code on a pack, a lot of ours or a supplier's.

    The number of a case or of a recall is found the same way, and a receiver by words of the name where no code is
    meant. Capitals do not matter. What was only typed as a lot is listed by the batches it went into.
    """
    forms = variants(" ".join(code.split()))
    if not forms:
        return []
    found: dict[str, SearchHit] = {}
    for batch_id, number in session.execute(select(Batch.id, Batch.number).where(Batch.number.in_(forms))):
        found[f"/trace/batch/{batch_id}"] = SearchHit("batch", number, "batch number", f"/trace/batch/{batch_id}")
    printed = select(PackingRun.batch_id, PackingRun.code_printed, PackingRun.number).where(
        PackingRun.code_printed.in_(forms) | PackingRun.number.in_(forms)
    )
    for batch_id, printed_code, number in session.execute(printed):
        one = SearchHit("batch", printed_code or number, f"packing run {number}", f"/trace/batch/{batch_id}")
        found.setdefault(one.path, one)
    lots = select(Lot).where(Lot.code.in_(forms) | Lot.supplier_lot.in_(forms)).order_by(Lot.id).limit(50)
    for lot in session.scalars(lots):
        ours = lot.code in forms
        words = (
            lot.name
            if ours
            else f"{lot.name}, lot {lot.supplier_lot} of {lot.supplier.name if lot.supplier else 'a supplier'}"
        )
        found[f"/trace/lot/{lot.id}"] = SearchHit("lot", lot.code, words, f"/trace/lot/{lot.id}")
    for case_id, number, kind in session.execute(
        select(CaseFile.id, CaseFile.number, CaseFile.kind).where(CaseFile.number.in_(forms))
    ):
        found[f"/trace/cases/{case_id}"] = SearchHit("case", number, kind.value, f"/trace/cases/{case_id}")
    for recall_id, number, reason in session.execute(
        select(Recall.id, Recall.number, Recall.reason).where(Recall.number.in_(forms))
    ):
        found[f"/trace/recalls/{recall_id}"] = SearchHit("recall", number, reason, f"/trace/recalls/{recall_id}")
    return [*found.values()] or _typed(session, code) or _receivers(session, code)


def _receivers(session: Session, words: str) -> list[SearchHit]:
    """Return the receivers with all of some words in the name; those who asked to be forgotten have none."""
    parts = [Receiver.name.icontains(part[:80], autoescape=True) for part in words.split()[:MOST_WORDS]]
    asked = select(Receiver.id, Receiver.name, Receiver.kind).where(Receiver.forgotten_at.is_(None), *parts)
    return [
        SearchHit("receiver", name, kind.value, f"/trace/receiver/{receiver_id}")
        for receiver_id, name, kind in session.execute(asked.order_by(Receiver.name, Receiver.id).limit(MOST_FOUND))
    ]


def _typed(session: Session, code: str) -> list[SearchHit]:
    uses = typed_as(session, code)
    nodes = batch_nodes(session, {use.batch_id for use in uses})
    names: dict[int, list[str]] = {}
    for use in uses:
        names.setdefault(use.batch_id, []).append(use.material)
    return [
        SearchHit(
            "typed lot",
            nodes[batch].number,
            f"“{code.strip()}” was typed as the lot of {', '.join(dict.fromkeys(of))}; it is not a lot in stock",
            f"/trace/batch/{batch}",
        )
        for batch, of in sorted(names.items())
    ][:200]
