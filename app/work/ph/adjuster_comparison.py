"""Neutralisers and thickeners side by side for a formula, and rewriting the formula when one is chosen."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.reference.materials import library_materials
from app.reference.neutraliser_comparison import ComparedNeutraliser, compare_neutralisers
from app.reference.neutralisers import Neutraliser, neutralisers
from app.reference.thickeners import Thickener, thickener_of, thickeners
from app.science.acid_base.advice import ask_dose
from app.science.acid_base.gel import GelState
from app.science.acid_base.values import Adjuster, Mixture
from app.science.composition import DosedMaterial
from app.science.errors import Invalid
from app.science.names import inci_key
from app.store.engine import Store
from app.store.materials import live_materials
from app.work.formulas.draft import Draft
from app.work.formulas.editing import SaveOrigin, save_draft
from app.work.formulas.pinned_materials import as_shelf_material
from app.work.formulas.steps import OpenDraft
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material, put_on_shelf
from app.work.ph.mixture import PhLine, choose_ph_line, mixture_of, without
from app.work.ph.rewriting import Rewrite, rewritten
from app.work.ph.solutions import solutions_on_shelf

HUNDRED = Decimal(100)
MAINLY = Decimal(50)
ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Neutralising:
    """The neutralisers for one formula; without any, ``why_not`` says why."""

    rows: tuple[ComparedNeutraliser, ...]
    own: PhLine | None
    before_g: float
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class ThickenerRow:
    """A thickener beside the formula's pH: how it stands there, and whether the formula has it."""

    thickener: Thickener
    window: GelState | None
    mine: bool


def neutralising(
    materials: Sequence[DosedMaterial], target: Decimal | None, batch_g: float, chosen: int | None = None
) -> Neutralising:
    """Compare the neutralisers for a formula; the line that sets its pH now is left out of the mixture first.

    The formula's own line stands in the comparison with its own material and strength. ``chosen`` is the place of the
    line that the maker picked, where several set the pH.
    """
    own = choose_ph_line(materials, target, chosen)
    before_g = batch_g * float(HUNDRED - own.percent) / 100 if own else batch_g
    if target is None:
        return Neutralising((), own, before_g, "Enter the target pH on the formula page, then they can be compared.")
    try:
        mixture = bare_mixture(materials, own)
        rows = compare_neutralisers(mixture, float(target), before_g)
        mine = _own_row(own, mixture, float(target), before_g) if own else None
    except Invalid as fault:
        return Neutralising((), own, before_g, f"They cannot be compared: {fault.message}.")
    if mine is not None and own is not None:
        key = own.adjuster.substance.key
        rows = (mine, *(row for row in rows if row.neutraliser.adjuster.substance.key != key))
    return Neutralising(rows, own, before_g)


def _own_row(own: PhLine, mixture: Mixture, target: float, before_g: float) -> ComparedNeutraliser | None:
    """Return the row of the formula's own line: its substance as the table has it, at its own strength."""
    key = own.adjuster.substance.key
    known = next((one for one in neutralisers() if one.adjuster.substance.key == key), None)
    if known is None:
        return None
    as_it_is = replace(known, adjuster=own.adjuster, bought_as=own.material)
    return compare_neutralisers(mixture, target, before_g, (as_it_is,))[0]


def bare_mixture(materials: Sequence[DosedMaterial], own: PhLine | None) -> Mixture:
    """Return the mixture without the line that sets the pH.

    Raises:
        Invalid: when nothing is left, or it holds more than 100 %.
    """
    return mixture_of(without(materials, own) if own else materials)[0]


def thickener_rows(materials: Sequence[DosedMaterial], ph: float | None) -> tuple[ThickenerRow, ...]:
    """Return the thickeners, those of the formula first, with how each stands at the pH of the formula."""
    mine = {inci_key(part.inci) for material in materials for part in material.parts}
    rows = [
        ThickenerRow(one, None if ph is None else one.window.at(ph), inci_key(one.inci) in mine) for one in thickeners()
    ]
    return tuple(sorted(rows, key=lambda row: not row.mine))


@dataclass(frozen=True, slots=True)
class ChangedFormula:
    """What a chosen neutraliser or thickener needs to know of the formula it goes into."""

    formula_id: int
    draft: Draft
    origin: SaveOrigin
    materials: tuple[DosedMaterial, ...]
    ids: tuple[int, ...]
    chosen: int | None = None


def choose_neutraliser(
    store: Store, choice: ChangedFormula, inci: str, target: Decimal | None
) -> tuple[OpenDraft, str]:
    """Put another acid or base into the formula at the dose for its target; also what was done, in words.

    Raises:
        Invalid: when it is unknown, there is no target, or the target cannot be reached with it.
        DraftConflict: when the draft was changed in the meantime.
    """
    wanted = next((n for n in neutralisers() if n.adjuster.substance.inci == inci), None)
    if wanted is None:
        raise Invalid("", "Choose one of the pH adjusters listed.")
    if target is None:
        raise Invalid("", "Enter the target pH on the formula page first.")
    own = choose_ph_line(choice.materials, target, choice.chosen)
    name, adjuster, make = _solution(store, wanted)
    percent = _percent(choice, own, adjuster, target)
    replaced = choice.ids[own.place] if own else None
    saved = _written(store, choice, Rewrite(make(), name, percent, replaced), f"{name} sets the pH")
    return saved, f"{name} sets the pH now, {percent:.3g} %, for the target {target}."


