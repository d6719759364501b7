"""The blueprint that the modules of this area hang their pages on."""

from flask import Blueprint

blueprint = Blueprint("recipes", __name__)
