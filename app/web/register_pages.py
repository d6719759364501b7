"""Pages for a register: the list with a form for one more, and the form of one row."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from app.store.engine import Store
from app.web import context
from app.work.equipment import Register
from app.work.form import Faults, Form, Overtaken

Answer = Response | str | tuple[str, int]


@dataclass(frozen=True)
class RegisterPages:
    """Which register is shown where: ``one`` and ``many`` are its words, ``area`` the blueprint and template folder.

    ``beside`` reads what else its list shows.
    """

    register: Register  # type: ignore[type-arg]
    area: str
    one: str
    many: str
    beside: Callable[[Store], Any] | None = None

    @property
    def list_endpoint(self) -> str:
        """The endpoint of the list."""
        return f"{self.area}.{self.many}"

    @property
    def save_endpoint(self) -> str:
        """The endpoint that takes a changed row."""
        return f"{self.area}.save_{self.one}"

    @property
    def fields_template(self) -> str:
        """The template that draws the fields."""
        return f"{self.area}/_{self.one}_fields.html"

    def mount(self, blueprint: Blueprint, path: str) -> None:
        """Put the four pages under a path."""
        one = f"{path}/<int:row_id>"
        blueprint.add_url_rule(path, self.many, self.index, methods=["GET"])
        blueprint.add_url_rule(path, f"add_{self.one}", self.add, methods=["POST"])
        blueprint.add_url_rule(one, f"edit_{self.one}", self.edit, methods=["GET"])
        blueprint.add_url_rule(one, f"save_{self.one}", self.save, methods=["POST"])

    def index(self) -> str:
        """Show the list, with a form for one more."""
        return self._list(self.register.form(), {})

    def _list(self, form: Form, faults: dict[str, str]) -> str:
        rows = self.register.list(context.store())
        more = self.beside(context.store()) if self.beside else None
        page = f"{self.area}/{self.many}.html"
        return render_template(page, pages=self, rows=rows, beside=more, form=form, faults=faults)

    def add(self) -> Answer:
        """Add a row."""
        form = self.register.form.sent(request.form)
        try:
            self.register.add(context.store(), form, request.form.get("key", ""))
        except Faults as wrong:
            return self._list(form, wrong.by_field), 422
        flash(f"Added {form.text['name'].strip()}.")
        return redirect(url_for(self.list_endpoint), 303)

    def _stored(self, row_id: int) -> Form:
        return self.register.form.of(self.register.load(context.store(), row_id))

    def _one(self, row_id: int, form: Form, seen: str, **more: object) -> str:
        given: dict[str, object] = {"faults": {}, "differences": (), **more}
        return render_template("workshop/entry.html", pages=self, row_id=row_id, form=form, seen=seen, **given)

    def edit(self, row_id: int) -> str:
        """Show the form of a row."""
        stored = self._stored(row_id)
        return self._one(row_id, stored, stored.fingerprint)

    def save(self, row_id: int) -> Answer:
        """Save a changed row; what somebody else saved meanwhile is shown beside it."""
        form, seen = self.register.form.sent(request.form), request.form.get("seen", "")
        try:
            self.register.revise(context.store(), row_id, form, seen)
        except Faults as wrong:
            return self._one(row_id, form, seen, faults=wrong.by_field), 422
        except Overtaken as wrong:
            return self._one(row_id, form, str(wrong.mark), differences=wrong.differences), 409
        flash(f"Saved {form.text['name'].strip()}.")
        return redirect(url_for(self.list_endpoint), 303)
