"""Pots and beakers, and what each usually loses while it is heated, learned from the batches made in it."""

from collections import defaultdict
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.heating import LearnedLoss, Pot, learned_loss
from app.store.batches import Heating
from app.store.engine import Store
from app.store.workshop import vessels


def learned_losses(session: Session) -> dict[str, LearnedLoss]:
    """Return what each vessel lost in the last batches that were heated in it, by its name."""
    replaced = select(Heating.replaces_id).where(Heating.replaces_id.is_not(None))
    ended = select(Heating).where(Heating.after_g.is_not(None), Heating.id.not_in(replaced)).order_by(Heating.id)
    lost: dict[str, list[Decimal]] = defaultdict(list)
    for one in session.scalars(ended):
        lost[one.vessel].append(one.lost_g or Decimal(0))
    return {vessel: learned_loss(grams) for vessel, grams in lost.items()}


def load_learned(store: Store) -> dict[str, LearnedLoss]:
    """Return what each vessel usually loses, for a page."""
    with store.reading() as session:
        return learned_losses(session)


def pots_of(session: Session) -> tuple[Pot, ...]:
    """Return the vessels of the workshop with what they usually lose."""
    learned = learned_losses(session)
    return tuple(Pot(one.name, one.tare_g, learned.get(one.name)) for one in vessels(session))
