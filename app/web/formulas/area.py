"""The area of the formula pages."""

from flask import Blueprint
from werkzeug.wrappers import Response

blueprint = Blueprint("formulas", __name__, url_prefix="/formulas")
Page = str | Response | tuple[str | Response, int]
