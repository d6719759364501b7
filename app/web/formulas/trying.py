"""Other amounts tried beside the draft: nothing is written until they are taken."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from flask import flash, jsonify, redirect, render_template, request, url_for

from app.documents.words import decimals, plain, signed
from app.science.errors import Invalid
from app.web import context
from app.web.formulas.area import Page, blueprint
from app.web.formulas.figures import line_figures, most_decimals
from app.web.formulas.forms import new_id, one_line
from app.work.formulas.draft import Draft
from app.work.formulas.editing import DraftConflict, SaveOrigin, open_draft, save_draft
from app.work.formulas.faults import IncompleteFormula
from app.work.formulas.outcome import OutcomePair, outcome, side_by_side, with_amounts
from app.work.formulas.results import Results, results_of
from app.work.formulas.steps import OpenDraft
from app.work.formulas.versions import keep_version
from app.work.rules.formula_checks import read_given_answers

AMOUNT = "amount."
SIDES = ("now", "tried")
OVERTAKEN = "The formula was changed in another place in the meantime; look at it, then try again."


@dataclass(frozen=True, slots=True)
class Trial:
    """A draft with other amounts beside it, both worked out."""

    current: OpenDraft
    tried: Draft
    now: Results
    then: Results
    pair: OutcomePair

    @property
    def unread(self) -> int:
        """How many of the tried lines have no percentage that can be read."""
        return len(self.then.resolution.unknown)


def look_at(formula_id: int) -> Trial:
    """Work out the draft and what is tried beside it.

    Raises:
        NotFound: when there is no such formula.
    """
    typed = {
        name.removeprefix(AMOUNT): one_line(text) for name, text in request.form.items() if name.startswith(AMOUNT)
    }
    with context.store().reading() as session:
        current = open_draft(session, formula_id)
        tried = with_amounts(current.draft, typed)
        now, then = results_of(session, current), results_of(session, current, typed=tried)
        given = read_given_answers(session, formula_id)
    pair = side_by_side(outcome(now.formula, given), outcome(then.formula, given))
    return Trial(current, tried, now, then, pair)


def rows_of(trial: Trial) -> list[dict[str, Any]]:
    """Return each line with its amount now and tried, the grams, and the difference in % w/w."""
    found = []
    for line in trial.then.lines:
        before = trial.now.line(line.draft.id)
        figures = line_figures(line, trial.then)
        was = before.percent if before else None
        change = line.percent - was if line.percent is not None and was is not None else Decimal(0)
        found.append(
            {
                "line": line.draft,
                "letter": trial.tried.letter_of(line.draft.phase),
                "now": was,
                "was": before.draft.amount if before else "",
                "grams": figures["grams"],
                "rest": figures["rest"],
                "change": signed(plain(change)) if change else "",
            }
        )
    return found


@blueprint.get("/<int:formula_id>/what-if")
def what_if(formula_id: int) -> Page:
    """Show the amounts of the draft with a second set beside them."""
    return _page(look_at(formula_id))


def _page(trial: Trial, fault: str = "") -> str:
    values: dict[str, Any] = {
        "trial": trial,
        "rows": rows_of(trial),
        "current": trial.current,
        "pair": trial.pair,
        "unread": trial.unread,
        "fault": fault,
        "most_decimals": most_decimals,
        "decimals": decimals,
    }
    return render_template(
        "formulas/what_if.html", faults=trial.then.faults_by_field(), sides=("now", "tried"), **values
    )


@blueprint.post("/<int:formula_id>/what-if")
def try_amounts(formula_id: int) -> Page:
    """Work out what is tried; take it as the draft or as a version when asked."""
    trial, do = look_at(formula_id), request.form.get("do", "")
    if request.headers.get("X-Live") == "1":
        words = render_template("formulas/_outcome.html", pair=trial.pair, sides=SIDES, unread=trial.unread)
        lines = {row["line"].id: {name: row[name] for name in ("grams", "change", "rest")} for row in rows_of(trial)}
        faults = {name: found[0].message for name, found in trial.then.faults_by_field().items()}
        return jsonify({"outcome": words, "lines": lines, "faults": faults})
    if do not in {"draft", "version"}:
        return _page(trial)
    try:
        version = request.form.get("row_version", "")
        origin = SaveOrigin(int(version) if version.isdecimal() else 0, f"trial-{new_id()}")
        save_draft(context.store(), formula_id, trial.tried, origin, change="Other amounts taken over")
        if do == "version":
            keep_version(context.store(), formula_id, request.form.get("note", ""), context.person())
    except DraftConflict:
        return _page(trial, OVERTAKEN), 409
    except (Invalid, IncompleteFormula) as error:
        return _page(trial, str(error)), 422
    flash("Saved as a version." if do == "version" else "The amounts are in the draft. Undo takes them back.")
    return redirect(url_for("formulas.show", formula_id=formula_id), 303)
