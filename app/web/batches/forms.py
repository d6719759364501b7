"""What the batch pages send, read as it was typed."""

from collections.abc import Mapping
from datetime import date

from app.web.row_number import number
from app.work.batches.listing import Search
from app.work.batches.planning import Plan, PlanningChoices
from app.work.batches.weighing import WeighingForm
from app.work.clock import today


def asked_plan(query: Mapping[str, str], person: str) -> Plan:
    """Start the planning form from the address of the page."""
    return Plan.sent(query).but(planned_on=today().isoformat(), made_by=person)


def with_usual(form: Plan, choices: PlanningChoices, *, sold: bool) -> Plan:
    """Fill what is still empty from the chosen formula.

    Args:
        form: the planning form as it stands.
        choices: what can be planned.
        sold: choose the first product of the formula that has a fill, where neither product nor fill was asked for.
    """
    text = form.text
    product = next((one.id for one in choices.products if one.fill), "") if sold and not text["fill"] else ""
    return form.but(
        formula=text["formula"] or str(choices.formula_id or ""),
        size=text["size"] or choices.size,
        fill=text["fill"] or choices.fill,
        loss=text["loss"] or choices.loss,
        product=text["product"] or str(product),
    )


def weighed_entries(form: Mapping[str, str]) -> list[WeighingForm]:
    """Read the rows of the weighing form."""
    ids = [number(name.removeprefix("actual-")) for name in form if name.startswith("actual-")]
    names = [name for name in WeighingForm.fields if name != "line_id"]
    return [
        WeighingForm(row, **{name: form.get(f"{name}-{row}", "") for name in names}) for row in ids if row is not None
    ]


def search_asked(query: Mapping[str, str]) -> Search:
    """Read what is looked for from the address; a date that is none asks for nothing."""
    return Search(
        words=query.get("q", ""),
        material=query.get("material", ""),
        lot=query.get("lot", ""),
        state=query.get("state", ""),
        formula_id=number(query.get("product", "")),
        since=_day(query.get("since", "")),
        until=_day(query.get("until", "")),
    )


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None
