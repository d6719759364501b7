"""Reading the formula that a paper is asked of, draft or version, at the size that is asked for."""

from dataclasses import dataclass
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.batch_size import BatchSize, read_batch_size
from app.science.composition import SubstanceTotal, expand
from app.science.errors import Invalid
from app.science.numbers import parse_number
from app.store.errors import NotFound
from app.store.workshop import Jurisdiction, scales, the_workshop
from app.work.cost_sheet import CostSheet, cost_sheet
from app.work.formulas.declaring import Declared, declared_formula
from app.work.formulas.deeds import open_draft
from app.work.formulas.results import read_sound
from app.work.formulas.sound import SoundFormula
from app.work.formulas.versions import read_version
from app.work.sheets import BatchSheet, batch_sheet


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for, as typed; empty fields take what stands in the formula, no version takes the draft."""

    formula_id: int
    version_id: int | None = None
    size: str = ""
    fill: str = ""
    loss: str = ""
    jurisdiction: str = ""


def formula_asked(session: Session, asked: Asked) -> SoundFormula:
    """Read the version, or the draft when no version is asked for.

    Raises:
        NotSound: when the draft does not add up.
        NotFound: when there is no such formula or version.
    """
    if asked.version_id is None:
        return read_sound(session, open_draft(session, asked.formula_id))
    formula = read_version(session, asked.version_id)
    if formula.formula_id != asked.formula_id:
        raise NotFound("There is no such version of this formula.")
    return formula


def size_asked(formula: SoundFormula, asked: Asked) -> tuple[BatchSize, str, Decimal]:
    """Give the size, the words it was asked in, and the process loss in %.

    Raises:
        Invalid: at ``size``, ``fill`` or ``loss``.
    """
    words = asked.size.strip() or formula.batch
    size = read_batch_size(words, asked.fill.strip() or formula.fill, formula.density_g_ml, field="size")
    typed = asked.loss.strip()
    return size, words, parse_number(typed, "loss", low=Decimal(0), high=Decimal(99)) if typed else formula.loss_percent


def batch_sheet_of(session: Session, asked: Asked) -> BatchSheet:
    """Work out the batch sheet that is asked for.

    Raises:
        NotSound: when the draft does not add up.
        Invalid: at the size, fill or loss.
    """
    formula = formula_asked(session, asked)
    size, words, loss = size_asked(formula, asked)
    return batch_sheet(formula, size, words, loss, scales(session))


def cost_sheet_of(session: Session, asked: Asked) -> CostSheet:
    """Work out the cost sheet that is asked for.

    Raises:
        NotSound: when the draft does not add up.
        Invalid: at the size, fill or loss.
    """
    formula = formula_asked(session, asked)
    size, _, loss = size_asked(formula, asked)
    return cost_sheet(session, formula, size, loss)


@dataclass(frozen=True, slots=True)
class DeclarationSheet:
    """The ingredient declaration of a formula under one law and the other, with the formula expanded to substances."""

    formula: SoundFormula
    declared: Declared
    other: Declared
    substances: tuple[SubstanceTotal, ...]


def declaration_of(session: Session, asked: Asked) -> DeclarationSheet:
    """Write the declaration that is asked for; without a jurisdiction the workshop's own.

    Raises:
        NotSound: when the draft does not add up.
        Invalid: at ``jurisdiction``, when there are no rules for it.
    """
    formula = formula_asked(session, asked)
    home = the_workshop(session).jurisdiction
    known = {known.value: known for known in Jurisdiction}
    if asked.jurisdiction and asked.jurisdiction not in known:
        raise Invalid("jurisdiction", "Choose EU or US.")
    law = known.get(asked.jurisdiction, home)
    other = next(one for one in Jurisdiction if one is not law)
    substances = tuple(sorted(expand(formula.dosed()), key=lambda total: -total.percent))
    return DeclarationSheet(formula, declared_formula(formula, law), declared_formula(formula, other), substances)
