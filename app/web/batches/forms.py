"""What the batch pages send, read as it was typed."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Self

from app.web.row_number import number
from app.work.batches.listing import Search
from app.work.batches.planning import Plan, PlanningChoices
from app.work.batches.weighing import WeighingForm
from app.work.clock import today


@dataclass(frozen=True, slots=True)
class PlanForm:
    """The planning form, every field as typed."""

    formula_id: int | None
    version_id: int | None
    size: str
    fill: str
    loss: str
    planned_on: str
    made_by: str
    key: str = ""
    product_id: int | None = None

    @classmethod
    def of(cls, plan: Plan) -> Self:
        """Return the form of a plan that stands."""
        return cls(
            plan.formula_id,
            plan.version_id,
            plan.size,
            plan.fill,
            plan.loss,
            plan.planned_on,
            plan.made_by,
            product_id=plan.product_id,
        )

    @classmethod
    def asked(cls, query: Mapping[str, str], person: str) -> Self:
        """Start the form from the address of the page."""
        return cls(
            number(query.get("formula", "")),
            number(query.get("version", "")),
            query.get("size", ""),
            query.get("fill", ""),
            query.get("loss", ""),
            today().isoformat(),
            person,
            product_id=number(query.get("product", "")),
        )

    @classmethod
    def posted(cls, form: Mapping[str, str]) -> Self:
        """Read the form as it was sent."""
        return cls(
            number(form.get("formula", "")),
            number(form.get("version", "")),
            form.get("size", ""),
            form.get("fill", ""),
            form.get("loss", ""),
            form.get("planned_on", ""),
            form.get("made_by", ""),
            form.get("key", ""),
            number(form.get("product", "")),
        )

    def with_defaults(self, choices: PlanningChoices) -> Self:
        """Fill what is still empty from the chosen formula."""
        return replace(
            self,
            formula_id=self.formula_id or choices.formula_id,
            size=self.size or choices.size,
            fill=self.fill or choices.fill,
            loss=self.loss or choices.loss,
        )

    def with_product(self, choices: PlanningChoices) -> Self:
        """Choose the first product of the formula that has a fill, where neither product nor fill was asked for."""
        sold = next((one.id for one in choices.products if one.fill), None)
        return replace(self, product_id=self.product_id or (None if self.fill else sold))

    def plan(self) -> Plan:
        """Return the plan as typed."""
        return Plan(
            self.formula_id,
            self.version_id,
            self.size,
            self.fill,
            self.loss,
            self.planned_on,
            self.made_by,
            self.key,
            self.product_id,
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
