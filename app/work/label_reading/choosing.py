"""Choosing materials for a list: own shelf first, then the library, with what is left out or replaced."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from sqlalchemy.orm import Session

from app.reference.inference_prior import class_of
from app.reference.label_cover import inventory_shelf, library_shelf
from app.reference.label_start_law import lawful_shares
from app.reference.label_targets import PRESERVING
from app.reference.materials import material as library_material
from app.science.acid_base.dosing import plan_dose
from app.science.acid_base.model import compile_model
from app.science.composition import DosedMaterial, Part
from app.science.errors import Invalid
from app.science.inference.cover import Cover, CoverLine, ShelfMaterial, Target, cover, substitutes
from app.science.inference.makeable import rounded_down, rounded_up, weighable
from app.science.inference.phases import ADJUSTERS, ADJUSTING, HEATED_C, Step, propose_phases
from app.science.inference.values import WATER
from app.science.names import inci_key
from app.store.materials import live_materials
from app.work.label_reading.estimate import LabelEstimate
from app.work.ph.mixture import choose_ph_line, mixture_of, without

OWN, ALLERGEN = "own-", "allergen"
MOST_CHANGE = 10.0  # a line that would have to be ten times as much does something else than set the pH
LEAST_WATER, MOST_OF_IT = 1.0, 50.0  # % w/w
# What is there for what it does, at a dose of its own, is no filling (common practice).
NEVER_FILLING = PRESERVING | ADJUSTERS | {"uv_filter", "antiperspirant", "active", "acid_active", "colour", "dye"}
LAW_ROUNDS = 4  # two lines may bring what one maximum counts together
LEAST_ADJUSTER = 0.002  # % w/w of what sets the pH: a drop of a 20 % solution in half a kilogram (common practice)


@dataclass(frozen=True, slots=True)
class Choices:
    """What the maker decided: keys to leave out, and keys with the material that takes their place."""

    out: frozenset[str] = frozenset()
    swaps: Mapping[str, str] = field(default_factory=dict)

    @property
    def any(self) -> bool:
        """Whether anything was decided."""
        return bool(self.out or self.swaps)


@dataclass(frozen=True, slots=True)
class OwnShelf:
    """The maker's materials as something a list can be covered with.

    With each goes the phase where it usually stands, the most °C it stands where that is known, and its form.
    """

    materials: tuple[ShelfMaterial, ...] = ()
    hints: Mapping[str, str] = field(default_factory=dict)
    most_c: Mapping[str, Decimal | None] = field(default_factory=dict)
    forms: Mapping[str, str] = field(default_factory=dict)
    library_keys: frozenset[str] = frozenset()

    @property
    def everything(self) -> tuple[ShelfMaterial, ...]:
        """The own shelf, then what the library has beside it."""
        return (*self.materials, *(m for m in library_shelf() if m.id not in self.library_keys))


@dataclass(frozen=True, slots=True)
class StartPlan:
    """Materials with doses and their places, and the names with what may take their place."""

    cover: Cover
    steps: tuple[Step, ...]
    choices: Choices
    offers: Mapping[str, tuple[ShelfMaterial, ...]]


def own_shelf(session: Session) -> OwnShelf:
    """Read the maker's materials that have a composition and are not retired."""
    rows, materials = [m for m in live_materials(session) if m.parts], []
    for row in rows:
        parts: dict[str, float] = {}
        for part in row.parts:
            parts[inci_key(part.inci)] = parts.get(inci_key(part.inci), 0.0) + float(part.percent)
        materials.append(ShelfMaterial(f"{OWN}{row.id}", row.name, parts, own=True, class_name=class_of(_main(parts))))
    return OwnShelf(
        tuple(materials),
        {f"{OWN}{m.id}": m.phase_hint.value for m in rows},
        {f"{OWN}{m.id}": m.max_temp_c for m in rows},
        {f"{OWN}{m.id}": m.form for m in rows},
        frozenset(m.library_key for m in rows if m.library_key),
    )


def main_of(material: ShelfMaterial) -> str:
    """Return the key of the substance a material is bought for: what it has most of, water aside."""
    return _main(material.parts)


def _main(parts: Mapping[str, float]) -> str:
    return max(parts, key=lambda key: (parts[key] if key != "AQUA" or len(parts) == 1 else 0.0, key))


def make_plan(sheet: LabelEstimate, own: OwnShelf, choices: Choices) -> StartPlan:
    """Cover the estimate of a list with materials, as the choices want it.

    Raises:
        Invalid: when no material holds any of the substances that are left.
    """
    asked = sheet.targets
    everything = own.everything
    offers = {w.key: substitutes(w, everything) for w in asked}
    # A replacement that is not offered is passed over.
    chosen = {
        key: material
        for key, wished in choices.swaps.items()
        for material in offers.get(key, ())
        if material.id == wished and key not in choices.out
    }
    wanted, shelf = _swapped(asked, everything, chosen)
    found = cover(wanted, shelf, frozenset(choices.out))
    # What no material can give becomes one of its own by name; an allergen comes with what smells of it.
    named = inventory_shelf(w.key for w in found.missing if w.class_name != ALLERGEN)
    if named:
        found = cover(wanted, [*shelf, *named], frozenset(choices.out))
    ph = sheet.start.ph if sheet.start else None
    solved = ph is not None and ph.reached is not None and ph.adjuster is not None
    found = _at_ph(found, ph.target) if ph and solved and ph.target is not None else found
    hints, most_c, solid = {}, {}, set()
    for key in (line.material.id for line in found.lines):
        shipped = library_material(key)
        hints[key] = shipped.phase_hint if shipped else own.hints.get(key, "any")
        most_c[key] = shipped.max_temp_c if shipped else own.most_c.get(key)
        if (shipped.form if shipped else own.forms.get(key)) == "solid":
            solid.add(key)
    if ph and ph.adjuster is not None:
        found, setting = _weighable_at_ph(found, sheet.names[ph.adjuster].key)
        hints |= dict.fromkeys(setting, ADJUSTING)
    found = _within_law(found, sheet)
    tender = {key for key, most in most_c.items() if most and most < HEATED_C}
    steps = propose_phases(found.lines, hints, tender, solid)
    return StartPlan(found, steps, Choices(choices.out, {key: m.id for key, m in chosen.items()}), offers)


