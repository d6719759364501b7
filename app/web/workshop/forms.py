"""What the pages of the workshop send, read as it was typed."""

from collections.abc import Mapping
from dataclasses import fields

from app.work.bench_gear import TypedPackaging, TypedScale
from app.work.workshop import TypedSettings


def typed_settings(form: Mapping[str, str]) -> TypedSettings:
    """Read the settings."""
    return TypedSettings(**{f.name: form.get(f.name, "") for f in fields(TypedSettings)})


def typed_scale(form: Mapping[str, str]) -> TypedScale:
    """Read a scale."""
    return TypedScale(**{f.name: form.get(f.name, "") for f in fields(TypedScale)})


def typed_packaging(form: Mapping[str, str]) -> TypedPackaging:
    """Read a piece of packaging."""
    return TypedPackaging(**{f.name: form.get(f.name, "") for f in fields(TypedPackaging)})
