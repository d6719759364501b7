"""The area of the pages that read a label."""

from flask import Blueprint
from werkzeug.wrappers import Response

blueprint = Blueprint("label_reading", __name__, url_prefix="/read-a-label")
Page = str | Response | tuple[str | Response, int]
"""What a view answers."""
