"""The first page and the help page."""

from flask import Blueprint, render_template

from app.web import context
from app.work.first_page import look_at_bench

blueprint = Blueprint("bench", __name__)


@blueprint.get("/")
def home() -> str:
    """Show what is on the bench."""
    return render_template("bench/home.html", bench=look_at_bench(context.store()))


@blueprint.get("/help")
def help_page() -> str:
    """Show how the pages work and which keys there are."""
    return render_template("bench/help.html")
