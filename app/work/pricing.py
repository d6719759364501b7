"""Which prices a material or packaging is reckoned with: converted by the rates of their days, chosen by the workshop.

The workshop chooses the last purchase, the average of what is on hand, or the best offer for the amount; where nothing
that was paid for is on hand, the last purchase counts, and where nothing was paid, everything that is known. Of several
prices, ``price_for`` takes the least that applies, so that no gram or piece is dearer because more is bought.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from decimal import Decimal

from babel.numbers import format_currency, get_currency_precision
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.science.formula import Price
from app.science.numbers import exact_arithmetic, to_places
from app.store import materials as stored
from app.store.products import ExchangeRate, exchange_rates
from app.store.stock import Lot, LotState, MoveKind, StockMove
from app.store.workshop import CostBy, the_workshop

ZERO, ONE = Decimal(0), Decimal(1)
CAME = (MoveKind.RECEIVED, MoveKind.MADE)


def in_currency(value: Decimal, currency: str, locale: str) -> str:
    """Write an amount with the sign and the decimals of its currency, rounded half up."""
    rounded = to_places(value, get_currency_precision(currency))
    return str(format_currency(rounded, currency, locale=locale))


@dataclass(frozen=True, slots=True)
class Exchange:
    """The currency to reckon in, and what one unit of others was worth on the days somebody typed it.

    Rates are typed in the workshop's currency, ``typed_in``; that is also the one to reckon in where it is empty.
    """

    home: str
    rates: Mapping[str, tuple[tuple[date, Decimal], ...]] = field(default_factory=dict)
    typed_in: str = ""

    def into(self, currency: str) -> "Exchange":
        """Return the same for reckoning in another currency."""
        return replace(self, home=currency, typed_in=self.typed_in or self.home)

    def rate(self, currency: str, day: date) -> Decimal | None:
        """Return the rate that held on a day: the last typed until then, else the first after; None without one."""
        if currency in ("", self.home):
            return ONE
        one, home = self._typed(currency, day), self._typed(self.home, day)
        return None if one is None or home is None else one / home

    def _typed(self, currency: str, day: date) -> Decimal | None:
        if currency == (self.typed_in or self.home):
            return ONE
        typed = self.rates.get(currency, ())
        until = [rate for noted, rate in typed if noted <= day]
        return until[-1] if until else typed[0][1] if typed else None

    def at_home(self, amount: Decimal, currency: str, day: date) -> Decimal | None:
        """Return an amount in the workshop's currency; None where no rate is known."""
        rate = self.rate(currency, day)
        if rate is None:
            return None
        with exact_arithmetic():
            return amount * rate


def exchange_of(session: Session) -> Exchange:
    """Read the workshop's currency and the rates that were typed, of each the oldest first."""
    typed: dict[str, list[tuple[date, Decimal]]] = defaultdict(list)
    for row in reversed(exchange_rates(session)):
        typed[row.currency].append((row.noted_on, row.rate))
    return Exchange(the_workshop(session).currency, {code: tuple(rates) for code, rates in typed.items()})


def note_rate(session: Session, currency: str, rate: Decimal, day: date) -> None:
    """Write what one unit of a currency is worth in that of the workshop on a day; one of the same day gives way."""
    row = session.get(ExchangeRate, (currency, day)) or ExchangeRate(currency=currency, noted_on=day)
    row.rate = rate
    session.add(row)


def pack_price(piece: stored.PackagingRow, exchange: Exchange) -> Decimal | None:
    """Return what a pack of packaging costs by its newest price, in the workshop's currency; None where not known."""
    price = stored.newest_price(piece.prices)
    amount = exchange.at_home(price.amount, price.currency, price.priced_on) if price else None
    if price is None or amount is None:
        return None
    return to_places(amount * piece.units_per_pack / price.quantity_g, 4)


