"""What a formula brings of one subject of the legal limits, and which rows of the subject apply to it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from app.science.numbers import figures, plain
from app.science.rules.names import Amount, materials_in, names_in, rule_key
from app.science.rules.scope import closeness, fits
from app.science.rules.values import Finding, FormulaFacts, LimitRule, LimitUnit, Purpose, Severity

# Kinds of product that a maker knows at once; a limit for them is listed, but it neither excuses nor alarms.
RARE_PRODUCTS = frozenset(
    {"oral", "toothpaste", "mouthwash", "mouth spray", "nail", "nail hardener", "cuticle remover", "artificial nails"}
    | {"straightener", "depilatory", "hair waving", "hair dye", "oxidative hair dye", "non-oxidative hair dye", "henna"}
    | {"eyelash", "professional", "foot", "callosity", "powder", "aerosol", "inhalable", "anti-dandruff", "sunscreen"}
    | {"sun product", "glitter", "scrub", "intimate", "hair spray", "deodorant spray", "body spray", "fragrance cream"}
    | {"children", "children under 3"}
)
# What these rules cap cannot be read off a formula: the supplier has to state it.
UNMEASURED = frozenset({"secondary amine in product"})


@dataclass(frozen=True, slots=True)
class Present:
    """The rules of a subject with the amounts they count, each with its factor."""

    rules: tuple[LimitRule, ...]
    pairs: tuple[tuple[Amount, Decimal], ...]

    @property
    def total(self) -> Decimal:
        """The sum in % w/w of the finished formula, expressed as the rules express it."""
        return sum((amount.percent * factor for amount, factor in self.pairs), Decimal(0))

    @property
    def amounts(self) -> tuple[Amount, ...]:
        """The amounts counted."""
        return tuple(amount for amount, _ in self.pairs)

    @property
    def purpose(self) -> Purpose:
        """The purpose the rules are bound to."""
        return self.rules[0].purpose

    def finding(
        self,
        rule: LimitRule,
        severity: Severity,
        what: str,
        limit: Decimal | None = None,
        found: Decimal | None = None,
        *,
        unit: LimitUnit = LimitUnit.PERCENT,
        why: str = "",
        action: str = "",
    ) -> Finding:
        """Say something of these amounts in the name of one rule; ``limit`` and ``found`` are in its unit (% w/w)."""
        return Finding(
            rule=rule.legal_reference,
            severity=rule.severity or severity,
            inci=names_in(self.amounts),
            what=what,
            source=rule.citation,
            limit=limit,
            found=found,
            materials=materials_in(self.amounts),
            why=why,
            action=action,
            unit=unit,
        )


def is_open(rule: LimitRule, formula: FormulaFacts) -> bool:
    """Return whether a row can speak of a formula: by its exposure, or because it is for this very kind of product.

    A cuticle remover is one whether somebody calls it leave-on or rinse-off; of the rows for hair or face in general
    the exposure decides.
    """
    if formula.exposure in rule.exposures:
        return True
    return not rule.general and closeness(rule.products, formula.products) > 1


def is_elsewhere(rule: LimitRule, formula: FormulaFacts) -> bool:
    """Return whether the kind of product is known and the rule is for other kinds."""
    return bool(formula.products) and not fits(rule.products, formula.products)


def applicable_limits(active: Iterable[LimitRule], formula: FormulaFacts) -> tuple[list[LimitRule], list[LimitRule]]:
    """Split the rules with a maximum into those that certainly apply and those that hang on the kind of product.

    A rule for a kind of product replaces the general one, and the closer kind the wider one.
    """
    capped = [r for r in active if r.max_percent is not None and r.rule_type in ("max", "guidance")]
    capped = [r for r in capped if r.expressed_as not in UNMEASURED]
    special = [r for r in capped if not r.general]
    closest = max((closeness(r.products, formula.products) for r in special), default=0)
    if closest and formula.products:
        return [r for r in special if closeness(r.products, formula.products) == closest], []
    return [r for r in capped if r.general], [] if formula.products else special


def cap(rule: LimitRule) -> Decimal:
    """Return the highest amount of a row, % w/w; 0 where it has none."""
    return rule.max_percent if rule.max_percent is not None else Decimal(0)


def is_rare(rule: LimitRule) -> bool:
    """Return whether a rule is only for kinds of product that a maker knows at once."""
    return all(any(word.strip() in RARE_PRODUCTS for word in alternative.split("+")) for alternative in rule.products)


def exceeds(present: Present, rule: LimitRule) -> bool:
    """Return whether the amounts are over the highest amount of a row."""
    return present.total > cap(rule)


def own_rows(present: Present, rules: Iterable[LimitRule]) -> list[LimitRule]:
    """Keep the rows written for the very names that are present; all of them where no row names one."""
    keys, rows = {rule_key(amount.name) for amount in present.amounts}, list(rules)
    return [rule for rule in rows if rule_key(rule.inci_name) in keys] or rows


def day_words(day: date | None) -> str:
    """Return a day as people write it, such as 1 January 2027; empty for none."""
    return f"{day.day} {day:%B %Y}" if day else ""


def names_of(present: Present) -> str:
    """Return the names of the substances counted."""
    return ", ".join(names_in(present.amounts))


def amount_words(present: Present, rule: LimitRule) -> str:
    """Return the amounts with their sum, as the row expresses it."""
    as_ = "" if rule.expressed_as in ("", "as such", "each") else f" as {rule.expressed_as}"
    return f"{names_of(present)}: {figures(present.total, 5)} %{as_}"


def brought_words(present: Present) -> str:
    """Return which materials bring the amounts."""
    return f"Brought by {', '.join(materials_in(present.amounts))}."


def where_words(rule: LimitRule) -> str:
    """Return the products a row is for."""
    return "any product" if rule.product_scope == "all" else rule.product_scope


def choice_words(rules: Iterable[LimitRule]) -> str:
    """Return the products of some rows with their highest amounts."""
    words = (
        f"{where_words(r)}{f' (at most {plain(r.max_percent)} %)' if r.max_percent is not None else ''}" for r in rules
    )
    return "; ".join(dict.fromkeys(words))
