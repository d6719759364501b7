"""Where units of the demo workshop went, and one complaint that was closed."""

from collections.abc import Mapping
from typing import Any

from app.store.engine import Store
from app.store.quality import get_case
from app.work.tracing.cases import CaseForm, EndForm, FollowedForm, FollowForm, close_case, follow_case, open_case
from app.work.tracing.sending import DispatchForm, send_out


def load_tracing(store: Store, told: Mapping[str, Any]) -> None:
    """Put receivers, dispatches and a closed case into the demo workshop."""
    for row in told["sent"]:
        send_out(store, DispatchForm(**row))
    case = told["case"]
    case_id, by = open_case(store, CaseForm(**case["told"])), case["told"]["by"]
    with store.reading() as session:
        found = get_case(session, case_id)
        form, version = FollowForm.of(found), found.row_version
    follow_case(store, case_id, FollowedForm(**form.text, by=by).but(actions=case["actions"]), version)
    close_case(store, case_id, EndForm(conclusion=case["conclusion"], by=by))
