"""A class: kits for everybody in one go, with what to weigh, what to buy and what to hand out."""

from dataclasses import dataclass, replace
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.numbers import exact_arithmetic, parse_number, plain
from app.science.weighing_advice import StockSolution
from app.store.workshop import the_workshop
from app.work.formulas.declaring import Declared
from app.work.formulas.versions import ingredient_list
from app.work.paper_formula import PaperRequest, asked_formula_at_size
from app.work.recipe import STEPS_G, Recipe, RecipeLine, recipe, with_notes
from app.work.recipe_notes import recipe_form
from app.work.stock.listing import StockRow, stock_rows

MOST_PARTICIPANTS = 100
ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class KitLine:
    """A line of a kit and the same for the whole class; ``phase`` is its letter, ``places`` those of the scale."""

    phase: str
    line: RecipeLine
    participants: int

    @property
    def all_g(self) -> Decimal:
        """What is weighed for the class: the sum of the kits."""
        with exact_arithmetic():
            return self.line.grams * self.participants

    @property
    def stock(self) -> StockSolution | None:
        """The stock solution to make where a kit's weight is too small for the scale and one can be made."""
        return self.line.advice.stock if self.line.advice else None

    @property
    def stock_g(self) -> Decimal:
        """The stock solution the class needs."""
        with exact_arithmetic():
            return self.stock.stock_g * self.participants if self.stock else ZERO


@dataclass(frozen=True, slots=True)
class NeededAmount:
    """Something the class needs and what of it is there, g or pieces; what open batches need is not there."""

    name: str
    unit: str
    needed: Decimal
    free: Decimal
    held: Decimal
    drawn_here: bool = False

    @property
    def missing(self) -> Decimal:
        """What has to be bought."""
        return ZERO if self.drawn_here else max(self.needed - self.free, ZERO)


@dataclass(frozen=True, slots=True)
class ClassKits:
    """Kits for a class: the recipe of one, how many, every line, and what is needed of materials and packaging."""

    recipe: Recipe
    participants: int
    lines: tuple[KitLine, ...]
    wanted: tuple[NeededAmount, ...]
    listed: Declared

    @property
    def all_g(self) -> Decimal:
        """What is weighed for the whole class."""
        with exact_arithmetic():
            return sum((line.all_g for line in self.lines), ZERO)

    @property
    def missing(self) -> tuple[NeededAmount, ...]:
        """What has to be bought."""
        return tuple(one for one in self.wanted if one.missing)


def read_participants(text: str) -> int:
    """Return how many take part.

    Raises:
        Invalid: at ``participants``, when it is no whole number from 1.
    """
    if not text.strip():
        raise Invalid("participants", "Enter how many take part, such as 8.")
    count = parse_number(text, "participants", low=Decimal(1), high=Decimal(MOST_PARTICIPANTS))
    if count != int(count):
        raise Invalid("participants", "Enter a whole number, such as 8.")
    return int(count)


def read_step(text: str) -> Decimal | None:
    """Return the step of the scale the kits are weighed on; None for one that suits the size.

    Raises:
        Invalid: at ``step``, when it is none of those offered.
    """
    if not text:
        return None
    found = next((step for step in STEPS_G if plain(step) == text), None)
    if found is None:
        raise Invalid("step", "Choose what the scale shows.")
    return found


def class_kits(session: Session, asked: PaperRequest, participants: int, step_g: Decimal | None = None) -> ClassKits:
    """Return the kits of a class; the size that is asked for is that of one participant.

    Raises:
        IncompleteFormula: when the draft does not add up.
        Invalid: at the size, fill or loss.
        NotFound: when there is no such formula, version or product.
    """
    formula = asked_formula_at_size(session, asked)
    found = recipe(formula, the_workshop(session).name, step_g=step_g)
    found = with_notes(found, recipe_form(session, asked.formula_id))
    lines = tuple(KitLine(phase.letter, line, participants) for phase in found.phases for line in phase.lines)
    stock = stock_rows(session, every=True)
    there = {row.packaging_id: row for row in stock if row.packaging_id is not None}
    size = found.formula.size
    units = max(size.units or 1, 1) if size else 1
    # Each material once, however many lines it stands in.
    on_hand = {row.material_id: row for row in stock if row.material_id is not None}
    needed: dict[tuple[int, str], NeededAmount] = {}
    for line in lines:
        key = line.line.material_id, line.line.name
        row = on_hand.get(line.line.material_id)
        before = needed.get(key) or _wanted(line.line.name, "g", ZERO, row)
        needed[key] = replace(before, needed=before.needed + line.all_g)
    wanted = (
        *needed.values(),
        *[
            _wanted(pack.name, "pieces", pack.per_unit * units * participants, there.get(pack.id))
            for pack in found.formula.packaging
        ],
    )
    return ClassKits(found, participants, lines, tuple(wanted), ingredient_list(session, formula))


def _wanted(name: str, unit: str, needed: Decimal, row: StockRow | None) -> NeededAmount:
    if row is None:
        return NeededAmount(name, unit, needed, ZERO, ZERO)
    return NeededAmount(name, unit, needed, max(row.free, ZERO), row.held, row.drawn_here)
