"""Says on the page of a batch that it is the record of another workshop."""

from app.store.handover import import_of
from app.work.batches import sections

sections.add(
    sections.Section(
        "origin",
        "Record of another workshop",
        "handover/_batch.html",
        lambda session, batch: import_of(session, "batch", batch.id),
    )
)
