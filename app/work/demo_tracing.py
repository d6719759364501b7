"""Where units of the demo workshop went, and one complaint that was closed."""

from collections.abc import Mapping
from typing import Any

from app.store.engine import Store
from app.store.quality import get_case
from app.work.clock import as_of
from app.work.tracing.cases import CaseForm, EndForm, FollowedForm, FollowForm, close_case, follow_case, open_case
from app.work.tracing.sending import DispatchForm, send_out


def load_tracing(store: Store, told: Mapping[str, Any]) -> None:
    """Put receivers, dispatches and a closed case into the demo workshop."""
    for row in told["sent"]:
        with as_of(row["sent_on"], "16:00"):
            send_out(store, DispatchForm(**row))
    case = told["case"]
    by, day = case["told"]["by"], case["told"]["known_on"]
    with as_of(day, "10:15"):
        case_id = open_case(store, CaseForm(**case["told"]))
    with store.reading() as session:
        found = get_case(session, case_id)
        form, version = FollowForm.of(found), found.row_version
    with as_of(day, "17:20"):
        follow_case(store, case_id, FollowedForm(**form.text, by=by).but(actions=case["actions"]), version)
        close_case(store, case_id, EndForm(conclusion=case["conclusion"], by=by))
