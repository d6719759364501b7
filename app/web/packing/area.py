"""The blueprint that the modules of this area hang their pages on."""

from flask import Blueprint

blueprint = Blueprint("packing", __name__)
