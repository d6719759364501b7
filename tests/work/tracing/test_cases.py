"""Cases: the law's deadlines, what else is of the same lots, and complaints by units sold."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from app.store.engine import Store
from app.store.errors import Conflict
from app.store.quality import CaseFile, CaseKind, get_case
from app.store.workshop import Jurisdiction
from app.work.clock import today
from app.work.form import Faults
from app.work.tracing.cases import (
    CaseForm,
    EndForm,
    FollowedForm,
    FollowForm,
    case_sheet,
    close_case,
    complaints_by_units_sold,
    follow_case,
    list_cases,
    open_case,
    open_cases,
)
from app.work.tracing.duties import business_days_after, duty_of, is_overdue
from tests.conftest import GelBatch
from tests.work.tracing.graph import Graph


@given(st.dates(date(2020, 1, 1), date(2040, 1, 1)), st.integers(0, 40))
def test_business_days_agree_with_numpy(day: date, count: int) -> None:
    expected = np.busday_offset(day, count, roll="backward").astype(date)
    assert business_days_after(day, count) == expected


# 21 U.S.C. 364a: 15 business days. Received on Monday 2 November 2026, the fifteenth is Monday 23 November; the public
# holiday in between (11 November) is not left out, so that the day is not later than the law's.
@pytest.mark.parametrize(
    ("market", "kind", "serious", "due"),
    [
        (Jurisdiction.US, CaseKind.EFFECT, True, date(2026, 11, 23)),
        (Jurisdiction.EU, CaseKind.EFFECT, True, date(2026, 11, 2)),
        (Jurisdiction.EU, CaseKind.EFFECT, False, None),
        (Jurisdiction.US, CaseKind.COMPLAINT, False, None),
    ],
)
def test_the_law_of_the_market_sets_the_day(
    market: Jurisdiction, kind: CaseKind, serious: bool, due: date | None
) -> None:
    case = CaseFile(kind=kind, market=market, is_serious=serious, known_on=date(2026, 11, 2))
    duty = duty_of(case)
    assert (duty.due_on if duty else None) == due
    if due and duty:
        assert ("364a" in duty.source) is (market is Jurisdiction.US)
        assert [is_overdue(case, due), is_overdue(case, due + timedelta(days=1))] == [False, True]
        case.reported_on = due
        assert not is_overdue(case, due + timedelta(days=99))


@pytest.fixture
def sold(store: Store, gel: GelBatch) -> Graph:
    """A drum in N-1 and N-2; a drum of its own in N-3; 40 of N-1 and 10 of N-3 went out, 10 of N-1 came back."""
    with store.transaction() as session:
        graph = Graph(session, gel.materials["acid"])
        graph.lot("DRUM")
        graph.lot("OTHER")
        for number, lot in (("N-1", "DRUM"), ("N-2", "DRUM"), ("N-3", "OTHER")):
            graph.batch(number)
            graph.weigh(number, lot)
        graph.release()
        for number in ("N-1", "N-3"):
            graph.pack(number, 50, code=f"L-{number}")
        graph.send("N-1", 40)
        graph.send("N-3", 10)
        graph.send("N-1", 10, back=True)
    return graph


def telling(**texts: str) -> CaseForm:
    return CaseForm(**{"code": "L-N-1", "what": "It smells of vinegar.", "by": "Tom", **texts})


def test_a_case_shows_the_other_batches_of_the_same_lots_and_their_cases(store: Store, sold: Graph) -> None:
    first = open_case(store, telling(), key="k")
    assert open_case(store, telling(), key="k") == first
    other = open_case(store, telling(code="N-2"))
    open_case(store, telling(code="L-N-3"))
    with store.reading() as session:
        sheet = case_sheet(session, first)
        assert [(lot.code, [one.number for one in lot.batches]) for lot in sheet.lots] == [("DRUM", ["N-2"])]
        assert [one.id for one in sheet.others] == [other]
        assert (sheet.case.product_id, sheet.case.batch_id) == (sold.product.id, sold.batches["N-1"])
        assert [get_case(session, other).product_id, sheet.case.number] == [None, f"C-{today().year}-001"]


def test_complaints_are_counted_by_units_sold(store: Store, sold: Graph) -> None:
    for kind, serious in (
        ("complaint", ""), ("undesirable effect", "yes"), ("undesirable effect", "yes"), ("return", ""),
    ):  # fmt: skip
        open_case(store, telling(kind=kind, is_serious=serious))
    with store.reading() as session:
        (rate,) = complaints_by_units_sold(session)
        assert (rate.complaints, rate.effects, rate.serious, rate.returns) == (1, 2, 2, 1)
        assert (rate.units_out, rate.per_thousand) == (40, Decimal("75.00"))
        assert replace(rate, units_out=0).per_thousand is None


def test_a_serious_effect_is_overdue_until_it_is_reported_and_closes_only_then(store: Store, sold: Graph) -> None:
    long_ago = (today() - timedelta(days=40)).isoformat()
    case_id = open_case(store, telling(kind="undesirable effect", is_serious="yes", known_on=long_ago))
    with store.reading() as session:
        assert open_cases(session) == (1, 1)
        form, version = FollowForm.of(get_case(session, case_id)), get_case(session, case_id).row_version
    with pytest.raises(Faults) as wrong:
        close_case(store, case_id, EndForm(conclusion="Healed.", by="Ines"))
    assert list(wrong.value.by_field) == ["conclusion"]
    followed = FollowedForm(**form.text, by="Ines").but(actions="Asked the doctor.", reported_on=today().isoformat())
    follow_case(store, case_id, followed, version)
    with pytest.raises(Conflict, match="meantime"):
        follow_case(store, case_id, followed, version)
    close_case(store, case_id, EndForm(conclusion="Healed.", by="Ines"))
    with store.reading() as session:
        assert open_cases(session) == (0, 0)
        assert [one.what for one in get_case(session, case_id).history] == [
            "opened", "What was done and found", "Reported to the authority on", "closed",
        ]  # fmt: skip
    with pytest.raises(Conflict, match="closed"):
        follow_case(store, case_id, followed, version + 2)
    for change in ("UPDATE case_file SET what = 'x'", "DELETE FROM case_file", "UPDATE case_event SET new = 'x'"):
        with pytest.raises(DBAPIError, match="kept as it is"), store.transaction() as session:
            session.execute(text(change))


@pytest.mark.parametrize(
    ("texts", "field"),
    [
        ({"what": " "}, "what"),
        ({"known_on": "2199-01-01"}, "known_on"),
        ({"known_on": "2026-11-01", "happened_on": "2026-11-02"}, "happened_on"),
        ({"units": "two"}, "units"),
        ({"code": "NIL"}, "code"),
        ({"code": "", "product": "Soap"}, "product"),
        ({"is_serious": "yes"}, "kind"),
        ({"by": ""}, "by"),
    ],
)
def test_what_is_wrong_is_told_at_its_field(store: Store, sold: Graph, texts: dict[str, str], field: str) -> None:
    with pytest.raises(Faults) as wrong:
        open_case(store, telling(**texts))
    assert list(wrong.value.by_field) == [field]
    with store.reading() as session:
        assert list_cases(session) == []