def _dosed(lines: Iterable[CoverLine]) -> tuple[DosedMaterial, ...]:
    """Return lines as a formula has them, % w/w."""
    return tuple(
        DosedMaterial(
            line.material.name,
            Decimal(str(line.percent)),
            tuple(Part(key, Decimal(str(share))) for key, share in line.material.parts.items()),
        )
        for line in lines
    )


def _at_ph(found: Cover, target: float) -> Cover:
    """Set the line that moves the pH so that the materials together come out at the target."""
    lines, dosed = found.lines, _dosed(found.lines)
    adjusting = choose_ph_line(dosed, Decimal(str(target)))
    if adjusting is None:
        return found
    try:
        rest, _ = mixture_of(without(dosed, adjusting))
        advice = plan_dose(compile_model(rest, (adjusting.adjuster,)), target)
    except Invalid:
        return found
    if not advice.value or advice.value * 100 / float(adjusting.percent) > MOST_CHANGE:
        return found
    percent = 100 * advice.value / (1 + advice.value)
    moved = (replace(x, percent=percent) if i == adjusting.place else x for i, x in enumerate(lines))
    return replace(found, lines=tuple(moved))


def _weighable_at_ph(found: Cover, key: str) -> tuple[Cover, list[str]]:
    """Let what sets the pH be no less than anyone weighs, and give the ids of its materials."""
    setting = [line.material.id for line in found.lines if main_of(line.material) == key]
    lines = (
        replace(line, percent=max(line.percent, LEAST_ADJUSTER)) if line.material.id in setting else line
        for line in found.lines
    )
    return replace(found, lines=tuple(lines)), setting


def _within_law(found: Cover, sheet: LabelEstimate) -> Cover:
    """Take back what is over a legal maximum in the doses as weighed; what fills up to 100 takes its place."""
    filling = filling_line(found.lines)
    weighed = (line if line is filling else replace(line, percent=weighed_percent(line)) for line in found.lines)
    found = replace(found, lines=tuple(weighed))
    for _ in range(LAW_ROUNDS):
        shares = lawful_shares(_dosed(found.lines), sheet.product_type, sheet.jurisdiction, sheet.on)
        if not shares:
            break
        lines = (
            replace(line, percent=rounded_down(line.percent * shares.get(line.material.name, 1.0)))
            if line.material.name in shares
            else line
            for line in found.lines
        )
        found = replace(found, lines=tuple(lines))
    return found


def filling_line(lines: Sequence[CoverLine]) -> CoverLine:
    """Return the line that fills up to 100: water where there is enough, else the largest that no law looks at."""

    def fitness(line: CoverLine) -> tuple[bool, bool, float]:
        water = line.material.class_name == WATER and line.percent >= LEAST_WATER
        filling = line.material.class_name not in NEVER_FILLING or line.percent >= MOST_OF_IT
        return water, filling, line.percent

    return max(lines, key=fitness)


def weighed_percent(line: CoverLine) -> float:
    """Return a dose as one weighs it: a preservative never below what it needs, two figures of what sets the pH."""
    if line.material.class_name in ADJUSTERS:
        return float(f"{line.percent:.2g}")
    return rounded_up(line.percent) if line.material.class_name in PRESERVING else weighable(line.percent)


def _swapped(
    asked: Sequence[Target], shelf: Sequence[ShelfMaterial], swaps: Mapping[str, ShelfMaterial]
) -> tuple[list[Target], list[ShelfMaterial]]:
    """Want the main substance of each replacement instead, and let no other material of it be taken."""
    wanted: dict[str, Target] = {}
    for one in asked:
        new = one
        if one.key in swaps:
            material, key = swaps[one.key], main_of(swaps[one.key])
            shipped = library_material(material.id)
            names = [n for n in (shipped.inci_names if shipped else ()) if inci_key(n) == key]
            new = replace(one, key=key, name=names[0] if names else key.title(), class_name=material.class_name)
        first = wanted.get(new.key)
        if first:
            new = replace(
                first, estimate=first.estimate + new.estimate, low=first.low + new.low, high=first.high + new.high
            )
        wanted[new.key] = new
    taken = {main_of(material): material.id for material in swaps.values()}
    return list(wanted.values()), [m for m in shelf if taken.get(main_of(m), m.id) == m.id]


def read_choices(out: Iterable[str], swaps: Mapping[str, str]) -> Choices:
    """Join what a form says into choices; a name that is left out is not replaced."""
    gone = frozenset(out)
    return Choices(gone, {key: wished for key, wished in swaps.items() if wished and key not in gone})


def check_something_left(sheet: LabelEstimate, choices: Choices) -> None:
    """Refuse to leave everything out.

    Raises:
        Invalid: at ``choices``.
    """
    if all(name.key in choices.out for name in sheet.names if not name.may_contain):
        raise Invalid("choices", "Every name is left out; keep at least one.")
