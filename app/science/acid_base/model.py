"""A formula compiled to arrays, so that many variants of it are solved in one call."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.science.acid_base.activity import COLDEST_C, HOTTEST_C, davies_slope, pka_at, pkw
from app.science.acid_base.charge_balance import Array, Solutions, stack_constants
from app.science.acid_base.inputs import Columns, Input, InputKind, effects, list_inputs, reserves
from app.science.acid_base.values import WATER_MOLAR_MASS, Adjuster, Mixture, MixtureLine, Solute
from app.science.errors import Invalid

CARBONATE = "carbonic_acid"
LEAST_WATER_PERCENT = 1.0


@dataclass(frozen=True, slots=True)
class Stack:
    """What R lines or solutions bring, per gram of formula or per gram of solution.

    Attributes:
        families: mol of each family, shape (R, F).
        polymers: mol of acid groups, shape (R, L).
        charge: mol of strong charge, shape (R,).
        square: sum of z^2 mol over the strong ions that count, shape (R,).
        water_kg: kg of water, shape (R,); 0 for lines, whose water is counted once for the whole formula.
    """

    families: Array
    polymers: Array
    charge: Array
    square: Array
    water_kg: Array


@dataclass(frozen=True, slots=True)
class Model:
    """A mixture (and what may be added to it) ready to be solved.

    Attributes:
        mixture: where it comes from.
        adjusters: the solutions that may be added, A of them.
        columns: the substances (lines of the same substance taken together), families and polymers.
        parts: the substances of the mixture, per gram of formula.
        added: the adjusters, per gram of adjuster.
        water_kg: kg of water per gram of formula.
        hidden: mol of strong base per gram of formula from materials without constants; negative for acid.
        inputs: the uncertain inputs, in the order of the columns of ``theta``.
        effects: what each input acts on, see ``inputs.effects``.
        cumulative, charges: see System.
    """

    mixture: Mixture
    adjusters: tuple[Adjuster, ...]
    columns: Columns
    parts: Stack
    added: Stack
    water_kg: float
    hidden: float
    inputs: tuple[Input, ...]
    effects: dict[InputKind, Array]
    cumulative: Array
    charges: Array

    @property
    def davies(self) -> float:
        """A of the Davies equation, 0 for an ideal mixture."""
        return 0.0 if self.mixture.ideal else davies_slope(self.mixture.temperature_c)


def compile_model(mixture: Mixture, adjusters: Sequence[Adjuster] = (), trace: float = 2.5e-6) -> Model:
    """Compile a mixture, with the solutions that will be added.

    Args:
        mixture: the formula.
        adjusters: the solutions to add.
        trace: standard uncertainty of the acid or base that nobody wrote down, mol/kg (default: carbon dioxide
            of the air in otherwise pure water).

    Raises:
        Invalid: when there is no water, or the temperature is outside the range of the constants.
    """
    check_temperature(mixture.temperature_c)
    water = water_percent(mixture.lines, mixture.water_percent)
    if water < LEAST_WATER_PERCENT:
        raise Invalid("mixture", "there is no water to speak of in this mixture, and without water there is no pH")
    merged = _merge(mixture.lines)
    used = [*merged, *(a.substance for a in adjusters)]
    found = {f.key: f for s in used for f, _ in s.families if not (mixture.degassed and f.key == CARBONATE)}
    columns = Columns(
        tuple(merged),
        tuple(found.values()),
        tuple({s.polymer.key: s.polymer for s in used if s.polymer}.values()),
        tuple(adjusters),
    )
    grams = [1000.0 * share / water for share in merged.values()]
    hidden, doubt = reserves(mixture.lines, water / 1e5)
    inputs = (*doubt, *list_inputs(mixture, columns, grams, trace))
    pkas = []
    for family in columns.families:
        pairs = zip(family.pkas, family.enthalpies or (0.0,) * len(family.pkas), strict=True)
        pkas.append(tuple(pka_at(pk, enthalpy, mixture.temperature_c) for pk, enthalpy in pairs))
    cumulative, charges = stack_constants(pkas, [f.charge for f in columns.families])
    parts = _stack([(s, grams / 100.0, 0.0) for s, grams in merged.items()], columns)
    solutions = []
    for adjuster in adjusters:
        substance, share = adjuster.substance, adjuster.strength_percent / 100.0
        crystal = share / substance.molar_mass * substance.water * WATER_MOLAR_MASS
        solutions.append((substance, share, (1.0 - share + crystal) / 1000.0))
    added = _stack(solutions, columns)
    return Model(
        mixture, tuple(adjusters), columns, parts, added, water / 1e5, hidden, inputs, effects(inputs, columns),
        cumulative, charges,
    )  # fmt: skip


def check_temperature(temperature_c: float) -> None:
    """Refuse a temperature at which the constants are not known.

    Raises:
        Invalid: outside 0..80 C.
    """
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise Invalid("temperature_c", f"the constants are known from {COLDEST_C:g} to {HOTTEST_C:g} °C only")


def water_percent(lines: Sequence[MixtureLine], balancing_percent: float) -> float:
    """Return the water of a formula, % w/w.

    Counted are the balancing water, lines of water, what hydrosols and juices hold, the rest of solutions and the
    water of crystallisation.
    """
    total = balancing_percent
    for line in lines:
        pure = line.percent * line.assay_percent / 100.0
        if line.is_water:
            total += line.percent
        elif line.substance is None:
            total += line.percent - pure + pure * line.own_water_percent / 100.0
        else:
            crystal = pure / line.substance.molar_mass * line.substance.water * WATER_MOLAR_MASS
            total += line.percent - pure + crystal
    return total


def _merge(lines: Sequence[MixtureLine]) -> dict[Solute, float]:
    """Sum the grams per 100 g of each substance that takes part in the charge balance."""
    grams: dict[Solute, float] = {}
    for line in lines:
        if line.substance is not None and line.substance.active and line.percent * line.assay_percent > 0:
            share = line.percent * line.assay_percent / 100.0
            grams[line.substance] = grams.get(line.substance, 0.0) + share
    return grams


def _stack(rows: Sequence[tuple[Solute, float, float]], columns: Columns) -> Stack:
    """Stack (substance, grams of it, kg of water with it)."""
    moles = np.array([grams / s.molar_mass for s, grams, _ in rows])
    weak = np.zeros((len(rows), len(columns.families)))
    acid = np.zeros((len(rows), len(columns.polymers)))
    family_at = {family.key: place for place, family in enumerate(columns.families)}
    polymer_at = {polymer.key: place for place, polymer in enumerate(columns.polymers)}
    for row, (substance, _, _) in enumerate(rows):
        for family, per_mol in substance.families:
            if family.key in family_at:
                weak[row, family_at[family.key]] += per_mol
        if substance.polymer:
            acid[row, polymer_at[substance.polymer.key]] = substance.polymer_equivalents
    charge = np.array([sum(ion.charge * n for ion, n in s.ions) for s, _, _ in rows], dtype=np.float64)
    square = np.array([s.ionic_weight * sum(ion.charge**2 * n for ion, n in s.ions) for s, _, _ in rows])
    water = np.array([kg for _, _, kg in rows], dtype=np.float64)
    return Stack(weak * moles[:, None], acid * moles[:, None], charge * moles, square * moles, water)


@dataclass(frozen=True, slots=True)
class Variants:
    """N variants of the uncertain inputs applied to a model.

    Attributes:
        base: the formula alone, per gram of formula, one row per variant.
        strength: factor on the strength of each adjuster, shape (N, A).
        constants: a System with the constants of every variant and no amounts yet.
    """

    base: Stack
    strength: Array
    constants: Solutions


def vary(model: Model, theta: Array) -> Variants:
    """Apply variants of the uncertain inputs; ``theta`` holds standard scores, shape (N, P)."""
    change = {kind: theta @ matrix for kind, matrix in model.effects.items()}
    trace = change[InputKind.TRACE] + np.minimum(theta, 0.0) @ model.effects[InputKind.ACID_TRACE]
    factors = np.exp(change[InputKind.ASSAY])
    base = Stack(
        factors @ model.parts.families,
        factors @ model.parts.polymers * np.exp(-change[InputKind.EQUIVALENT]),
        factors @ model.parts.charge + model.hidden + trace[:, 0] * model.water_kg,
        factors @ model.parts.square,
        np.full(theta.shape[0], model.water_kg),
    )
    pk = np.array([p.pk for p in model.columns.polymers]) + change[InputKind.POLYMER_PK]
    slope = np.array([p.slope for p in model.columns.polymers]) * np.exp(change[InputKind.POLYMER_SLOPE])
    cumulative = model.cumulative
    if change[InputKind.PKA].any():
        cumulative = cumulative + change[InputKind.PKA][:, :, None] * np.arange(model.charges.shape[1])
    no, water = np.zeros(0), pkw(model.mixture.temperature_c)
    constants = Solutions(no, cumulative, model.charges, no, pk, slope, no, no, model.davies, water)
    return Variants(base, np.exp(change[InputKind.STRENGTH]), constants)


def add(base: Stack, added: Stack, strength: Array, doses: Array) -> Stack:
    """Add doses (N, A), grams per gram of formula, to N rows; ``strength`` is a factor on each adjuster, (N, A)."""
    active = doses * strength
    return Stack(
        base.families + active @ added.families,
        base.polymers + active @ added.polymers,
        base.charge + active @ added.charge,
        base.square + active @ added.square,
        base.water_kg + doses @ added.water_kg,
    )


def dose_system(model: Model, theta: Array, doses: Array) -> Solutions:
    """Return the System of N variants after doses.

    Args:
        model: the formula with its A adjusters and P uncertain inputs.
        theta: standard scores of the inputs, shape (N, P).
        doses: grams of adjuster per gram of formula, shape (N, A).
    """
    variants = vary(model, theta)
    rows = add(variants.base, model.added, variants.strength, doses)
    wide = rows.water_kg[:, None]
    return replace(
        variants.constants,
        totals=rows.families / wide,
        polymers=rows.polymers / wide,
        strong_charge=rows.charge / rows.water_kg,
        strong_square=rows.square / rows.water_kg,
    )
