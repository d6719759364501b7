"""The packaging lots of a run: issued, used, spoilt and returned, with the ledger following."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import plain
from app.store.errors import NotFound
from app.store.packing import PackingDeviation, PackingLotUse, PackingRun
from app.store.stock import Lot, lot_of_code
from app.work.action import action
from app.work.clock import now, today
from app.work.form import Faults, Form, rule
from app.work.form_fields import MaybeNumber, Name, ShortText
from app.work.packing.loading import open_run
from app.work.people import SignedBy
from app.work.stock.ledger import follow_run
from app.work.stock.listing import lots_of
from app.work.stock.lots import MOST_PIECES

ZERO = Decimal(0)
MOST_OFFERED = 6


class LotUseForm(Form):
    """What a run took of one lot of packaging, in pieces."""

    code = Name("Lot", "Enter the code of the lot.", longest=60, width="w8")
    issued = MaybeNumber("Issued", high=MOST_PIECES)
    used = MaybeNumber("Used", high=MOST_PIECES)
    spoilt = MaybeNumber("Spoilt", high=MOST_PIECES)
    returned = MaybeNumber("Returned", high=MOST_PIECES)
    reason = ShortText(
        "Why all the same",
        longest=500,
        width="w20",
        hint="For a lot that may not be used, is short, or of other packaging.",
    )
    who = SignedBy("Enter who packs.")

    @rule
    def issued_is_given(self) -> None:
        """Refuse nothing, and more returned than was issued."""
        if not self.issued:
            raise Invalid("issued", "Enter how many pieces were issued to the run.")
        if (self.returned or ZERO) > self.issued:
            raise Invalid("returned", f"Only {plain(self.issued)} were issued.")


@action(once="packaging of run {run_id}")
def record_lot_use(session: Session, run_id: int, typed: LotUseForm, *, key: str = "") -> None:
    """Write what a run took of a lot of packaging; written again, it replaces what stood there, which history keeps.

    A lot in quarantine, refused, past its date, or of packaging that the product does not have is taken only with a
    reason, which becomes a deviation of the run.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when the run is closed.
        NotFound: when there is no such run.
    """
    run = open_run(session, run_id)
    form = typed.checked(session)
    lot = lot_of_code(session, form.code)
    if lot is None or lot.packaging_id is None:
        what = "There is no lot of that code." if lot is None else f"Lot {lot.code} is of {lot.name}, not of packaging."
        raise Faults([Invalid("code", what)])
    use = next((one for one in run.lots if one.lot_id == lot.id), None)
    old = "" if use is None else words_of(use)
    issued, more = use.issued if use else ZERO, (form.issued or ZERO) - (form.returned or ZERO)
    more -= use.issued - use.returned if use else ZERO
    against = _against(run, lot, more) if more > 0 else ""
    if against and not form.reason:
        raise Faults([Invalid("reason", f"Lot {lot.code} is {against}. Enter why it is used all the same.")])
    if use is None:
        use = PackingLotUse(lot=lot, reason="")
        run.lots.append(use)
    use.reason = form.reason if against else use.reason
    use.issued, use.used = form.issued or ZERO, form.used or ZERO
    use.spoilt, use.returned = form.spoilt or ZERO, form.returned or ZERO
    use.by, use.at = form.who, now()
    session.flush()
    run.log(f"lot {lot.code}", by=form.who, at=now(), old=old, new=words_of(use), why=form.reason)
    _settle(session, run, use, against, who=form.who, corrected=issued - use.issued)
    run.touch()


def _against(run: PackingRun, lot: Lot, more: Decimal) -> str:
    """Return what speaks against taking so many pieces more of a lot in this run, in words."""
    of_product = {pack.packaging_id for pack in run.product.packaging}
    other = "" if lot.packaging_id in of_product else f"{lot.name}, which is no packaging of {run.product_name}"
    short = f"short, with {plain(lot.on_hand)} pieces by the ledger" if more > lot.on_hand else ""
    return lot.why_not(today()) or other or short


def _settle(
    session: Session, run: PackingRun, use: PackingLotUse, against: str, *, who: str, corrected: Decimal
) -> None:
    taken = {one.lot_id: one.issued - one.returned for one in run.lots}
    remarks = follow_run(session, run, taken, by=who, why=use.reason, corrected={use.lot_id: corrected})
    for remark in remarks:
        run.log(f"lot {use.lot.code}", by=who, at=now(), new=remark.words, why=use.reason)
    what = f"Lot {use.lot.code} is {against}, used all the same: {use.reason}"
    if against and what not in {one.what for one in run.deviations}:
        run.deviations.append(PackingDeviation(what=what, found_at=now(), found_by=who))


def words_of(use: PackingLotUse) -> str:
    """Return what was taken of a lot, in words."""
    figures = (("issued", use.issued), ("used", use.used), ("spoilt", use.spoilt), ("returned", use.returned))
    return ", ".join(f"{plain(amount)} {word}" for word, amount in figures)


def use_of(run: PackingRun, use_id: int) -> PackingLotUse:
    """Return what a run took of one lot.

    Raises:
        NotFound: when it took nothing of it.
    """
    found = next((one for one in run.lots if one.id == use_id), None)
    if found is None:
        raise NotFound("This run took nothing of that lot.")
    return found


@dataclass(frozen=True, slots=True)
class PackagingPiece:
    """A piece of packaging of the product: how many a unit takes, the lots it came from, and those it can come from."""

    packaging_id: int
    name: str
    per_unit: Decimal
    uses: tuple[PackingLotUse, ...]
    offered: tuple[Lot, ...]

    @property
    def used(self) -> Decimal:
        """The pieces used, of all lots."""
        return sum((one.used for one in self.uses), ZERO)


def pieces_of(session: Session, run: PackingRun) -> tuple[PackagingPiece, ...]:
    """Return the packaging of a run, what the product has first, with lots in the order they should be used."""
    names = {pack.packaging_id: (pack.packaging.name, pack.per_unit) for pack in run.product.packaging}
    for use in run.lots:
        if use.lot.packaging_id is not None:
            names.setdefault(use.lot.packaging_id, (use.lot.name, ZERO))
    return tuple(
        PackagingPiece(
            number,
            name,
            per_unit,
            tuple(use for use in run.lots if use.lot.packaging_id == number),
            tuple(lots_of(session, packaging_id=number)[:MOST_OFFERED]) if run.is_open else (),
        )
        for number, (name, per_unit) in names.items()
    )


def form_of(use: PackingLotUse, *, who: str = "") -> LotUseForm:
    """Return what was taken of a lot as it would be typed; what is not written yet is proposed as used."""
    used = use.used or (ZERO if use.spoilt or use.returned else use.issued)
    amounts = {"issued": use.issued, "used": used, "spoilt": use.spoilt, "returned": use.returned}
    return LotUseForm(code=use.lot.code, who=who, **{name: plain(amount) for name, amount in amounts.items()})
