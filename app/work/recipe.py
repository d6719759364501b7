"""A recipe to hand on: a formula at a size on one scale, with its steps, cautions and keeping, as a value."""

from dataclasses import dataclass, replace
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.formula import Formula
from app.science.numbers import figures, plain, to_places
from app.science.scales import Scale
from app.science.weighing import WeighedLine, weigh
from app.science.weighing_advice import WeighingAdvice
from app.store.workshop import the_workshop
from app.work.batch_sheet import cautions_of
from app.work.paper_formula import PaperRequest, asked_formula_at_size
from app.work.recipe_equipment import equipment_for
from app.work.recipe_notes import RecipeForm, lines_of, recipe_form

STEPS_G = (Decimal(1), Decimal("0.1"), Decimal("0.01"), Decimal("0.001"))
FINE_BELOW_G = Decimal(100)  # a batch below it is weighed to 0.01 g, a larger one to 0.1 g (common practice)
TEASPOON_ML, DROPS_ML = Decimal(5), Decimal(20)
LEAST_TEASPOON, MOST_TEASPOONS = Decimal("0.25"), Decimal(12)
PH_CAUTION = (
    "Measure the pH with a meter checked the same day, or with narrow strips; set it in small steps and measure after "
    "each. A prediction never replaces a reading."
)
KEEPING_CAUTION = (
    "What holds water spoils without a preservative that works at its pH; only a laboratory can show that one does. "
    "Make small amounts, label them with name and date, and throw away what looks, smells or feels different."
)
FOR_SALE = (
    "This is for making, not for selling: who sells cosmetics needs what the local law asks, in the EU a safety "
    "assessment by a qualified person."
)


@dataclass(frozen=True, slots=True)
class RecipeLine:
    """A line: what it is, % w/w, the grams at this size, and a volume as a rough guide (empty without a density).

    ``advice`` says what to do where the scale does not resolve the weight within 5 %.
    """

    name: str
    inci: str
    percent: Decimal
    is_remainder: bool
    grams: Decimal
    rough: str
    density_g_ml: Decimal | None
    material_id: int = 0
    advice: WeighingAdvice | None = None
    cautions: str = ""


@dataclass(frozen=True, slots=True)
class RecipePhase:
    """A phase with its lines, the steps of its method and the cautions that belong before them."""

    letter: str
    name: str
    temperature_c: Decimal | None
    lines: tuple[RecipeLine, ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Recipe:
    """A formula to hand on; the grams add up to ``total_g`` exactly, ``step_g`` is what the scale shows."""

    formula: Formula
    phases: tuple[RecipePhase, ...]
    net_g: Decimal
    total_g: Decimal
    step_g: Decimal
    maker: str
    equipment: tuple[str, ...] = ()
    substitutes: tuple[str, ...] = ()
    words: str = ""

    @property
    def lines(self) -> tuple[RecipeLine, ...]:
        """All lines, phase by phase."""
        return tuple(line for phase in self.phases for line in phase.lines)

    @property
    def places(self) -> int:
        """How many decimals the scale shows."""
        return max(-int(self.step_g.normalize().as_tuple().exponent), 0)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What stands at the foot: pH where one is wanted, keeping, selling."""
        return (*((PH_CAUTION,) if self.formula.target_ph is not None else ()), KEEPING_CAUTION, FOR_SALE)


def recipe_of(session: Session, asked: PaperRequest) -> Recipe:
    """Return the recipe of a formula, draft or version, at the size that is asked for.

    Raises:
        IncompleteFormula: when the draft does not add up.
        Invalid: at the size, fill or loss.
        NotFound: when there is no such formula or version.
    """
    found = recipe(asked_formula_at_size(session, asked), the_workshop(session).name)
    return with_notes(found, recipe_form(session, asked.formula_id))


def with_notes(found: Recipe, notes: RecipeForm) -> Recipe:
    """Return a recipe with the words, equipment and substitutes as typed; what is left empty stays as it is.

    Raises:
        Faults: with everything that is wrong.
    """
    notes = notes.checked()
    return replace(
        found,
        words=notes.words,
        equipment=lines_of(notes.equipment) or found.equipment,
        substitutes=lines_of(notes.substitutes),
    )


def recipe(formula: Formula, maker: str = "", *, step_g: Decimal | None = None) -> Recipe:
    """Return a formula as a recipe, weighed on one scale: one that shows ``step_g``, else one that suits its size.

    Raises:
        Invalid: when the formula has no size or does not add up.
    """
    net_g = formula.size.net_g if formula.size else Decimal(0)
    step = step_g or (STEPS_G[1] if net_g >= FINE_BELOW_G else STEPS_G[2])
    weighing = weigh(replace(formula, scales=(Scale(step),)))
    phases = tuple(
        RecipePhase(
            phase.letter, phase.name, phase.temperature_c,
            tuple(_recipe_line(weighing.by_key[line.key]) for line in phase.lines), phase.method, cautions_of(phase),
        )
        for phase in formula.phases if phase.lines or phase.method
    )  # fmt: skip
    equipment = equipment_for(formula, weighing.total_shown_g, step)
    return Recipe(formula, phases, net_g, weighing.total_shown_g, step, maker, equipment)


def _recipe_line(weighed: WeighedLine) -> RecipeLine:
    line = weighed.line
    density = line.material.density_g_ml
    return RecipeLine(
        name=line.name,
        inci=" (and) ".join(part.inci for part in line.parts),
        percent=line.percent,
        is_remainder=line.is_remainder,
        grams=weighed.shown_g,
        rough=rough_volume(weighed.shown_g, density) if density else "",
        density_g_ml=density,
        material_id=line.material.id,
        advice=weighed.advice,
        cautions=line.material.cautions,
    )


def rough_volume(grams: Decimal, density_g_ml: Decimal) -> str:
    """Return a weight as a volume for the hand: millilitres, with spoons or drops where those are meant.

    Two figures; 5 mL to a teaspoon, 20 drops to a mL as for water (common practice).

    >>> rough_volume(Decimal(12), Decimal("0.92")), rough_volume(Decimal("0.4"), Decimal("0.9"))
    ('13 mL, 2.6 tsp', '0.44 mL, 9 drops')
    """
    millilitres = grams / density_g_ml
    words = f"{figures(millilitres, 2)} mL"
    if not millilitres:
        return ""
    teaspoons = millilitres / TEASPOON_ML
    if teaspoons > MOST_TEASPOONS:
        return words
    if teaspoons >= LEAST_TEASPOON:
        return f"{words}, {figures(teaspoons, 2)} tsp"
    drops = max(to_places(millilitres * DROPS_ML, 0), Decimal(1))
    return f"{words}, {plain(drops)} {'drop' if drops == 1 else 'drops'}"
