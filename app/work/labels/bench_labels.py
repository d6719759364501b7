"""Small labels of the bench, and finding what a scanned code belongs to."""

from dataclasses import dataclass
from datetime import date
from urllib.parse import parse_qs, urlsplit

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.numbers import plain
from app.store.batches import Batch
from app.store.errors import NotFound
from app.store.material_queries import get_material
from app.store.materials import MaterialRow
from app.store.packing import PackingRun, RetainedSample
from app.store.products import Product
from app.store.stock import Lot
from app.store.types import day_text
from app.store.workshop import the_workshop
from app.work.batches.loading import load_batch
from app.work.form import Form
from app.work.form_fields import DayOrToday, MaybeDay, ShortText
from app.work.packing.samples import get_sample

# Codes of what has no number of its own.
SAMPLE, MATERIAL = "SAMPLE-", "MATERIAL-"


@dataclass(frozen=True, slots=True)
class BenchLabel:
    """What a small label says: what it is, its code, where it stands, and dates and the like line by line."""

    name: str
    code: str
    state: str
    lines: tuple[str, ...]


def bench_label_of_batch(session: Session, batch_id: int) -> BenchLabel:
    """Return the label of a batch: its number, state, day and size.

    Raises:
        NotFound: when there is no such batch.
    """
    batch = load_batch(session, batch_id)
    made = _dated("made", batch.made_on) if batch.started_at else _dated("planned for", batch.planned_on)
    lines = (f"version {batch.version.number}, {batch.size_text or f'{plain(batch.size_g)} g'}", made)
    return BenchLabel(batch.version.name, batch.number, batch.state.value, lines)


def bench_label_of_lot(session: Session, lot_id: int) -> BenchLabel:
    """Return the label of a lot: its code, state, supplier's lot and dates.

    Raises:
        NotFound: when there is no such lot.
    """
    lot = session.get(Lot, lot_id)
    if lot is None:
        raise NotFound("There is no such lot.")
    came = (_dated("received", lot.received_on), _dated("opened", lot.opened_on))
    ends = (_dated("expires", lot.expires_on), _dated("re-test by", lot.retest_on))
    lines = (
        f"supplier's lot {lot.supplier_lot}" if lot.supplier_lot else "",
        ", ".join(filter(None, came)),
        ", ".join(filter(None, ends)),
    )
    return BenchLabel(lot.name, lot.code, lot.state.shown, tuple(line for line in lines if line))


def bench_label_of_sample(session: Session, sample_id: int) -> BenchLabel:
    """Return the label of a retained sample: its batch, units, place and how long it is kept.

    Raises:
        NotFound: when there is no such sample.
    """
    sample = get_sample(session, sample_id)
    run = session.get_one(PackingRun, sample.run_id)
    lines = (
        f"batch {run.batch.number}, {sample.units} {'unit' if sample.units == 1 else 'units'}",
        f"{_dated('kept', sample.kept_on)}, {_dated('keep until', sample.keep_until)}",
        sample.place,
    )
    return BenchLabel(run.product_name, f"{SAMPLE}{sample.id}", "retained sample", lines)


class SolutionForm(Form):
    """What is written on the label of a stock solution or a pre-mix that was made today."""

    made_on = DayOrToday("Made on", hint="Leave empty for today.")
    use_by = MaybeDay("Use by")
    by = ShortText("By", longest=80, width="w8")


def bench_label_of_solution(session: Session, material_id: int, typed: SolutionForm) -> BenchLabel:
    """Return the label of a stock solution or a pre-mix: what it consists of, when it was made, and its cautions.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such material.
    """
    form = typed.checked(the_workshop(session))
    material = get_material(session, material_id)
    parts = ", ".join(f"{part.inci} {plain(part.percent)} %" for part in material.parts)
    made = f"{_dated('made', form.made_on)}{f' by {form.by}' if form.by else ''}"
    lines = (
        parts,
        ", ".join(filter(None, (made, _dated("use by", form.use_by)))),
        f"▲ {material.cautions.splitlines()[0]}" if material.cautions.strip() else "",
    )
    return BenchLabel(material.name, f"{MATERIAL}{material.id}", "stock", tuple(line for line in lines if line))


def _dated(words: str, day: date | None) -> str:
    return "" if day is None else f"{words} {day_text(day)}"


def code_in(text: str) -> str:
    """Return the code of a scanned text: the text itself, or what an address of ours carries.

    >>> code_in("http://127.0.0.1:8520/scan?code=HC-2026-001"), code_in(" HC-2026-001 ")
    ('HC-2026-001', 'HC-2026-001')
    """
    clean = text.strip()
    if "://" not in clean:
        return clean
    try:
        return parse_qs(urlsplit(clean).query).get("code", [clean])[0]
    except ValueError:
        return clean


def place_of_code(session: Session, text: str) -> str | None:
    """Return the page of the batch, lot, sample, material or product a scanned text belongs to; None for none."""
    code = code_in(text)
    batch = session.scalar(select(Batch.id).where(Batch.number == code))
    if batch is not None:
        return f"/batches/{batch}"
    lot = session.scalar(select(Lot.id).where(Lot.code == code))
    if lot is not None:
        return f"/stock/lots/{lot}"
    for prefix, page, model in ((SAMPLE, "/packing/samples/", RetainedSample), (MATERIAL, "/materials/", MaterialRow)):
        number = code.removeprefix(prefix)
        if code.startswith(prefix) and number.isascii() and number.isdecimal() and len(number) < 10:
            return f"{page}{int(number)}" if session.get(model, int(number)) else None
    product = session.scalar(select(Product.id).where(Product.barcode == code, Product.barcode != ""))
    return None if product is None else f"/products/{product}"
