"""What the formula page shows: the draft, what follows from it, and what else is offered."""

from dataclasses import dataclass
from typing import Any

from flask import current_app, render_template, request

from app.documents.words import decimals, plain
from app.reference.product_kinds import kinds_by_group, propose_kind
from app.store.engine import Store
from app.web.context import person
from app.web.formulas.columns import COLUMNS, chosen
from app.web.formulas.figures import figures, most_decimals
from app.web.formulas.follows import follows
from app.web.formulas.forms import USES, PostedFormula, new_id
from app.work.formulas.around import Around, read_around
from app.work.formulas.draft import Draft
from app.work.formulas.editing import code_faults, open_draft
from app.work.formulas.fields import FieldChange, changes
from app.work.formulas.merge import MergeConflict, merge
from app.work.formulas.pinned_materials import match_materials
from app.work.formulas.results import Results, results_of
from app.work.formulas.steps import OpenDraft
from app.work.formulas.suggesting import Suggestion, unmatched

BASES = {
    "w/w": "% w/w",
    "w/v": "% w/v",
    "v/v": "% v/v",
    "amounts": "weights and volumes",
}


@dataclass(frozen=True, slots=True)
class FormulaPage:
    """One look at a formula: stored draft, typed draft, results, and the choices around it."""

    current: OpenDraft
    draft: Draft
    results: Results
    around: Around
    suggestions: dict[str, list[Suggestion]]


def load_page(store: Store, formula_id: int, typed: Draft | None = None, *, whole: bool = True) -> FormulaPage:
    """Read a formula and work out its draft, or what is typed in its place.

    Without ``whole`` what stands around it stays unread: versions, answers to findings, readings at the bench.

    Raises:
        NotFound: when there is no such formula.
    """
    with store.reading() as session:
        current = open_draft(session, formula_id)
        results = results_of(session, current, typed=typed and match_materials(session, typed, current.draft))
        draft = results.draft
        around = read_around(session, formula_id) if whole else Around()
    open_lines = [(line.draft.id, line.draft.typed) for line in results.lines if line.material is None]
    return FormulaPage(current, draft, results, around, unmatched(open_lines, store))


def context(sheet: FormulaPage, **more: Any) -> dict[str, Any]:
    """Return what the templates draw the page from; ``faults`` joins what is wrong anywhere by field."""
    faults = sheet.results.faults_by_field()
    for fault in (*code_faults(sheet.current), *more.pop("faults", ())):
        faults.setdefault(fault.field, []).append(fault)
    columns = chosen(request, person())
    return {
        "sheet": sheet,
        "current": sheet.current,
        "draft": sheet.draft,
        "results": sheet.results,
        "faults": faults,
        "figures": figures(sheet.results, columns),
        "decimals": decimals,
        "most_decimals": most_decimals,
        "columns": columns,
        "all_columns": COLUMNS,
        "usual_loss": plain(sheet.results.context.workshop.loss_percent),
        "bases": BASES,
        "uses": USES,
        "kinds": kinds_by_group(),
        "proposed_kind": propose_kind(sheet.draft.product_type),
        "new_id": new_id,
        "conflict": None,
        "row_version": sheet.current.row_version,
        "base": sheet.current.draft,
        "editor": new_id(),
        "empty_rows": 1,
        **more,
    }


def full_page(sheet: FormulaPage, **more: Any) -> str:
    """Render the whole page."""
    return render_template("formulas/page.html", **context(sheet, follows=follows(sheet), **more))


def unsaved_page(sheet: FormulaPage, form: PostedFormula, **more: Any) -> str:
    """Render the page of a save that was not taken: as it was typed, and from where it started."""
    start = {
        "row_version": form.origin.row_version,
        "editor": form.origin.editor,
        "base": form.base or sheet.current.draft,
    }
    return full_page(sheet, **start, **more)


def parts(sheet: FormulaPage, *, with_lines: bool, **more: Any) -> dict[str, Any]:
    """Return what a page that is open exchanges: figures, and faults at their fields; rows only where they changed."""
    values = context(sheet, **more)
    pieces = {"problems": render_template("formulas/_note_faults.html", **values)}
    if with_lines:
        pieces["lines"] = render_template("formulas/_lines.html", **values)
    # Render what a line without a material may mean, by its id.
    template = current_app.jinja_env.get_template("formulas/_offers.html")
    return {
        "row_version": sheet.current.row_version,
        "base": sheet.current.draft.to_json(),
        "saved": f"{sheet.current.changed_at.astimezone():%H:%M}",
        "undo": sheet.current.undo,
        "redo": sheet.current.redo,
        "figures": values["figures"],
        "offers": {key: template.render(line_id=key, found=found) for key, found in sheet.suggestions.items()},
        "faults": {
            field: {"words": one[0].message, "open": all(fault.unfinished for fault in one)}
            for field, one in values["faults"].items()
        },
        "parts": pieces,
    }


@dataclass(frozen=True, slots=True)
class SaveConflict:
    """What the other page changed and where both changed the same field."""

    changes: tuple[FieldChange, ...]
    clashes: tuple[MergeConflict, ...]


def conflict_between(base: Draft | None, theirs: Draft, mine: Draft) -> SaveConflict:
    """Return what stands against what, when a save comes too late."""
    start = base or theirs
    return SaveConflict(changes(start, theirs), merge(start, theirs, mine).clashes)
