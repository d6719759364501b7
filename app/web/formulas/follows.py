"""What follows from a formula and takes longer than a keystroke may: its pH and its checks, asked after each save."""

from typing import TYPE_CHECKING, Any

from flask import get_template_attribute, render_template

from app.documents.drawings.ruler import PhFacts, ph_ruler, small_ph_ruler
from app.documents.drawings.shapes import Drawing
from app.documents.words import day, some_figures
from app.science.acid_base.wording import range_in_words
from app.web.ph.section import PhView, ph_view, windows_of
from app.work.formulas.readings import PhReading
from app.work.formulas.results import Results
from app.work.rules.formula_checks import checks_of

if TYPE_CHECKING:
    from app.web.formulas.page import FormulaPage

NOTES = {
    "ph": "ph/_section.html",
    "checks": "rules/_section.html",
    "cost": "formulas/_note_cost.html",
    "list": "formulas/_note_list.html",
    "substances": "formulas/_note_substances.html",
}


def follows(sheet: "FormulaPage") -> dict[str, Any]:
    """Return the pH and the checks of a formula, in words and whole."""
    found = checks_of(sheet.results, sheet.around.given)
    law = sheet.results.formula.jurisdiction.value
    if found is None:
        checks = {"law": law, "words": "–", "short": "–", "worst": "none"}
    else:
        kinds = [kind for kind in ("stop", "caution", "note") if found.home.open(kind)]
        count = len(found.home.open(kinds[0])) if kinds else 0
        checks = {"law": law, "words": found.home.summary, "short": f"{count}", "worst": kinds[0] if kinds else "none"}
    return {"ph": _ph(sheet), "checks": checks, "found": found}


def answer(sheet: "FormulaPage", opened: list[str]) -> dict[str, Any]:
    """Return what an open page exchanges: the words of the strip, the ruler, and the notes that are open."""
    found = follows(sheet)
    ph = found["ph"]
    values = {
        "results": sheet.results,
        "current": sheet.current,
        "follows": found,
        "view": ph["view"],
        "ruler": ph["drawing"],
        "so_far": ph["so_far"],
        "checks": found["found"],
    }
    bodies = {name: render_template(NOTES[name], **values) for name in opened if name in NOTES}
    words = {name: ph[name] for name in ("target", "figure", "note", "off", "ruler")}
    return {"row_version": sheet.current.row_version, "ph": words, "checks": found["checks"], "bodies": bodies}


def drawn(drawing: Drawing) -> str:
    """Write a drawing as the page draws it."""
    return str(get_template_attribute("_drawing.html", "draw")(drawing))


def facts_of(view: PhView | None, results: Results, readings: tuple[PhReading, ...]) -> PhFacts:
    """Return what stands on the ruler of pH."""
    if view is None or view.report.prediction is None:
        return PhFacts()
    ph = view.report.prediction.ph
    target = results.formula.target_ph
    read = tuple((float(r.ph), f"{r.ph:f}, {r.batch}, {day(r.taken_at.astimezone().date())}") for r in readings)
    return PhFacts(windows_of(view.report), ph, None if target is None else float(target), read)


def _ph(sheet: "FormulaPage") -> dict[str, Any]:
    """Return the pH in words and drawn; while the formula does not add up it is of what is written so far, undrawn."""
    view = ph_view(sheet.results)
    total = sheet.results.total
    target = sheet.results.formula.target_ph
    facts = facts_of(view, sheet.results, sheet.around.readings)
    wanted = "" if target is None else f", target {target.normalize():f}"
    found = {
        "view": view,
        "target": wanted,
        "figure": "–",
        "off": False,
        "note": "not known",
        "ruler": "",
        "drawing": None,
        "so_far": "",
    }
    if view is None or view.report.prediction is None or facts.predicted is None:
        return found
    figure = range_in_words(view.report.prediction.ph)
    if total.state != "whole":
        so_far = f"{some_figures(total.percent, 8)} %"
        return {
            **found,
            "target": "\N{NO-BREAK SPACE}so far",
            "figure": figure,
            "note": f"{figure} so far",
            "so_far": so_far,
        }
    return {
        **found,
        "figure": figure,
        "note": f"{figure}{wanted}",
        "off": bool(view.report.off_target),
        "ruler": drawn(small_ph_ruler(facts)),
        "drawing": ph_ruler(facts),
    }
