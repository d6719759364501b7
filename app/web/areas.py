"""Which areas there are: every package of this folder that holds a ``views.blueprint``."""

import importlib
import pkgutil

from flask import Flask

from app import web


def register(app: Flask) -> None:
    """Register the blueprint of each area, in alphabetical order."""
    for module in sorted(pkgutil.iter_modules(web.__path__), key=lambda m: m.name):
        if module.ispkg:
            app.register_blueprint(importlib.import_module(f"app.web.{module.name}.views").blueprint)
