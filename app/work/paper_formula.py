"""Reading the formula that a paper is asked of, draft or version, at the size that is asked for."""

from dataclasses import dataclass, replace
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.batch_size import BatchSize, read_batch_size
from app.science.composition import SubstanceTotal, expand
from app.science.errors import Invalid
from app.science.formula import Formula, Material
from app.science.numbers import parse_number
from app.store.errors import NotFound
from app.store.material_queries import every_packaging
from app.store.workshop import Jurisdiction, the_workshop
from app.work.batch_sheet import BatchSheet, batch_sheet
from app.work.batches.pots import pots_of
from app.work.cost_sheet import CostSheet, cost_sheet
from app.work.formulas.context import rates_of
from app.work.formulas.declaring import Declared
from app.work.formulas.editing import open_draft
from app.work.formulas.pinned_materials import Shelf, read_shelf
from app.work.formulas.results import by_weight, read_complete
from app.work.formulas.versions import ingredient_list, read_version
from app.work.pricing import price_book
from app.work.products.selling import for_product, product_setting
from app.work.rules.answers import AnsweredFinding
from app.work.rules.open_findings import open_findings, open_stops

TODAY = "today"


@dataclass(frozen=True, slots=True)
class PaperRequest:
    """What was asked for, as typed; empty fields take what stands in the formula, no version takes the draft.

    ``prices`` is ``today`` for a version that is to be costed anew; else it keeps those it was saved with.
    """

    formula_id: int
    version_id: int | None = None
    size: str = ""
    fill: str = ""
    loss: str = ""
    jurisdiction: str = ""
    product_id: int | None = None
    prices: str = ""


def formula_asked(session: Session, asked: PaperRequest) -> Formula:
    """Read the version, or the draft when no version is asked for; as it is sold in a product where one is asked for.

    Raises:
        IncompleteFormula: when the draft does not add up.
        Invalid: at ``fill``, when the content of the product is a volume and the formula has no density.
        NotFound: when there is no such formula, version or product.
    """
    if asked.version_id is None:
        formula = read_complete(session, open_draft(session, asked.formula_id))
    else:
        formula = read_version(session, asked.version_id)
        if formula.formula_id != asked.formula_id:
            raise NotFound("There is no such version of this formula.")
    if asked.product_id is None:
        return formula
    setting = product_setting(session, asked.product_id)
    if setting.product.formula_id != asked.formula_id:
        raise NotFound("There is no such product of this formula.")
    return for_product(formula, setting)


def at_size(formula: Formula, size: str, fill: str, loss: str) -> Formula:
    """Return a formula at another batch size, fill and process loss; what is left empty stays as it is.

    Raises:
        Invalid: at ``size``, ``fill`` or ``loss``.
    """
    percent = parse_number(loss, "loss", low=Decimal(0), high=Decimal(99)) if loss.strip() else formula.loss_percent
    return replace(formula, size=_size(formula, size.strip(), fill.strip()), loss_percent=percent)


def _size(formula: Formula, size: str, fill: str) -> BatchSize:
    usual = formula.size
    if not size and usual is None:
        raise Invalid("size", "Enter the batch size, such as 500 g or 40 units.")
    if usual is not None and not size and not fill:
        return usual
    words, fill_words = (usual.words, usual.fill_words) if usual else ("", "")
    return read_batch_size(size or words, fill or fill_words, formula.density_g_ml, field="size")


def asked_formula_at_size(session: Session, asked: PaperRequest) -> Formula:
    """Read the formula that is asked for at the size that is asked for.

    Raises:
        IncompleteFormula: when the draft does not add up.
        Invalid: at the size, fill or loss.
        NotFound: when there is no such formula or version.
    """
    return at_size(formula_asked(session, asked), asked.size, asked.fill, asked.loss)


def batch_sheet_of(session: Session, asked: PaperRequest) -> BatchSheet:
    """Work out the batch sheet that is asked for, with what the checks found and nobody answered at its head.

    Raises:
        IncompleteFormula: when the draft does not add up.
        Invalid: at the size, fill or loss.
    """
    formula = asked_formula_at_size(session, asked)
    return replace(batch_sheet(formula), findings=open_findings(session, formula), pots=pots_of(session))


def cost_sheet_of(session: Session, asked: PaperRequest) -> CostSheet:
    """Work out the cost sheet that is asked for.

    Raises:
        IncompleteFormula: when the draft does not add up.
        Invalid: at the size, fill or loss.
    """
    formula = asked_formula_at_size(session, asked)
    return cost_sheet(at_todays_prices(session, formula) if asked.prices == TODAY else formula)


def at_todays_prices(session: Session, formula: Formula) -> Formula:
    """Return a formula with what its materials and its packaging cost now, and with today's rates; the tax stays."""
    book = price_book(session)
    shelf = read_shelf(session, {line.material.id for line in formula.lines}, book)
    pieces = {piece.id: piece for piece in every_packaging(session)}
    phases = tuple(
        replace(phase, lines=tuple(replace(line, material=_priced(line.material, shelf)) for line in phase.lines))
        for phase in formula.phases
    )
    packaging = tuple(
        replace(pack, price=None, prices=book.of_packaging(pieces[pack.id])) if pack.id in pieces else pack
        for pack in formula.packaging
    )
    rates = replace(rates_of(the_workshop(session)), tax_percent=formula.rates.tax_percent)
    return replace(formula, phases=phases, packaging=packaging, rates=rates)


def _priced(material: Material, shelf: Shelf) -> Material:
    now = shelf.get(material.id)
    return replace(material, prices=now.prices) if now else material


@dataclass(frozen=True, slots=True)
class DeclarationSheet:
    """The ingredient declaration of a formula under one law and the other, with the formula expanded to substances.

    ``stops`` are findings that nobody answered yet: a list of a product that may not be made is no list to print.
    """

    formula: Formula
    declared: Declared
    other: Declared
    substances: tuple[SubstanceTotal, ...]
    stops: tuple[AnsweredFinding, ...] = ()


def declaration_of(session: Session, asked: PaperRequest) -> DeclarationSheet:
    """Write the declaration that is asked for; without a jurisdiction the one it is made under.

    Raises:
        IncompleteFormula: when the draft does not add up.
        Invalid: at ``jurisdiction``, when there are no rules for it.
    """
    formula = formula_asked(session, asked)
    known = {known.value: known for known in Jurisdiction}
    if asked.jurisdiction and asked.jurisdiction not in known:
        raise Invalid("jurisdiction", "Choose EU or US.")
    law = known.get(asked.jurisdiction, formula.jurisdiction)
    other = next(one for one in Jurisdiction if one is not law)
    substances = by_weight(expand(formula.dosed))
    first, second = (ingredient_list(session, formula, one) for one in (law, other))
    return DeclarationSheet(formula, first, second, substances, open_stops(session, formula))
