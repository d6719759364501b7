"""What templates may use: numbers, money, dates, a key for each form."""

import secrets
from datetime import date, datetime
from decimal import Decimal
from typing import cast

from babel.numbers import format_currency, get_currency_symbol
from flask import Flask, g
from markupsafe import Markup, escape

from app import NAME, __version__
from app.store.types import plain_text
from app.store.workshop import Workshop, the_workshop
from app.web import context

DASH = "–"


def equip(app: Flask) -> None:
    """Give the templates their filters and globals."""
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.filters.update(
        plain=plain,
        places=places,
        money=money,
        day=day,
        moment=moment,
        phase_class=phase_class,
        soft_breaks=soft_breaks,
    )
    app.jinja_env.globals.update(
        app_name=NAME,
        app_version=__version__,
        form_key=form_key,
        workshop=workshop,
        person=context.person,
        currency_symbol=currency_symbol,
    )


def plain(value: Decimal | None) -> str:
    """Write a decimal as it is, without trailing zeros; a dash for none."""
    return DASH if value is None else plain_text(value)


def places(value: Decimal | None, count: int) -> str:
    """Write a decimal with a fixed number of places, half up; a dash for none."""
    if value is None:
        return DASH
    return f"{value.quantize(Decimal(1).scaleb(-count), rounding='ROUND_HALF_UP'):f}"


def money(value: Decimal | None, currency: str | None = None) -> str:
    """Write an amount in the workshop's currency, with that currency's decimals; a dash for none."""
    if value is None:
        return DASH
    shop = workshop()
    return str(format_currency(value, currency or shop.currency, locale=shop.locale))


def currency_symbol() -> str:
    """Give the symbol of the workshop's currency."""
    shop = workshop()
    return str(get_currency_symbol(shop.currency, locale=shop.locale))


def day(value: date | None) -> str:
    """Write a date so that day and month cannot be taken for each other; a dash for none."""
    return DASH if value is None else f"{value.day} {value:%b %Y}"


def moment(value: datetime | None) -> str:
    """Write a moment in local time; a dash for none."""
    return DASH if value is None else f"{day(value.astimezone().date())}, {value.astimezone():%H:%M}"


def phase_class(letter: str) -> str:
    """Name the pattern class of a phase letter; letters past H start over."""
    return f"phase-{'abcdefgh'[(ord(letter[:1].upper() or 'A') - ord('A')) % 8]}"


def soft_breaks(text: str) -> Markup:
    """Let a long name break after slashes and commas, with everything else escaped."""
    return Markup("/<wbr>").join(escape(part) for part in text.split("/"))


def form_key() -> str:
    """Make the one-time key of a form that makes a record."""
    return secrets.token_urlsafe(18)


def workshop() -> Workshop:
    """Give the workshop, read once per request."""
    if "workshop" not in g:
        with context.store().reading() as session:
            g.workshop = the_workshop(session)
    return cast(Workshop, g.workshop)
