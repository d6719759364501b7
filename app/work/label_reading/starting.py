"""Starting a formula from a list: library materials come to the shelf, the draft is written, all or nothing."""

from itertools import count

from sqlalchemy.orm import Session

from app.reference.materials import material as library_material
from app.science.names import inci_key
from app.store.errors import NotFound
from app.store.label_lists import StartedFormula
from app.store.material_queries import live_id_of_library_key, live_id_of_name
from app.work.action import action
from app.work.clock import now
from app.work.form import Form
from app.work.form_fields import Name
from app.work.formulas.editing import insert
from app.work.label_reading.choosing import OWN, Choices, StartPlan, check_something_left, make_plan, own_shelf
from app.work.label_reading.drafting import draft_of
from app.work.label_reading.lists import open_list
from app.work.materials.material_form import from_library
from app.work.materials.shelf import insert_material


class StartForm(Form):
    """What to call the formula that is started."""

    formula_name = Name("Name of the formula", "Enter a name for the formula.", width="w20")


@action(once="formula from list {list_id}")
def start_formula(session: Session, list_id: int, choices: Choices, form: StartForm, key: str = "") -> int:
    """Start a formula from a list and give its id; the same form taken twice gives the same formula.

    Raises:
        Faults: at ``formula_name``.
        Invalid: when nothing is left, or no material holds any of the substances.
        NotFound: when there is no such list.
    """
    sheet, name = open_list(session, list_id).sheet, form.checked().formula_name
    check_something_left(sheet, choices)
    plan = make_plan(sheet, own_shelf(session), choices)
    content = draft_of(sheet, plan, shelved(session, plan), name)
    formula = insert(session, name, "", content, "Started from a printed list")
    session.add(StartedFormula(label_list_id=list_id, formula_id=formula.id, started_at=now()))
    return formula.id


def shelved(session: Session, plan: StartPlan) -> dict[str, int]:
    """Put the library materials of a plan on the shelf and give the id of every material of it."""
    found: dict[str, int] = {}
    for key in (line.material.id for line in plan.cover.lines):
        present = int(key.removeprefix(OWN)) if key.startswith(OWN) else live_id_of_library_key(session, key)
        if present is None:
            shipped = library_material(key)
            if shipped is None:
                raise NotFound("The library has no such material.")
            # Under another name when one of the maker's own has it.
            typed = from_library(shipped)
            names = (
                typed.text["name"] if n == 1 else f"{typed.text['name']} (library{'' if n == 2 else f' {n - 1}'})"
                for n in count(1)
            )
            free = next(text for text in names if live_id_of_name(session, inci_key(text)) is None)
            present = insert_material(session, typed.but(name=free).checked()).id
        found[key] = present
    return found
