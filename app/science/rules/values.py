"""The value types that the rule engines share: rules as read from the tables, findings, the formula asked about."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from enum import StrEnum

from app.science.composition import DosedMaterial
from app.science.names import inci_key
from app.science.numbers import figures
from app.science.rules.names import Amount, amounts


class Severity(StrEnum):
    """How much a finding weighs: do not make it so, expect trouble, or good to know."""

    STOP = "stop"
    CAUTION = "caution"
    NOTE = "note"


class Exposure(StrEnum):
    """Whether the product stays on the skin."""

    LEAVE_ON = "leave-on"
    RINSE_OFF = "rinse-off"


class Purpose(StrEnum):
    """What a limited substance is there for, where the law sets one limit per purpose."""

    ANY = "any"
    PRESERVATIVE = "preservative"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Source:
    """Where a rule is from, and how far it was checked: ``verified``, ``from memory``, ``common practice``..."""

    text: str
    status: str = ""

    def __str__(self) -> str:
        """Return both in one line."""
        return f"{self.text} ({self.status})" if self.status and self.status != self.text else self.text


class LimitUnit(StrEnum):
    """What the limit of a finding and the amount found are measured in."""

    PERCENT = "%"
    PH = "pH"
    CELSIUS = "°C"
    RATIO = "times"

    def write(self, value: Decimal, digits: int = 5) -> str:
        """Return a value with its unit, in so many significant figures.

        >>> LimitUnit.PH.write(Decimal("5.50")), LimitUnit.PERCENT.write(Decimal("0.65917346"))
        ('pH 5.5', '0.65917 %')
        """
        return f"pH {figures(value, digits)}" if self is LimitUnit.PH else f"{figures(value, digits)} {self}"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a rule found, in parts that a page, a paper and the command word for themselves.

    ``inci`` names the substances concerned; ``what`` says what was found in a sentence, ``why`` why it matters and
    ``action`` what to do, where the rule says so. ``limit`` and ``found`` are in ``unit``: % w/w of the finished
    formula, expressed as the rule expresses them (as the acid, for example), a pH or a temperature. ``quote`` is a
    wording that the label has to carry, exactly as the law has it.
    """

    rule: str
    severity: Severity
    inci: tuple[str, ...]
    what: str
    source: Source
    limit: Decimal | None = None
    found: Decimal | None = None
    materials: tuple[str, ...] = ()
    why: str = ""
    action: str = ""
    unit: LimitUnit = LimitUnit.PERCENT
    quote: str = ""

    @property
    def message(self) -> str:
        """All of it in one line, for answers that are no page."""
        why = f" Why: {self.why}." if self.why else ""
        action = f" What to do: {self.action}." if self.action else ""
        return f"{self.what}{why}{action}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a set of rules found, and what it could not look at for want of data."""

    findings: tuple[Finding, ...] = ()
    not_checked: tuple[str, ...] = ()

    def __add__(self, other: "Verdict") -> "Verdict":
        """Join two verdicts, keeping the order and dropping repeated lines."""
        return joined((self, other))


def joined(verdicts: Iterable[Verdict]) -> Verdict:
    """Join many verdicts at once, keeping the order and dropping repeated lines."""
    kept = tuple(verdicts)
    findings = dict.fromkeys(finding for one in kept for finding in one.findings)
    return Verdict(tuple(findings), tuple(dict.fromkeys(line for one in kept for line in one.not_checked)))


