"""The batch record on paper: what was done stands on it, what was not has a box, and its number is on every page."""

import io
from decimal import Decimal

import pytest
from flask.testing import FlaskClient
from pypdf import PdfReader

from app.store.batches import Batch
from app.store.engine import Store
from app.work.batches.batch_readings import ReadingForm, YieldForm, add_reading, record_yield
from app.work.batches.deciding import BatchDecision, decide
from app.work.batches.deviations import record_deviation, still_open
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.batches.weighing import WeighingForm, WeightCorrection, correct_weighing, record_weighings
from app.work.deviations import DeviationForm
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material

LINES = 40


def load(store: Store, batch_id: int) -> Batch:
    with store.reading() as session:
        return load_batch(session, batch_id)


def long_batch(store: Store) -> int:
    """Plan a batch of 40 lines in two phases, by percentages, on the scales of the demonstration."""
    names = [f"Test material {n:02d}" for n in range(1, LINES + 1)]
    for name in names:
        add_material(store, MaterialForm(name=name, parts=(PartForm(inci="Glycerin", percent="100"),)))
    lines = tuple(
        DraftLine(f"l{n}", "a" if n < 20 else "b", name, None, "2.5", False) for n, name in enumerate(names, start=1)
    )
    phases = (DraftPhase("a", "First", "", "Stir it"), DraftPhase("b", "Second", "", "Pour it"))
    formula_id = create(store, "Forty lines", code="FL", content=Draft(phases=phases, lines=lines, batch="400 g"))
    return plan_batch(store, Plan(formula_id, None, "400 g", planned_on="2026-11-25", made_by="Ines"))


def pages(client: FlaskClient, batch_id: int, paper: str) -> list[str]:
    answer = client.get(f"/batches/{batch_id}/record.pdf?paper={paper}")
    assert answer.status_code == 200
    assert "batch-record_FL-2026-001.pdf" in answer.headers["Content-Disposition"]
    return [page.extract_text() for page in PdfReader(io.BytesIO(answer.data)).pages]


@pytest.mark.paper
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_lot_weight_and_name_of_a_half_done_batch_of_40_lines_is_on_paper(
    demo_client: FlaskClient, demo: Store, paper: str
) -> None:
    batch_id = long_batch(demo)
    batch = load(demo, batch_id)
    done = batch.lines[:25]
    entries = [
        WeighingForm(line.id, f"{line.shown_g + Decimal('0.01') * n:f}", f"LOT-{n:03d}")
        for n, line in enumerate(done, start=1)
    ]
    record_weighings(demo, batch_id, 1, entries, who="Ines", checked_by="Tom")
    first = load(demo, batch_id).lines[0].standing[0]
    correct_weighing(demo, batch_id, first.id, WeightCorrection("9.87", "LOT-999", "Tom", "read upside down"))
    add_reading(demo, batch_id, ReadingForm(kind="appearance", words="clear and even", who="Tom"))
    found = pages(demo_client, batch_id, paper)
    text = " ".join(" ".join(found).split())
    close = "".join(text.split())
    for n, line in enumerate(load(demo, batch_id).lines, start=1):
        assert line.name.replace(" ", "") in close
        if n <= 25:
            assert (f"LOT-{n:03d}" if n > 1 else "LOT-999") in close
            assert f"{line.actual_g:.2f}" in close
    for words in ("readupsidedown", "clearandeven", "LOT-001", "nothingweighed", "Stirit", "Ines", "Tom"):
        assert words in close
    assert all("Batch FL-2026-001" in page for page in found)
    assert [f"page {n} of {len(found)}" in page for n, page in enumerate(found, start=1)] == [True] * len(found)


@pytest.mark.paper
def test_a_released_batch_of_40_lines_prints_everything_and_asks_for_signatures(
    demo_client: FlaskClient, demo: Store
) -> None:
    batch_id = long_batch(demo)
    entries = [
        WeighingForm(line.id, f"{line.shown_g + Decimal('0.01') * (n % 5):f}", f"LOT-{n:03d}")
        for n, line in enumerate(load(demo, batch_id).lines, start=1)
    ]
    record_weighings(demo, batch_id, 1, entries, who="Ines", checked_by="Tom")
    add_reading(demo, batch_id, ReadingForm(kind="appearance", words="clear and even", who="Tom"))
    record_yield(demo, batch_id, YieldForm(amount="391", who="Ines"))
    with demo.reading() as session:
        keys = [one.key for one in still_open(session, load_batch(session, batch_id))]
    for key in keys:
        record_deviation(demo, batch_id, DeviationForm(key, "", "slip", "none", "accepted", "Tom", "yes"))
    decide(
        demo,
        batch_id,
        load(demo, batch_id).row_version,
        BatchDecision("released", "all as wanted", "Tom"),
    )
    line = load(demo, batch_id).lines[7]
    late = WeightCorrection(f"{line.actual_g:f}", "LOT-808", "Tom", "label was misread")
    correct_weighing(demo, batch_id, line.standing[0].id, late)
    found = pages(demo_client, batch_id, "A4")
    close = "".join("".join(found).split())
    for n, line in enumerate(load(demo, batch_id).lines, start=1):
        assert line.name.replace(" ", "") in close
        assert f"{line.actual_g:.2f}" in close
        assert f"LOT-{n:03d}" in close
    for words in ("LOT-808", "labelwasmisread", "ReleasedbyTom", "allaswanted", "Releasedby:Tom.Signature,date"):
        assert words in close
    assert all("Batch FL-2026-001" in page for page in found)


def test_the_record_of_a_batch_is_a_page_too_and_a_wrong_number_is_not_found(demo_client: FlaskClient) -> None:
    page = demo_client.get("/batches/2/record").text
    assert "Batch record, released" in page
    assert 'class="box"' not in page
    assert 'class="box"' in demo_client.get("/batches/5/record").text
    assert demo_client.get("/batches/99/record").status_code == 404
    assert demo_client.get("/batches/99/record.pdf").status_code == 404
