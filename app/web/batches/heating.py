"""The pot weighed before and after heating, and the water that is put back."""

from flask import request

from app.web import context
from app.web.batches.area import blueprint
from app.web.batches.page import Page, done, typed_in
from app.work.batches.heating import TypedPot, begin_heating, correct_heating, end_heating, put_water_back


def _pot() -> TypedPot:
    names = ("grams", "who", "vessel", "phase", "scale", "gear_reason", "sure")
    return TypedPot(**{name: request.form.get(name, "") for name in names})


@blueprint.post("/<int:batch_id>/heating")
def weigh_before(batch_id: int) -> Page:
    """Record a pot before heating."""
    return done(batch_id, lambda: begin_heating(context.store(), batch_id, _pot(), key=typed_in("key")), "heating")


@blueprint.post("/<int:batch_id>/heating/<int:heating_id>/after")
def weigh_after(batch_id: int, heating_id: int) -> Page:
    """Record the pot after heating."""

    def act() -> None:
        end_heating(context.store(), batch_id, heating_id, _pot(), key=typed_in("key"))

    return done(batch_id, act, "heating")


@blueprint.post("/<int:batch_id>/heating/<int:heating_id>/water")
def put_back(batch_id: int, heating_id: int) -> Page:
    """Record water that was put back."""

    def act() -> None:
        put_water_back(context.store(), batch_id, heating_id, _pot(), lot=typed_in("lot"), key=typed_in("key"))

    return done(batch_id, act, "heating")


@blueprint.post("/<int:batch_id>/heating/<int:heating_id>/correct")
def correct_pot(batch_id: int, heating_id: int) -> Page:
    """Correct the weights of a pot."""

    def act() -> None:
        correct_heating(
            context.store(),
            batch_id,
            heating_id,
            before=typed_in("before"),
            after=typed_in("after"),
            who=typed_in("who"),
            reason=typed_in("reason"),
            key=typed_in("key"),
        )

    return done(batch_id, act, "heating")
