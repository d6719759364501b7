"""The area of the pH pages."""

from flask import Blueprint

blueprint = Blueprint("ph", __name__)
