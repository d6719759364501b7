"""A formula in pictures: each mark says the figure of its batch, its line or its version."""

from dataclasses import replace
from decimal import Decimal

from flask.testing import FlaskClient

from app.store.engine import Store
from app.store.workshop import the_workshop
from app.work.formulas.editing import SaveOrigin, open_draft, save_draft
from app.work.formulas.life import Life, life_of
from app.work.formulas.results import Results, results_of

FORMULA = 2


def known(store: Store) -> tuple[Life, Results, tuple[Decimal, Decimal]]:
    with store.reading() as session:
        shop = the_workshop(session)
        usual = shop.yield_low_percent, shop.yield_high_percent
        return life_of(session, FORMULA), results_of(session, open_draft(session, FORMULA)), usual


def marks_of(lived: Life, target: Decimal | None, usual: tuple[Decimal, Decimal]) -> list[str]:
    """What is drawn of each batch, in words; pH within 0.2 of the target and the usual yield are inside."""
    found = []
    for batch in lived.batches:
        if batch.ph is not None:
            off = target is not None and abs(batch.ph - target) > Decimal("0.2")
            found.append(f"{batch.number}: pH {float(batch.ph):.3g}{', out of its window' if off else ''}")
        if batch.yield_percent is not None:
            off = not usual[0] <= batch.yield_percent <= usual[1]
            words = f"yield {float(batch.yield_percent):.3g} %{', out of its window' if off else ''}"
            found.append(f"{batch.number}: {words}")
        if batch.worst_percent is not None:
            off = batch.line_out
            words = f"line furthest off {float(batch.worst_percent):.2g} %{', out of its window' if off else ''}"
            found.append(f"{batch.number}: {words}")
        found.append(f"batch {batch.number}, {batch.state}")
    return found


def test_pictures_say_of_each_batch_and_line_what_is_known_of_it(demo_client: FlaskClient, demo: Store) -> None:
    lived, results, usual = known(demo)
    assert lived.batches
    page = demo_client.get(f"/formulas/{FORMULA}/pictures").text
    for words in marks_of(lived, results.formula.target_ph, usual):
        assert f"<title>{words}</title>" in page
    for line in results.lines:
        assert f"<title>{line.draft.typed}: {float(line.percent or 0):.3g} % of the weight</title>" in page
        if line.priced and line.cost_share is not None:
            assert f"<title>{line.draft.typed}: {float(line.cost_share):.3g} % of the cost" in page
    for number, note in lived.versions:
        assert f"<title>version {number}{': ' if note else ''}{note}</title>" in page
    for phase in results.formula.phases:
        share = float(sum(one.percent for one in phase.lines))
        assert f"phase {phase.letter} {phase.name}, {share:.3g} %" in page


def test_a_reading_far_from_the_target_is_marked_as_one(demo_client: FlaskClient, demo: Store) -> None:
    with demo.reading() as session:
        current = open_draft(session, FORMULA)
    save_draft(demo, FORMULA, replace(current.draft, target_ph="9"), SaveOrigin(current.row_version, "test"))
    lived, _, _ = known(demo)
    page = demo_client.get(f"/formulas/{FORMULA}/pictures").text
    read = [batch for batch in lived.batches if batch.ph is not None]
    assert read
    for batch in read:
        assert f"<title>{batch.number}: pH {float(batch.ph or 0):.3g}, out of its window</title>" in page
