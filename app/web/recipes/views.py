"""A formula handed on: the page to publish, Markdown, plain text, the method card."""

from flask import Response, render_template, request, url_for

from app.documents.paper import plain_name
from app.documents.recipes import method_card, recipe_markdown, recipe_page, recipe_text
from app.documents.render import PaperFault
from app.science.errors import Invalid
from app.web import context
from app.web.papers.views import asked, setting
from app.web.recipes import classes
from app.web.recipes.area import blueprint
from app.work.field_reading import LONGEST_TEXT, clean_text
from app.work.formulas.faults import IncompleteFormula
from app.work.recipe import Recipe, recipe_of

__all__ = ["blueprint", "classes"]

Page = Response | str | tuple[str, int]
KINDS = {
    "html": ("text/html; charset=utf-8", recipe_page),
    "md": ("text/markdown; charset=utf-8", recipe_markdown),
    "txt": ("text/plain; charset=utf-8", recipe_text),
}


def _recipe(formula_id: int) -> Recipe:
    with context.store().reading() as session:
        return recipe_of(session, asked(formula_id))


@blueprint.get("/formulas/<int:formula_id>/recipe")
def show(formula_id: int) -> Page:
    """Show the recipe of a formula and the ways to hand it on."""
    return _show(formula_id, "", "")


def _show(formula_id: int, own_words: str, fault: str) -> Page:
    try:
        found = _recipe(formula_id)
    except (IncompleteFormula, Invalid) as error:
        why = error.message if isinstance(error, Invalid) else "The formula does not add up yet."
        return render_template("recipes/not_yet.html", formula_id=formula_id, words=why, own_words=own_words), 422
    page = render_template(
        "recipes/show.html", recipe=found, formula_id=formula_id, own_words=own_words, fault=fault,
        query=request.query_string.decode("ascii", "ignore"),
    )  # fmt: skip
    return (page, 422) if fault else page


@blueprint.post("/formulas/<int:formula_id>/recipe")
def publish(formula_id: int) -> Page:
    """Give the recipe as a file, with the publisher's own words in it."""
    typed, kind = request.form.get("words", ""), request.form.get("kind", "html")
    try:
        own_words = clean_text(typed, "words", longest=LONGEST_TEXT)
        if kind not in KINDS:
            raise Invalid("kind", "Choose a page, Markdown or plain text.")
    except Invalid as fault:
        return _show(formula_id, typed, fault.message)
    try:
        found = _recipe(formula_id)
    except (IncompleteFormula, Invalid):
        return _show(formula_id, typed, "")
    mimetype, write = KINDS[kind]
    name = f"{plain_name('recipe', found.formula.name)}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(write(found, own_words), content_type=mimetype, headers=headers)


@blueprint.get("/formulas/<int:formula_id>/method-card.pdf")
def card(formula_id: int) -> Page:
    """Give the method card of a formula."""
    try:
        found = _recipe(formula_id)
        paper = method_card(found, setting())
    except (IncompleteFormula, Invalid):
        return _show(formula_id, "", "")
    except PaperFault as error:
        back = url_for("recipes.show", formula_id=formula_id)
        return render_template("papers/fault.html", reason=str(error), back=back), 503
    headers = {"Content-Disposition": f'inline; filename="{paper.name}"'}
    return Response(paper.content, mimetype="application/pdf", headers=headers)
