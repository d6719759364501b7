"""The words of a label: of a product as it is designed, or of one batch of it."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy.orm import Session

from app.reference.allergens import allergen_index
from app.reference.claims import claim_rules
from app.reference.known_names import unknown_names
from app.science.errors import Invalid
from app.science.formula import Formula
from app.science.jurisdiction import Jurisdiction
from app.science.keeping_time import Mark, keeping_time, last_whole_month
from app.science.net_content import metric_words, us_words
from app.science.quantities import Quantity, parse_quantity
from app.science.rules.allergens import unsheeted
from app.science.rules.claims import claims_a_drug
from app.store.batches import Batch, BatchState
from app.store.labels import LabelDesign, designs_of
from app.store.products import Product
from app.store.workshop import Workshop, the_workshop
from app.work.batches.loading import load_batch
from app.work.formulas.declaring import Declared
from app.work.formulas.editing import open_draft
from app.work.formulas.results import read_complete
from app.work.formulas.versions import formula_of, ingredient_list
from app.work.labels.design import shown_on
from app.work.pricing import in_currency
from app.work.products.selling import for_product, product_setting
from app.work.rules.checks import Checks
from app.work.rules.formula_checks import check_formula, read_given_answers

OPEN_DATE = "MM/YYYY"
OPEN_BATCH = "(number)"


@dataclass(frozen=True, slots=True)
class Words:
    """Everything a label can say, as text; what is not known is empty.

    Attributes:
        law: the market's.
        nominal: the net content, None while it is not set.
        open_jar: the period after opening, such as ``12M``, where that is the mark.
        blank: whether batch and date are those of no batch, so that the label is a proof only.
    """

    law: Jurisdiction
    identity: str
    front: str
    directions: str
    warnings: str
    ingredients: str
    responsible: str
    origin: str
    keeping: str
    open_jar: str
    batch: str
    price: str
    content: str
    barcode: str
    qr: str
    nominal: Quantity | None
    blank: bool

    def of(self, element: str) -> str:
        """Return the words of an element; the mark of an open jar counts for its durability."""
        return self.open_jar or self.keeping if element == "keeping" else str(getattr(self, element))


@dataclass(frozen=True, slots=True)
class Obstacle:
    """What keeps a label from being printed for sale, and the paragraph or the place that says so."""

    words: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class LabelSet:
    """The labels of a product with their words, and what stands in the way of printing them for sale."""

    product: Product
    designs: tuple[LabelDesign, ...]
    words: dict[int, Words]
    batch: Batch | None
    obstacles: tuple[Obstacle, ...]
    workshop: Workshop


def label_set(session: Session, product_id: int, batch_id: int | None = None) -> LabelSet:
    """Read the labels of a product, for a batch or as a proof without one.

    Raises:
        IncompleteFormula: when the draft does not add up.
        Invalid: at ``fill``, when the content is a volume and the formula has no density.
        NotFound: when there is no such product or batch.
    """
    setting = product_setting(session, product_id)
    product, batch = setting.product, load_batch(session, batch_id) if batch_id is not None else None
    designs = tuple(designs_of(session, product_id))
    if batch is not None and batch.version.formula_id != product.formula_id:
        raise Invalid("batch", f"Batch {batch.number} is of another formula than {product.name}.")
    base = formula_of(batch.version) if batch else read_complete(session, open_draft(session, product.formula_id))
    formula = for_product(base, setting)
    listed = ingredient_list(session, formula)
    checks = check_formula(formula, read_given_answers(session, product.formula_id)).home
    shop = the_workshop(session)
    words = {design.id: _label_words(product, design, listed, checks, batch, shop) for design in designs}
    obstacles = (*_obstacles(product, designs, words, formula, listed, checks), *_of_batch(batch))
    return LabelSet(product, designs, words, batch, tuple(dict.fromkeys(obstacles)), shop)


def _label_words(
    product: Product, design: LabelDesign, listed: Declared, checks: Checks, batch: Batch | None, shop: Workshop
) -> Words:
    law = product.jurisdiction
    nominal = None
    if product.fill_amount is not None:
        nominal = parse_quantity(f"{product.fill_amount:f} {product.fill_unit}", "fill")
    legal = [statement.text for statement in checks.statements if statement.is_legal]
    keeping, open_jar = _keeping(product, batch)
    price = ""
    if product.price is not None:
        price = in_currency(product.price, product.currency, shop.locale)
    lead = "Ingredients: " if law is Jurisdiction.EU else "INGREDIENTS: "
    return Words(
        law=law,
        identity=product.name,
        front=product.front_words,
        directions="\n".join(text for text in (design.function_words, design.directions) if text),
        warnings="\n".join([*legal, *([design.cautions] if design.cautions else [])]),
        ingredients=f"{lead}{listed.text}" if listed.text else "",
        responsible=product.responsible_person or "\n".join(t for t in (shop.name, shop.address) if t),
        origin=_origin(product.origin),
        keeping=keeping,
        open_jar=open_jar,
        batch=f"Batch {batch.number if batch else OPEN_BATCH}",
        price=price,
        content="" if nominal is None else us_words(nominal) if law is Jurisdiction.US else metric_words(nominal),
        barcode=product.barcode,
        qr=design.qr_text,
        nominal=nominal,
        blank=batch is None,
    )


def _origin(typed: str) -> str:
    """Return the country of origin in words, whether the country alone was typed or the whole statement."""
    whole = typed.casefold().startswith(("made in ", "product of ", "assembled in "))
    return typed if whole or not typed else f"Made in {typed}"


def _keeping(product: Product, batch: Batch | None) -> tuple[str, str]:
    """Return the date in words, or the period after opening for the open jar."""
    if product.shelf_months is not None:
        made = batch.made_on if batch else None
        found = keeping_time(made or date(2000, 1, 1), product.shelf_months, {})
        if found is not None and found.mark is Mark.BEST_BEFORE:
            day = last_whole_month(found.use_by) if made else OPEN_DATE
            return f"Best used before the end of {day}", ""
    return ("", f"{product.open_months}M") if product.open_months else ("", "")


def _of_batch(batch: Batch | None) -> list[Obstacle]:
    if batch is None:
        return [Obstacle("No batch is chosen: without its number and date a label is a proof.")]
    if batch.state is not BatchState.RELEASED:
        return [Obstacle(f"Batch {batch.number} is not released.")]
    return []


# What a label must say, with the paragraph; a proof and a sale look at all labels of the product together.
NEEDED = {
    Jurisdiction.EU: {
        "responsible": "Regulation (EC) 1223/2009 Art. 19(1)(a)",
        "content": "Regulation (EC) 1223/2009 Art. 19(1)(b)",
        "keeping": "Regulation (EC) 1223/2009 Art. 19(1)(c)",
        "batch": "Regulation (EC) 1223/2009 Art. 19(1)(e)",
        "ingredients": "Regulation (EC) 1223/2009 Art. 19(1)(g)",
    },
    Jurisdiction.US: {
        "identity": "21 CFR 701.11",
        "responsible": "21 CFR 701.12",
        "content": "21 CFR 701.13; 15 USC 1453(a)",
        "ingredients": "21 CFR 701.3",
    },
}
CALLED = {
    "identity": "the name of the product",
    "responsible": "the responsible person with an address",
    "content": "the net content",
    "keeping": "a date or a period after opening",
    "batch": "the batch number",
    "ingredients": "the ingredient list",
    "warnings": "the warnings the law asks for",
}
EXEMPT_BELOW = Decimal(5)


def _obstacles(
    product: Product, designs: tuple[LabelDesign, ...], words: dict[int, Words], formula: Formula, listed: Declared,
    checks: Checks,
) -> list[Obstacle]:  # fmt: skip
    law = product.jurisdiction
    found = [Obstacle(f"A stop stands unanswered: {one.finding.message}", "checks") for one in checks.open("stop")]
    found += [Obstacle(f"There is no ingredient list yet: {listed.fault}")] if listed.fault else []
    if law is Jurisdiction.EU:
        missing = unsheeted(formula.dosed, allergen_index(law.value))
        found += [
            Obstacle(f"{', '.join(names)}: no allergen sheet for this {kind}.", "Regulation (EU) 2023/1545")
            for kind, names in missing.items()
            if kind != "extract"
        ]
    allergens = [a.inci for material in formula.dosed for part in material.parts for a in part.allergens]
    found += [Obstacle(f"An allergen name is unknown. {one.sentence}") for one in unknown_names(allergens)]
    if law is Jurisdiction.US and claims_a_drug((product.name, product.front_words, product.claims), claim_rules()):
        found.append(Obstacle("The words on the label make it a drug in the United States.", "21 USC 321(g)(1)"))
    return [*found, *_lacking(law, designs, words, bool([s for s in checks.statements if s.is_legal]))]


def _lacking(
    law: Jurisdiction, designs: tuple[LabelDesign, ...], words: dict[int, Words], has_warnings: bool
) -> list[Obstacle]:
    if not designs:
        return [Obstacle("There is no label yet.")]
    said = {element for design in designs for element in shown_on(design) if words[design.id].of(element)}
    any_words = words[designs[0].id]
    needed = dict(NEEDED[law])
    if any_words.nominal is not None and law is Jurisdiction.EU and any_words.nominal.base < EXEMPT_BELOW:
        del needed["content"]
    if has_warnings:
        needed["warnings"] = "Art. 19(1)(d)" if law is Jurisdiction.EU else "21 CFR 740"
    found = [Obstacle(f"Missing: {CALLED[name]}.", source) for name, source in needed.items() if name not in said]
    if "responsible" in said and "\n" not in any_words.responsible and "," not in any_words.responsible:
        found.append(Obstacle("The responsible person has no address.", needed["responsible"]))
    return found