@dataclass(frozen=True, slots=True)
class FormulaFacts:
    """The formula the rules are asked about.

    ``ph`` is the pH of the finished product, ``products`` the words for the kind of product (``body lotion``,
    ``aerosol``...), both only where they are known: an empty set means that nobody said. ``temperatures_c`` tells how
    hot each material gets and ``order`` in what order they go in, by name of the material, as far as known;
    ``joined_c`` are the temperatures at which phases are joined. ``on`` is the day the law is asked for, None where
    the law as the tables have it is meant; ``formaldehyde_percent`` what a laboratory measured in the product;
    ``certified`` names the materials whose perfume certificate states the category of the product; ``amounts`` what
    the materials bring, name by name.
    """

    materials: tuple[DosedMaterial, ...]
    exposure: Exposure
    ph: Decimal | None = None
    products: frozenset[str] = frozenset()
    temperatures_c: Mapping[str, Decimal] = field(default_factory=dict, hash=False)
    order: tuple[str, ...] = ()
    joined_c: tuple[Decimal, ...] = ()
    on: date | None = None
    formaldehyde_percent: Decimal | None = None
    certified: frozenset[str] = frozenset()
    amounts: tuple[Amount, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Work out once what the materials bring, name by name."""
        object.__setattr__(self, "amounts", amounts(self.materials))


@dataclass(frozen=True, slots=True)
class LimitRule:
    """One row of a table of legal limits; ``max_percent`` is % w/w of the finished product, as ``expressed_as``.

    ``factors`` gives, for every INCI key or pattern the row covers, what one per cent of that substance counts as.
    ``exposures`` are the exposures the scope can belong to; ``general`` is false where the scope is a kind of product
    that the exposure alone does not tell (``products`` names it, a scope as in `science.rules.scope`).
    ``ph_max_allowed`` tells whether the pH limit itself is still allowed. ``not_in`` lists uses the rule forbids,
    ``supplier_data`` what only a supplier can show; ``uncertain`` rows hang on facts outside the formula. ``anchors``
    are names without which the row does not apply, ``label_above`` is the amount (same unit as the limit) above which
    the wording is due, ``label_for`` the scope in which it is, ``applies_in`` the markets. New products have to follow
    the row from ``applies_from`` on and no longer from ``until`` on; what is on the market already may be sold until
    ``sell_off_until``. ``severity`` is set where the row weighs less or more than its type
    says, ``remark`` is our note, never part of the wording.
    """

    jurisdiction: str
    inci_name: str
    cas: tuple[str, ...]
    expressed_as: str
    max_percent: Decimal | None
    product_scope: str
    condition: str
    label_wording: str
    legal_reference: str
    as_of: str
    source: str
    source_status: str
    factor: Decimal | None
    rule_type: str
    only_in_scope: bool
    factors: Mapping[str, Decimal] = field(hash=False)
    match_cas: tuple[str, ...] = ()
    sum_key: str = ""
    exposures: frozenset[Exposure] = frozenset(Exposure)
    general: bool = True
    products: frozenset[str] = frozenset()
    purpose: Purpose = Purpose.ANY
    ph_min: Decimal | None = None
    ph_max: Decimal | None = None
    ph_max_allowed: bool = True
    not_in: tuple[str, ...] = ()
    supplier_data: str = ""
    uncertain: bool = False
    anchors: tuple[str, ...] = ()
    label_above: Decimal | None = None
    applies_in: frozenset[str] = frozenset()
    label_for: frozenset[str] = frozenset()
    applies_from: date | None = None
    until: date | None = None
    sell_off_until: date | None = None
    severity: Severity | None = None
    remark: str = ""

    def in_force(self, on: date | None) -> bool:
        """Return whether a product placed on the market that day has to follow the row; without a day all count."""
        if on is None:
            return self.until is None
        return (self.applies_from is None or self.applies_from <= on) and (self.until is None or on < self.until)

    def to_come(self, on: date | None) -> bool:
        """Return whether the row applies only after that day."""
        return on is not None and self.applies_from is not None and on < self.applies_from

    @property
    def citation(self) -> Source:
        """The entry with the date of the table and how far it was checked."""
        date = f", as of {self.as_of}" if self.as_of else ""
        return Source(f"{self.legal_reference}{date}; {self.source}", self.source_status)


@dataclass(frozen=True, slots=True)
class HighestUse:
    """The highest use of a substance in one kind of exposure, % w/w of the substance itself in the finished product.

    ``assessed`` is the ceiling of a safety assessment; otherwise it is what a source reports to be used.
    """

    exposure: Exposure
    percent: Decimal
    assessed: bool
    source: Source


@dataclass(frozen=True, slots=True)
class SubstanceFacts:
    """What the trade rules ask of a substance.

    Uses and temperatures as in the shipped table: ``use_low`` and ``use_high`` in % w/w of the finished product,
    ``max_temp_c`` in degrees Celsius, ``natural_origin_index`` 0..1, ``molar_mass_g_mol`` in g/mol; ``water_percent``
    is the water in the substance as it is sold (hydrosols, juices, honey), 0..100. ``highest_uses`` are what was
    reported or assessed beyond the habit.
    """

    functions: frozenset[str] = frozenset()
    group: str = ""
    phase_hint: str = ""
    charge: str = ""
    electrolyte: bool = False
    ph_min: Decimal | None = None
    ph_max: Decimal | None = None
    use_low: Decimal | None = None
    use_high: Decimal | None = None
    highest_uses: tuple[HighestUse, ...] = ()
    max_temp_c: Decimal | None = None
    natural_origin_index: Decimal | None = None
    molar_mass_g_mol: Decimal | None = None
    water_percent: Decimal = Decimal(0)


UNKNOWN = SubstanceFacts()
Facts = Mapping[str, SubstanceFacts]


def facts_of(name: str, facts: Facts) -> SubstanceFacts:
    """Look a substance up by its INCI name in any case; an unknown one has empty facts."""
    return facts.get(inci_key(name), UNKNOWN)
