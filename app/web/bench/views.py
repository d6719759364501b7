"""The first page and the help page."""

from flask import Blueprint, render_template

blueprint = Blueprint("bench", __name__)


@blueprint.get("/")
def home() -> str:
    """Show what is on the bench."""
    return render_template("bench/home.html")


@blueprint.get("/help")
def help_page() -> str:
    """Show how the pages work and which keys there are."""
    return render_template("bench/help.html")
