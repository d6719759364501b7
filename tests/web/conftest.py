"""A formula on the shelf and a desk in front of its page: what a browser would send of it."""

from html.parser import HTMLParser

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from app.store.engine import Store
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create, open_draft
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material

SHELF = ("Water", "Glycerin", "Oil")


class Fields(HTMLParser):
    """Collects what a browser would send of a form: every named field with its value."""

    def __init__(self) -> None:
        super().__init__()
        self.values: dict[str, list[str]] = {}
        self.area = ""

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        held = {key: value or "" for key, value in attributes}
        name = held.get("name", "")
        if tag == "textarea":
            self.area = name
            self.values.setdefault(name, []).append("")
        sent = held.get("type") not in ("checkbox", "radio") or "checked" in held
        if tag == "input" and name and sent:
            self.values.setdefault(name, []).append(held.get("value", ""))

    def handle_endtag(self, tag: str) -> None:
        self.area = "" if tag == "textarea" else self.area

    def handle_data(self, data: str) -> None:
        if self.area:
            self.values[self.area][-1] += data


class Desk:
    """One formula in front of one client; the names of fields are written with two underscores for a dot."""

    def __init__(self, client: FlaskClient, store: Store, formula: int) -> None:
        self.client, self.store, self.formula = client, store, formula

    def fields(self, page: str) -> dict[str, list[str]]:
        """Collect what a browser would send of a page, from the form of the formula on."""
        _, start, form = page.partition('<form id="formula"')
        parser = Fields()
        parser.feed(start + form if start else page)
        return {"basis": ["w/w"], "exposure": ["leave-on"], **parser.values}

    def typed(self, **changes: str) -> dict[str, list[str]]:
        """Open the page and type into some of its fields."""
        form = self.fields(self.client.get(f"/formulas/{self.formula}").text)
        return form | {name.replace("__", "."): [value] for name, value in changes.items()}

    def save(self, form: dict[str, list[str]], *, live: bool = False) -> TestResponse:
        """Send a form, as an open page does or as a browser without script."""
        headers = {"X-Live": "1"} if live else {}
        return self.client.post(f"/formulas/{self.formula}", data=form, headers=headers)

    def stored(self) -> Draft:
        """Read the draft as it stands."""
        with self.store.reading() as session:
            return open_draft(session, self.formula).draft


@pytest.fixture
def formula(store: Store) -> int:
    for name in SHELF:
        add_material(store, MaterialForm(name=name, parts=(PartForm(inci=name, percent="100"),)))
    lines = (
        DraftLine("w", "a", "Water", qs=True),
        DraftLine("g", "a", "Glycerin", None, "5"),
        DraftLine("o", "b", "Oil", None, "12"),
    )
    phases = (DraftPhase("a", "Water", "75"), DraftPhase("b", "Oil", "75", "Melt."))
    return create(store, "Cream", content=Draft(phases=phases, lines=lines))


@pytest.fixture
def desk(client: FlaskClient, store: Store, formula: int) -> Desk:
    return Desk(client, store, formula)
