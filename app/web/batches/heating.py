"""The pot weighed before and after heating, and the water that is put back."""

from flask import request

from app.web import context
from app.web.batches.area import blueprint
from app.web.batches.page import Page, done, typed_in
from app.work.batches.heating import (
    BeforeForm,
    PotCorrection,
    PotForm,
    begin_heating,
    correct_heating,
    end_heating,
    put_water_back,
)


@blueprint.post("/<int:batch_id>/heating")
def weigh_before(batch_id: int) -> Page:
    """Record a pot before heating."""
    typed = BeforeForm.sent(request.form)
    return done(batch_id, lambda: begin_heating(context.store(), batch_id, typed, key=typed_in("key")), "heating")


@blueprint.post("/<int:batch_id>/heating/<int:heating_id>/after")
def weigh_after(batch_id: int, heating_id: int) -> Page:
    """Record the pot after heating."""

    def act() -> None:
        end_heating(context.store(), batch_id, heating_id, PotForm.sent(request.form), key=typed_in("key"))

    return done(batch_id, act, "heating")


@blueprint.post("/<int:batch_id>/heating/<int:heating_id>/water")
def put_back(batch_id: int, heating_id: int) -> Page:
    """Record water that was put back."""

    def act() -> None:
        put_water_back(context.store(), batch_id, heating_id, PotForm.sent(request.form), key=typed_in("key"))

    return done(batch_id, act, "heating")


@blueprint.post("/<int:batch_id>/heating/<int:heating_id>/correct")
def correct_pot(batch_id: int, heating_id: int) -> Page:
    """Correct the weights of a pot."""

    def act() -> None:
        typed = PotCorrection.sent(request.form)
        correct_heating(context.store(), batch_id, heating_id, typed, key=typed_in("key"))

    return done(batch_id, act, "heating")
