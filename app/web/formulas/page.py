"""What the formula page shows: the draft, what follows from it, and what else is offered."""

from dataclasses import dataclass
from typing import Any

from flask import current_app, render_template

from app.store.engine import Store
from app.store.materials import Packaging
from app.web.formulas.forms import USES, Posted, new_id
from app.web.ph.section import ph_view
from app.work.formulas.deeds import code_faults, open_draft
from app.work.formulas.draft import Draft
from app.work.formulas.faults import FieldFault
from app.work.formulas.fields import Change, changes
from app.work.formulas.merge import Clash, merge
from app.work.formulas.results import LineResult, Results, percent_words, results_of
from app.work.formulas.shelf import settle
from app.work.formulas.steps import OpenDraft
from app.work.formulas.suggesting import Suggestion, unmatched
from app.work.formulas.versions import Origin, VersionRow, list_versions, origin_of
from app.work.rules.checks import FormulaChecks
from app.work.rules.section import checks_of, read_given_answers

BASES = {
    "w/w": "% w/w",
    "w/v": "% w/v",
    "v/v": "% v/v",
    "amounts": "amounts of this batch",
}


@dataclass(frozen=True, slots=True)
class Sheet:
    """One look at a formula: stored draft, typed draft, results, and the choices around it."""

    there: OpenDraft
    draft: Draft
    results: Results
    versions: list[VersionRow]
    origin: Origin | None
    packaging: list[Packaging]
    suggestions: dict[str, list[Suggestion]]
    checks: FormulaChecks | None


def look(store: Store, formula_id: int, typed: Draft | None = None) -> Sheet:
    """Read a formula and work out its draft, or what is typed in its place.

    Raises:
        NotFound: when there is no such formula.
    """
    with store.reading() as session:
        there = open_draft(session, formula_id)
        results = results_of(session, there, typed=typed and settle(session, typed, there.draft))
        draft = results.draft
        extras = list_versions(session, formula_id), origin_of(session, formula_id)
        pieces = [p for p in results.context.packaging.values() if p.retired_at is None]
        checks = checks_of(results, read_given_answers(session, formula_id))
    open_lines = [(line.draft.id, line.draft.typed) for line in results.lines if line.material is None]
    return Sheet(there, draft, results, *extras, pieces, unmatched(open_lines, store), checks)


def context(sheet: Sheet, **more: Any) -> dict[str, Any]:
    """Give the templates what they draw the page from; ``faults`` joins what is wrong anywhere by field."""
    faults = sheet.results.faults_by_field()
    for fault in (*code_faults(sheet.there), *more.pop("faults", ())):
        faults.setdefault(fault.field, []).append(fault)
    return {
        "sheet": sheet,
        "there": sheet.there,
        "draft": sheet.draft,
        "results": sheet.results,
        "faults": faults,
        "checks": sheet.checks,
        "bases": BASES,
        "uses": USES,
        "new_id": new_id,
        "rest_of": rest_of,
        "conflict": None,
        "row_version": sheet.there.row_version,
        "base": sheet.there.draft,
        "editor": new_id(),
        "empty_rows": 1,
        **more,
    }


def full_page(sheet: Sheet, **more: Any) -> str:
    """Render the whole page."""
    return render_template("formulas/page.html", ph=ph_view(sheet.results), **context(sheet, **more))


def unsaved_page(sheet: Sheet, form: Posted, **more: Any) -> str:
    """Render the page of a save that was not taken: as it was typed, and from where it started."""
    start = {"row_version": form.came.row_version, "editor": form.came.editor, "base": form.base or sheet.there.draft}
    return full_page(sheet, **start, **more)


def parts(sheet: Sheet, *, with_lines: bool, **more: Any) -> dict[str, Any]:
    """Render what a page that is open exchanges: figures at their lines, faults at their fields, results."""
    values = context(sheet, **more)
    pieces = {"results": render_template("formulas/_results.html", **values)}
    if with_lines:
        pieces["lines"] = render_template("formulas/_lines.html", **values)
        pieces["packs"] = render_template("formulas/_packs.html", **values)
    return {
        "row_version": sheet.there.row_version,
        "base": sheet.there.draft.to_json(),
        "saved": f"{sheet.there.changed_at.astimezone():%H:%M}",
        "undo": sheet.there.undo,
        "redo": sheet.there.redo,
        "lines": _pieces_of_lines(values),
        "faults": {
            field: {"words": one[0].message, "open": _only_open(one)} for field, one in values["faults"].items()
        },
        "parts": pieces,
    }


def _only_open(found: list[FieldFault]) -> bool:
    return all(fault.unfinished for fault in found)


def _pieces_of_lines(values: dict[str, Any]) -> dict[str, dict[str, str]]:
    """Render what follows from each line by its id: its figures, what it may mean, what it fills up with."""
    templates = current_app.jinja_env
    figures, offers = (templates.get_template(f"formulas/{name}.html") for name in ("_figures", "_offers"))
    results, suggestions = values["results"], values["sheet"].suggestions
    found = {}
    for line in results.lines:
        key = line.draft.id
        found[key] = {
            "figures": figures.render(line=line, results=results),
            "offers": offers.render(line_id=key, found=suggestions[key]) if suggestions.get(key) else "",
            "rest": rest_of(line, results),
        }
    return found


def rest_of(line: LineResult | None, results: Results) -> str:
    """Write the percentage that a line fills up with, where amounts are percentages w/w."""
    shown = line is not None and line.is_remainder and results.draft.basis == "w/w"
    return percent_words(line.percent) if shown and line and line.percent is not None else ""


@dataclass(frozen=True, slots=True)
class Conflict:
    """What the other page changed and where both changed the same field."""

    changes: tuple[Change, ...]
    clashes: tuple[Clash, ...]


def conflict_between(base: Draft | None, theirs: Draft, mine: Draft) -> Conflict:
    """Say what stands against what, when a save comes too late."""
    start = base or theirs
    return Conflict(changes(start, theirs), merge(start, theirs, mine).clashes)
