"""From a photograph to a list to correct."""

from flask import render_template, request

from app.science.errors import Invalid
from app.web.label_reading.area import Page, blueprint
from app.work.label_reading.lists import ListForm
from app.work.label_reading.photo import HOW_TO_ADD, photo_reading_here, read_photo


@blueprint.get("/photo")
def photo_page() -> str:
    """Ask for a picture of a list."""
    return render_template("label_reading/photo.html", here=photo_reading_here(), how=HOW_TO_ADD, fault="")


@blueprint.post("/photo")
def photo() -> Page:
    """Read a picture and show its list, with each doubtful name beside its piece of the picture."""
    sent = request.files.get("photo")
    try:
        if sent is None or not sent.filename:
            raise Invalid("photo", "Choose a picture first.")
        found = read_photo(sent.read())
    except Invalid as fault:
        here = photo_reading_here()
        page = render_template("label_reading/photo.html", here=here, how=HOW_TO_ADD, fault=fault.message)
        return page, 422
    return render_template(
        "label_reading/photo_read.html", found=found, typed=ListForm(ingredients=found.text), faults={}
    )
