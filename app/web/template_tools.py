"""What page templates may use besides the words of every document: the workshop, a key for each form."""

import secrets
from typing import cast

from flask import Flask, g, request

from app import NAME, __version__
from app.documents import words
from app.documents.render import pdf_state
from app.store.workshop import Workshop, the_workshop
from app.web import context
from app.web.navigation import AREAS, place_of
from app.web.neighbours import neighbours


def register_template_tools(app: Flask) -> None:
    """Give the templates their filters and globals."""
    words.register_filters(app.jinja_env)
    app.context_processor(lambda: {"head_place": place_of(request.path)})
    app.jinja_env.globals.update(
        app_name=NAME,
        app_version=__version__,
        form_key=form_key,
        workshop=workshop,
        person=context.person,
        neighbours=neighbours,
        areas=AREAS,
        currency_symbol=currency_symbol,
        pdf_state=pdf_state,
    )


def currency_symbol() -> str:
    """Return the symbol of the workshop's currency."""
    return words.symbol_of(workshop())


def form_key() -> str:
    """Make the one-time key of a form that makes a record."""
    return secrets.token_urlsafe(18)


def workshop() -> Workshop:
    """Return the workshop, read once per request."""
    if "workshop" not in g:
        with context.store().reading() as session:
            g.workshop = the_workshop(session)
    return cast(Workshop, g.workshop)