@dataclass(frozen=True, slots=True)
class Average:
    """What is on hand of a thing and was paid for: its amount and its value in the workshop's currency."""

    amount: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class PriceBook:
    """How prices are read: the exchange, the workshop's choice, and the averages of what is on hand by thing.

    With ``until``, prices of a later day count only for what had none before, and so do those that were entered after
    ``closed``.
    """

    exchange: Exchange
    cost_by: CostBy
    averages: Mapping[tuple[str, int], Average]
    day: date | None = None
    until: date | None = None
    closed: datetime | None = None

    def as_of(self, day: date, currency: str, closed: datetime | None = None) -> "PriceBook":
        """Return the book of a past day in the currency of a record: what had been paid last, whatever came after.

        Args:
            day: the last day of the record.
            currency: the one it is reckoned in.
            closed: when the record was closed; None while it is open.
        """
        return PriceBook(self.exchange.into(currency), CostBy.LAST, {}, until=day, closed=closed)

    def of_material(self, material: stored.MaterialRow) -> tuple[Price, ...]:
        """Return the prices that a material is reckoned with."""
        return self._chosen(material.prices, ("material", material.id))

    def of_packaging(self, piece: stored.PackagingRow) -> tuple[Price, ...]:
        """Return the prices that a piece of packaging is reckoned with, its pieces in place of grams."""
        return self._chosen(piece.prices, ("packaging", piece.id))

    def _was_known(self, price: stored.PriceRow) -> bool:
        return self.closed is None or price.noted_at is None or price.noted_at <= self.closed

    def _chosen(self, prices: Sequence[stored.PriceRow], thing: tuple[str, int]) -> tuple[Price, ...]:
        if self.until is not None:
            day = self.until
            prices = [price for price in prices if price.priced_on <= day and self._was_known(price)] or prices[-1:]
        # In the currency to reckon in, the newest first; one of a currency without a rate is left out.
        found = ((price, self.exchange.at_home(price.amount, price.currency, price.priced_on)) for price in prices)
        known = tuple(
            Price(amount, price.quantity_g, price.kind is stored.PriceKind.OFFERED, price.priced_on)
            for price, amount in found
            if amount is not None
        )
        average = self.averages.get(thing)
        if self.cost_by is CostBy.AVERAGE and average is not None:
            return (Price(average.value, average.amount, day=self.day),)
        paid = [price for price in known if not price.is_offer]
        if self.cost_by is not CostBy.BEST and paid:
            return (paid[0],)
        return known


def price_book(session: Session) -> PriceBook:
    """Read how prices are reckoned with now."""
    shop, exchange = the_workshop(session), exchange_of(session)
    averages = _averages(session, exchange) if shop.cost_by is CostBy.AVERAGE else {}
    return PriceBook(exchange, shop.cost_by, averages)


def received_amounts(session: Session, lot_ids: Iterable[int] | None = None) -> dict[int, Decimal]:
    """Return how much of each lot came, grams or pieces."""
    asked = select(StockMove.lot_id, func.sum(StockMove.amount)).where(StockMove.kind.in_(CAME))
    if lot_ids is not None:
        asked = asked.where(StockMove.lot_id.in_(sorted(lot_ids)))
    return {lot_id: Decimal(amount) for lot_id, amount in session.execute(asked.group_by(StockMove.lot_id))}


def _averages(session: Session, exchange: Exchange) -> dict[tuple[str, int], Average]:
    """Return what is on hand and was paid for, by thing; a lot that was refused does not count."""
    lots = session.execute(
        select(Lot.id, Lot.material_id, Lot.packaging_id, Lot.on_hand, Lot.paid, Lot.currency, Lot.received_on).where(
            Lot.on_hand > ZERO, Lot.paid.is_not(None), Lot.state != LotState.REFUSED
        )
    ).all()
    came = received_amounts(session, [lot.id for lot in lots]) if lots else {}
    amounts: dict[tuple[str, int], Decimal] = defaultdict(Decimal)
    values: dict[tuple[str, int], Decimal] = defaultdict(Decimal)
    with exact_arithmetic():
        for lot in lots:
            paid, whole = exchange.at_home(lot.paid, lot.currency, lot.received_on), came.get(lot.id)
            if paid is None or not whole:
                continue
            thing = ("material", lot.material_id) if lot.material_id is not None else ("packaging", lot.packaging_id)
            amounts[thing] += lot.on_hand
            values[thing] += paid * lot.on_hand / whole
    return {thing: Average(amount, values[thing]) for thing, amount in amounts.items()}