def _percent(choice: ChangedFormula, own: PhLine | None, adjuster: Adjuster, target: Decimal) -> Decimal:
    """Find the percentage of the finished formula; the line that fills up makes room for it."""
    filling = {line.material_id for line in choice.draft.lines if line.qs}
    others = [
        (key, m) for place, (key, m) in enumerate(zip(choice.ids, choice.materials, strict=True))
        if own is None or place != own.place
    ]  # fmt: skip
    percent = own.percent if own else Decimal(0)
    for _ in range(ROUNDS):
        room = HUNDRED - percent - sum((m.percent for key, m in others if key not in filling), Decimal(0))
        rest = [replace(m, percent=max(room, Decimal(0))) if key in filling else m for key, m in others]
        whole = sum((m.percent for m in rest), Decimal(0)) or HUNDRED
        mixture, _ = mixture_of([replace(m, percent=m.percent * HUNDRED / whole) for m in rest])
        dose = ask_dose(mixture, (adjuster,), float(target), 100.0).grams
        if not dose:
            raise Invalid("", f"{adjuster.substance.inci} does not bring this formula to pH {target}.")
        percent = Decimal(str(100.0 * dose / (100.0 + dose)))
    return percent


def _solution(store: Store, wanted: Neutraliser) -> tuple[str, Adjuster, Callable[[], int]]:
    """Find the solution on the shelf, or say how to put the usual one there once the dose is known."""
    key = wanted.adjuster.substance.key
    with store.reading() as session:
        found = [s for s in solutions_on_shelf(session) if s.adjuster.substance.key == key]
    if found:
        one = found[0]
        return one.material.name, one.adjuster, lambda: one.material.id
    inci, strength = wanted.adjuster.substance.inci, wanted.adjuster.strength_percent
    name = f"{inci}, {strength:g} % solution"
    parts = (PartForm(inci, f"{strength:g}"), PartForm("Aqua", f"{100 - strength:g}"))
    typed = MaterialForm(name=name, form="liquid", phase_hint="adjuster", functions="pH adjuster", parts=parts)
    return name, wanted.adjuster, lambda: add_material(store, typed)


def choose_thickener(store: Store, choice: ChangedFormula, inci: str) -> tuple[OpenDraft, str]:
    """Put another thickener into the formula at its middle dose; also what else must change, in words.

    Raises:
        Invalid: when it is unknown.
        DraftConflict: when the draft was changed in the meantime.
    """
    wanted = thickener_of(inci)
    if wanted is None:
        raise Invalid("", "Choose one of the thickeners listed.")
    material_id, name, strength = _thickener_material(store, wanted)
    percent = (wanted.dose_low_percent + wanted.dose_high_percent) / 2 * HUNDRED / strength
    old = None
    for material, key in zip(choice.materials, choice.ids, strict=True):
        known = [thickener_of(part.inci) for part in material.parts if part.percent >= MAINLY]
        if old is None and any(one is not None and one.inci != wanted.inci for one in known):
            old = key
    saved = _written(store, choice, Rewrite(material_id, name, percent, old), f"{name} thickens")
    return saved, f"{name} thickens now, {percent:.3g} %. {what_else(choice.materials, wanted)}"


def what_else(materials: Sequence[DosedMaterial], wanted: Thickener) -> str:
    """Return what else must change in a formula when a thickener comes in."""
    own = choose_ph_line(materials, None)
    words = f"What else changes: {wanted.what_else_changes}." if wanted.what_else_changes else ""
    if wanted.needs_neutraliser and own is None:
        return f"{words} It needs a neutraliser: choose one above."
    if not wanted.needs_neutraliser and own is not None:
        return f"{words} It needs no neutraliser: see what {own.material} still has to do for the target pH."
    return f"{words} Work the dose of {own.material} out again." if own else words


def _thickener_material(store: Store, wanted: Thickener) -> tuple[int, str, Decimal]:
    """Find the thickener on the shelf or in the library, or put it on the shelf: id, name, its share in %."""
    with store.reading() as session:
        shelf = [as_shelf_material(material) for material in live_materials(session)]
    key = inci_key(wanted.inci)
    for material in shelf:
        share = next((part.percent for part in material.parts if inci_key(part.inci) == key), None)
        if share is not None and share >= MAINLY:
            return material.id, material.name, share
    pure = (m for m in library_materials() if len(m.parts) == 1 and inci_key(m.parts[0].inci) == key)
    shipped = next(pure, None)
    if shipped is not None:
        return put_on_shelf(store, shipped.key), shipped.name, HUNDRED
    typed = MaterialForm(name=wanted.inci, form="powder", parts=(PartForm(wanted.inci, "100"),))
    return add_material(store, typed), wanted.inci, HUNDRED


def _written(store: Store, choice: ChangedFormula, rewrite: Rewrite, change: str) -> OpenDraft:
    return save_draft(store, choice.formula_id, rewritten(choice.draft, rewrite), choice.origin, change=change)
