"""What the acid-base computation is told: families, polymers, ions, substances, and a formula written with them."""

from dataclasses import dataclass, field

STANDARD_TEMPERATURE_C = 25.0
WATER_MOLAR_MASS = 18.015
HARDLY_BUFFERED_CAPACITY = 1e-3  # mol of strong base per kg of water per pH: a drop of acid moves the pH by tenths


@dataclass(frozen=True, slots=True)
class Family:
    """All forms of one acid or base.

    Attributes:
        key: the name of the family in the table of constants.
        name: how the family is called on a page (INCI where there is one).
        charge: charge of the fully protonated form.
        pkas: thermodynamic stepwise pKa values at 25 C and zero ionic strength, in the order protons are lost.
        enthalpies: dissociation enthalpy of each step, kJ/mol; 0 where it is not known.
        uncertainty: standard uncertainty of the pKa values.
        enthalpy_known: whether the enthalpies were found in a source.
        molar_mass: of the fully protonated form, g/mol.
        solubility_g_kg: solubility of the un-ionised form, g per kg water at 20-25 C, where it is low.
    """

    key: str
    name: str
    charge: int
    pkas: tuple[float, ...]
    enthalpies: tuple[float, ...] = ()
    uncertainty: float = 0.05
    enthalpy_known: bool = False
    molar_mass: float = 0.0
    solubility_g_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Polymer:
    """An acid polymer that follows pH = pKapp + n log10(a / (1 - a)).

    Attributes:
        key, name: as for a family.
        pk: apparent pKa at half ionisation; ``pk_uncertainty`` its standard uncertainty.
        slope: n; ``slope_uncertainty`` its standard uncertainty.
        equivalent_uncertainty: relative standard uncertainty of the mass per acid group.
    """

    key: str
    name: str
    pk: float
    pk_uncertainty: float
    slope: float
    slope_uncertainty: float
    equivalent_uncertainty: float


@dataclass(frozen=True, slots=True)
class Ion:
    """An ion that neither gives nor takes protons, such as Na+."""

    name: str
    charge: int


@dataclass(frozen=True, slots=True)
class Solute:
    """What one mole of a substance brings to the water.

    Attributes:
        key: the row of the table; with the water of crystallisation it identifies the substance.
        inci: INCI name for pages and labels.
        molar_mass: g/mol (g per acid group for a polymer), water of crystallisation included.
        families: families with moles per mole.
        polymer: the acid polymer, with ``polymer_equivalents`` groups per mole.
        ions: strong ions with moles per mole.
        water: moles of water released per mole (negative when dissolving takes up water).
        ionic_weight: share of the strong ions that counts in the ionic strength (surfactants above their
            critical micelle concentration: at most one third, an estimate).
        assay_uncertainty: relative standard uncertainty of the strength as bought.
        usual_assay_percent: the strength it is usually sold at, where that is not about 100.
        soluble_percent: % w/w of the saturated solution in water at 20 to 25 C; None where it mixes or is not known.
        note: the remark of the table that a reader should see.
    """

    key: str
    inci: str
    molar_mass: float
    families: tuple[tuple[Family, float], ...] = ()
    polymer: Polymer | None = None
    polymer_equivalents: float = 0.0
    ions: tuple[tuple[Ion, float], ...] = ()
    water: float = 0.0
    ionic_weight: float = 1.0
    assay_uncertainty: float = 0.01
    usual_assay_percent: float | None = None
    soluble_percent: float | None = None
    note: str = ""

    @property
    def active(self) -> bool:
        """Return whether the substance takes part in the charge balance."""
        return bool(self.families or self.ions or self.polymer)


@dataclass(frozen=True, slots=True)
class Reserve:
    """The acid or alkali that a material without constants brings along.

    Attributes:
        low, high: mol of strong base per gram of the material, about 90 % cover; negative for acid.
        words: what is known of it, for the reader; empty when nothing is.
        holds_ph: what it is (``soap``, ``aluminium salt``) when it holds the pH in a way no charge balance of weak
            families describes; empty otherwise. Then ``low`` and ``high`` say nothing.
        withhold_above: % w/w of the formula from which on a material that holds the pH leaves no number.
        only_above_ph: it holds the pH only above this one, as a phenol or a fatty acid does; None at any pH.
    """

    low: float = 0.0
    high: float = 0.0
    words: str = ""
    holds_ph: str = ""
    withhold_above: float = 0.0
    only_above_ph: float | None = None


@dataclass(frozen=True, slots=True)
class MixtureLine:
    """One line of a formula.

    Attributes:
        name: INCI name as written.
        percent: % w/w of the finished formula, 0..100, of the material as weighed.
        substance: what it brings; None when there are no acid-base data (then it is an inert solute).
        assay_percent: share of the substance in the material, 0..100; the rest is water.
        is_water: the line is water itself.
        own_water_percent: water within the named substance itself (a hydrosol, a juice), % w/w of it.
        is_solvent: an alcohol or glycol, which shifts pKa values when there is much of it.
        reserve: what it may give or take without constants of its own; None when that is nothing to speak of.
    """

    name: str
    percent: float
    substance: Solute | None = None
    assay_percent: float = 100.0
    is_water: bool = False
    own_water_percent: float = 0.0
    is_solvent: bool = False
    reserve: Reserve | None = None


@dataclass(frozen=True, slots=True)
class Mixture:
    """A formula for the acid-base computation, per 100 g.

    Attributes:
        lines: everything but the balancing water.
        water_percent: the balancing water, % w/w.
        temperature_c: Celsius.
        degassed: carbonate has left as carbon dioxide and counts as its strong ions only.
        ideal: activity coefficients are left at 1 (textbook exercises only).
    """

    lines: tuple[MixtureLine, ...]
    water_percent: float
    temperature_c: float = STANDARD_TEMPERATURE_C
    degassed: bool = False
    ideal: bool = False


@dataclass(frozen=True, slots=True)
class Adjuster:
    """A solution that is added: ``strength_percent`` % w/w of ``substance``, the rest water."""

    substance: Solute
    strength_percent: float


@dataclass(frozen=True, slots=True)
class Range:
    """A number with its lower and upper bound (about 90 % cover)."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Influence:
    """How far one uncertain input moves the pH (half width, pH units); ``hidden`` when it has no constants."""

    name: str
    ph_shift: float
    hidden: bool = False


@dataclass(frozen=True, slots=True)
class SpeciesAmount:
    """One form in solution; ``molality`` in mol per kg of water."""

    inci: str
    form: str
    molality: float


@dataclass(frozen=True, slots=True)
class Prediction:
    """The pH of a mixture as a range, and what stands behind it.

    Attributes:
        ph: range of pH.
        ionic_strength: mol per kg of water.
        species: every form with its molality.
        influences: uncertain inputs, the strongest first.
        residual: what is left of the charge balance, mol of charge per kg of water.
        capacity: buffer capacity dB/dpH at this pH, mol of strong base per kg of water per pH unit.
        withheld: why no number may be shown, in words; empty when one may.
        notes: sentences for the reader.
    """

    ph: Range
    ionic_strength: float
    species: tuple[SpeciesAmount, ...]
    influences: tuple[Influence, ...]
    residual: float
    capacity: float
    withheld: str = ""
    notes: tuple[str, ...] = field(default=())

    @property
    def hardly_buffered(self) -> bool:
        """Whether traces decide the pH, so that none can be promised."""
        return self.capacity < HARDLY_BUFFERED_CAPACITY
