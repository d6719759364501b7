"""A formula handed on: the page to publish, Markdown, plain text, the method card, and what a maker adds to them."""

from collections.abc import Mapping
from io import BytesIO

from flask import Response, flash, redirect, render_template, request, send_file, url_for
from werkzeug.wrappers import Response as Answer

from app.documents.paper import plain_name
from app.documents.recipes import method_card, recipe_markdown, recipe_page, recipe_text
from app.documents.render import PaperFault
from app.science.errors import Invalid
from app.store.recipes import pictures_of
from app.web import context
from app.web.papers.views import asked, setting
from app.web.recipes import classes
from app.web.recipes.area import blueprint
from app.work.form import Faults, Overtaken
from app.work.formulas.faults import IncompleteFormula
from app.work.paper_formula import asked_formula_at_size
from app.work.recipe import Recipe, recipe_of, with_notes
from app.work.recipe_notes import (
    PictureForm,
    RecipeForm,
    add_picture,
    kept_picture,
    kept_pictures,
    recipe_form,
    remove_picture,
    save_recipe_notes,
)
from app.work.recipe_substitutes import replaceable, substitutes_for

__all__ = ["blueprint", "classes"]

Page = Answer | str | tuple[str, int]
KINDS = {
    "html": "text/html; charset=utf-8",
    "md": "text/markdown; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
}


def _recipe(formula_id: int) -> Recipe:
    with context.store().reading() as session:
        return recipe_of(session, asked(formula_id))


@blueprint.get("/formulas/<int:formula_id>/recipe")
def show(formula_id: int) -> Page:
    """Show the recipe of a formula, what was added to it, and the ways to hand it on."""
    return _show(formula_id)


def _show(
    formula_id: int, form: RecipeForm | None = None, faults: Mapping[str, str] | None = None, **more: object
) -> Page:
    """Show the recipe with the words as kept or as typed; ``more`` is what a fault adds."""
    with context.store().reading() as session:
        kept, pictures = recipe_form(session, formula_id), pictures_of(session, formula_id)
    typed = form or kept
    given = {"faults": faults or {}, "differences": (), "picture": PictureForm(), "seen": kept.fingerprint, **more}
    try:
        found = _recipe(formula_id)
    except (IncompleteFormula, Invalid) as error:
        why = error.message if isinstance(error, Invalid) else "The formula does not add up yet."
        return render_template("recipes/not_yet.html", formula_id=formula_id, words=why, form=typed), 422
    return render_template(
        "recipes/show.html", recipe=found, formula_id=formula_id, form=typed, pictures=pictures,
        query=request.query_string.decode("ascii", "ignore"), **given,
    )  # fmt: skip


@blueprint.post("/formulas/<int:formula_id>/recipe")
def publish(formula_id: int) -> Page:
    """Save what was added to the recipe, or give the recipe as a file with just what is typed."""
    form, kind = RecipeForm.sent(request.form), request.form.get("kind", "html")
    try:
        form.checked()
    except Faults as wrong:
        return _refused(formula_id, 422, form, wrong.by_field)
    if kind == "save":
        seen = request.form.get("seen", "")
        try:
            save_recipe_notes(context.store(), formula_id, form, seen)
        except Overtaken as wrong:
            return _refused(formula_id, 409, form, {}, differences=wrong.differences)
        flash("Saved what stands on the recipe.")
        return redirect(_recipe_address(formula_id), 303)
    if kind not in KINDS:
        return _refused(formula_id, 422, form, {"words": "Choose a page, Markdown or plain text."})
    try:
        found = with_notes(_recipe(formula_id), form)
    except (IncompleteFormula, Invalid):
        return _show(formula_id, form)
    name = f"{plain_name('recipe', found.formula.name)}.{kind}"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(_written(kind, formula_id, found), content_type=KINDS[kind], headers=headers)


def _written(kind: str, formula_id: int, found: Recipe) -> str:
    if kind == "html":
        return recipe_page(found, kept_pictures(context.store(), formula_id))
    return recipe_markdown(found) if kind == "md" else recipe_text(found)


def _refused(formula_id: int, status: int, form: RecipeForm, faults: Mapping[str, str], **more: object) -> Page:
    page = _show(formula_id, form, faults, **more)
    return (page, status) if isinstance(page, str) else page


def _recipe_address(formula_id: int) -> str:
    query = request.query_string.decode("ascii", "ignore")
    return url_for("recipes.show", formula_id=formula_id) + (f"?{query}" if query else "")


@blueprint.post("/formulas/<int:formula_id>/recipe/pictures")
def new_picture(formula_id: int) -> Page:
    """Keep a picture for the recipe."""
    form, file = PictureForm.sent(request.form), request.files.get("picture")
    try:
        data = file.read() if file else b""
        add_picture(context.store(), formula_id, form, data, key=request.form.get("key", ""))
    except Faults as wrong:
        page = _show(formula_id, None, wrong.by_field, picture=form)
        return (page, 422) if isinstance(page, str) else page
    flash("Picture kept.")
    return redirect(_recipe_address(formula_id), 303)


@blueprint.get("/formulas/<int:formula_id>/recipe/pictures/<int:picture_id>.jpg")
def picture(formula_id: int, picture_id: int) -> Answer:
    """Return a picture of the recipe."""
    return send_file(BytesIO(kept_picture(context.store(), formula_id, picture_id).content), mimetype="image/jpeg")


@blueprint.post("/formulas/<int:formula_id>/recipe/pictures/<int:picture_id>/remove")
def no_picture(formula_id: int, picture_id: int) -> Answer:
    """Take a picture off the recipe."""
    flash(f"Taken off: {remove_picture(context.store(), formula_id, picture_id)}.")
    return redirect(_recipe_address(formula_id), 303)


@blueprint.get("/formulas/<int:formula_id>/recipe/substitutes")
def substitutes(formula_id: int) -> Page:
    """Show what may take the place of one material, with what else changes."""
    key = request.args.get("line", "")
    try:
        with context.store().reading() as session:
            formula = asked_formula_at_size(session, asked(formula_id))
            lines = replaceable(formula)
            line = next((one for one in lines if one.key == key), None)
            found = substitutes_for(session, formula, key) if line else ()
            form = recipe_form(session, formula_id)
    except (IncompleteFormula, Invalid):
        return _show(formula_id)
    return render_template(
        "recipes/substitutes.html", formula=formula, lines=lines, line=line, found=found, form=form,
        formula_id=formula_id, query=request.query_string.decode("ascii", "ignore"),
    )  # fmt: skip


@blueprint.get("/formulas/<int:formula_id>/method-card.pdf")
def card(formula_id: int) -> Page:
    """Return the method card of a formula."""
    try:
        found = _recipe(formula_id)
        paper = method_card(found, setting(), kept_pictures(context.store(), formula_id))
    except (IncompleteFormula, Invalid):
        return _show(formula_id)
    except PaperFault as error:
        return render_template("papers/fault.html", reason=str(error), back=_recipe_address(formula_id)), 503
    headers = {"Content-Disposition": f'inline; filename="{paper.name}"'}
    return Response(paper.content, mimetype="application/pdf", headers=headers)
