"""The area of the rules; the checks of a formula stand under the address of the formula."""

from flask import Blueprint
from werkzeug.wrappers import Response

blueprint = Blueprint("rules", __name__)
Page = str | Response | tuple[str, int]
