"""What one subject of the legal limits says of what a formula brings of it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.science.numbers import figures
from app.science.rules.names import Amount, materials_in, names_in, plain, rule_key
from app.science.rules.values import Finding, FormulaFacts, LimitRule, Purpose, Severity, Unit, Verdict

# Kinds of product that a maker knows at once; a limit for them is listed, but it neither excuses nor alarms.
RARE_PRODUCTS = frozenset(
    {"oral", "nail", "straightener", "depilatory", "eyelash", "professional", "foot", "callosity", "powder", "aerosol"}
    | {
        "anti-dandruff",
        "sunscreen",
        "hair waving",
        "hair spray",
        "deodorant spray",
        "body spray",
        "hair dye",
        "sun product",
    }
    | {"fragrance cream"}
)
# What these rules cap cannot be read off a formula: the supplier has to state it.
UNMEASURED = frozenset({"secondary amine in product"})
FORBIDDEN_USES = {
    "aerosol": ("aerosol sprays", "uses that can reach the lungs by inhalation"),
    "oral": ("oral products",),
    "lip": ("lip products",),
    "eye": ("eye products",),
    "body lotion": ("body lotion or body cream",),
    "mucous membranes": ("products applied on mucous membranes",),
    "sunscreen": ("sunscreens and UV exposure products",),
    "children under 3": ("products for children under 3", "products for children under 6"),
}
# Share of alcohol, % w/w, from which a product can be an alcoholic fragrance; common practice.
FRAGRANCE_ALCOHOL_PERCENT = Decimal(30)
ALCOHOLS = frozenset({"ALCOHOL", "ALCOHOL DENAT.", "ALCOHOL DENAT", "SD ALCOHOL 40-B", "ETHANOL", "DENATURED ALCOHOL"})


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
        message: str,
        limit: Decimal | None = None,
        found: Decimal | None = None,
        unit: Unit = Unit.PERCENT,
    ) -> Finding:
        """Say something of these amounts in the name of one rule."""
        return Finding(
            rule=rule.legal_reference,
            severity=severity,
            inci=names_in(self.amounts),
            what=message,
            source=rule.citation,
            limit=limit,
            found=found,
            materials=materials_in(self.amounts),
            unit=unit,
        )


def judge(present: Present, formula: FormulaFacts, others: Sequence[Present]) -> Verdict:
    """Judge one subject; ``others`` are the subjects for the other purpose that may cover the same substances."""
    active = tuple(r for r in present.rules if formula.exposure in r.exposures and _form_fits(present, r))
    shared = [o for o in others if {a.name for a in present.amounts} <= {a.name for a in o.amounts}]
    findings: list[Finding] = [*_prohibited(present, formula), *_said(present, active)]
    findings += [*_over(present, formula, active, shared), *_forbidden_use(present, formula, active)]
    return Verdict(tuple(findings), _unknown(present, formula, active)) + judge_ph(present, formula, active)


def _form_fits(present: Present, rule: LimitRule) -> bool:
    """A rule for the nano form speaks only where the nano form is there."""
    return "(nano)" not in rule.inci_name or any("(nano)" in amount.name.lower() for amount in present.amounts)


def _prohibited(present: Present, formula: FormulaFacts) -> Iterable[Finding]:
    for rule in present.rules:
        if rule.rule_type == "prohibited" and not _elsewhere(rule, formula):
            sure = not rule.uncertain and (rule.general or bool(rule.products & formula.products))
            words = f"{_names(present)}: {rule.condition} ({_where(rule)}). {_brought(present)}"
            severity = Severity.STOP if sure else Severity.CAUTION
            yield present.finding(rule, severity, words, Decimal(0), present.total)


def _elsewhere(rule: LimitRule, formula: FormulaFacts) -> bool:
    """Tell whether the kind of product is known and the rule is for other kinds."""
    return not rule.general and bool(formula.products) and not rule.products & formula.products


def _said(present: Present, active: Iterable[LimitRule]) -> Iterable[Finding]:
    """Pass on what notes, guidance and conditions without a figure say."""
    for rule in active:
        figure = rule.max_percent is not None or rule.ph_max is not None or rule.ph_min is not None
        spoken = rule.rule_type in ("note", "label", "guidance") or (
            rule.rule_type == "condition" and not rule.supplier_data
        )
        if spoken and not figure and rule.general and rule.condition:
            yield present.finding(rule, Severity.NOTE, f"{_names(present)}: {rule.condition}")


def _limits(active: Iterable[LimitRule], formula: FormulaFacts) -> tuple[list[LimitRule], list[LimitRule]]:
    """Split the rules with a maximum into those that certainly apply and those that hang on the kind of product."""
    capped = [r for r in active if r.max_percent is not None and r.rule_type in ("max", "guidance")]
    capped = [r for r in capped if r.expressed_as not in UNMEASURED]
    special = [r for r in capped if not r.general]
    closest = max((len(r.products & formula.products) for r in special), default=0)
    if closest:
        return [r for r in special if len(r.products & formula.products) == closest], []
    return [r for r in capped if r.general], [] if formula.products else special


def _cap(rule: LimitRule) -> Decimal:
    return rule.max_percent if rule.max_percent is not None else Decimal(0)


def _over(
    present: Present, formula: FormulaFacts, active: Sequence[LimitRule], others: Sequence[Present]
) -> Iterable[Finding]:
    sure, maybe = _limits(active, formula)
    if any(rule.general for rule in present.rules if rule.rule_type == "condition") and not sure:
        return ()
    if sure:
        return _over_sure(present, formula, sure, maybe, others)
    if maybe:
        return _over_maybe(present, maybe, others, formula)
    return () if present.purpose == Purpose.OTHER and others else _outside(present, formula)


def _over_sure(
    present: Present,
    formula: FormulaFacts,
    sure: Sequence[LimitRule],
    maybe: Sequence[LimitRule],
    others: Sequence[Present],
) -> Iterable[Finding]:
    rule = min(_own(present, sure), key=_cap)
    if present.total <= _cap(rule):
        return [_if_so(present, r) for r in maybe if _exceeds(present, r) and not r.products & RARE_PRODUCTS]
    excuse = next((r for r in maybe if not _exceeds(present, r) and _plausible(r, formula)), None)
    excuse = excuse or _other_purpose(present, others, formula)
    return [_exceeded(present, rule, excuse)]


def _exceeds(present: Present, rule: LimitRule) -> bool:
    return present.total > _cap(rule)


def _plausible(rule: LimitRule, formula: FormulaFacts) -> bool:
    """Tell whether a product with this formula can be of the kind the rule is for."""
    if "alcoholic fragrance" in rule.products:
        return _alcohol(formula) >= FRAGRANCE_ALCOHOL_PERCENT
    return not rule.products <= RARE_PRODUCTS or rule.products <= {"anti-dandruff", "foot"}


def _alcohol(formula: FormulaFacts) -> Decimal:
    shares = (
        m.percent * p.percent / 100 for m in formula.materials for p in m.parts if p.inci.upper().strip() in ALCOHOLS
    )
    return sum(shares, Decimal(0))


def _other_purpose(present: Present, others: Iterable[Present], formula: FormulaFacts) -> LimitRule | None:
    """Find a rule for a purpose other than preserving that allows the amount; only a preservative limit asks."""
    if present.purpose != Purpose.PRESERVATIVE:
        return None
    for other in others:
        sure, maybe = _limits([r for r in other.rules if formula.exposure in r.exposures], formula)
        allowed = (r for r in (*sure, *maybe) if not _exceeds(other, r) and (r in sure or _plausible(r, formula)))
        rule = next(allowed, None)
        if rule is not None:
            return rule
    return None


def _exceeded(present: Present, rule: LimitRule, excuse: LimitRule | None) -> Finding:
    words = f"{_amount(present, rule)}, over the limit of {plain(_cap(rule))} % for {_where(rule)}. {_brought(present)}"
    if rule.condition:
        words += f" The rule: {rule.condition}."
    guidance = rule.rule_type == "guidance" or rule.uncertain
    if excuse is not None:
        words += f" Allowed only as {excuse.legal_reference} has it: {_where(excuse)}, {plain(_cap(excuse))} %."
    severity = Severity.CAUTION if guidance or excuse is not None else Severity.STOP
    return present.finding(rule, severity, words, rule.max_percent, present.total)


def _if_so(present: Present, rule: LimitRule) -> Finding:
    words = f"{_amount(present, rule)}: if the product is for {_where(rule)}, the limit is {plain(_cap(rule))} %."
    return present.finding(rule, Severity.NOTE, words, rule.max_percent, present.total)


def _over_maybe(
    present: Present, maybe: Sequence[LimitRule], others: Sequence[Present], formula: FormulaFacts
) -> Iterable[Finding]:
    """Judge a substance that is limited only in kinds of product that nobody named."""
    over = [rule for rule in maybe if _exceeds(present, rule)]
    excuse = _other_purpose(present, others, formula)
    if len(over) == len(maybe):
        return [_exceeded(present, max(_own(present, over), key=_cap), excuse)]
    asked_already = present.purpose == Purpose.OTHER and others
    if not maybe[0].only_in_scope or asked_already:
        return ()
    strictest = min(over, key=_cap) if over else maybe[0]
    words = f"{_amount(present, strictest)}: allowed only in {_choices(maybe)}; the kind of product was not given."
    return [present.finding(strictest, Severity.CAUTION, words, strictest.max_percent, present.total)]


def _outside(present: Present, formula: FormulaFacts) -> Iterable[Finding]:
    """Say that a substance is used in an exposure, or a kind of product, that no rule allows."""
    fenced = [rule for rule in present.rules if rule.only_in_scope and rule.rule_type in ("max", "condition")]
    if not fenced or any(formula.exposure in rule.exposures and rule.general for rule in fenced):
        return ()
    words = f"{_amount(present, fenced[0])} in a {formula.exposure} product: allowed only in {_choices(fenced)}."
    return [present.finding(fenced[0], Severity.STOP, words, Decimal(0), present.total)]


def _own(present: Present, rules: Iterable[LimitRule]) -> list[LimitRule]:
    """Keep the rows written for the very names that are present; all of them where no row names one."""
    keys, rows = {rule_key(amount.name) for amount in present.amounts}, list(rules)
    return [rule for rule in rows if rule_key(rule.inci_name) in keys] or rows


def _forbidden_use(present: Present, formula: FormulaFacts, active: Iterable[LimitRule]) -> Iterable[Finding]:
    """Stop a use that the rule excludes, where the kind of product is known."""
    uses = {use for word in formula.products for use in FORBIDDEN_USES.get(_spray(word), ())}
    for rule in _own(present, active):
        hit = [use for use in rule.not_in if use in uses]
        if hit:
            yield present.finding(rule, Severity.STOP, f"{_names(present)}: not in {', '.join(hit)}.")


def _spray(word: str) -> str:
    return "aerosol" if word.endswith("spray") else word


def _unknown(present: Present, formula: FormulaFacts, active: Sequence[LimitRule]) -> tuple[str, ...]:
    """List what the rules ask that the formula cannot tell: forbidden uses, supplier's data, kinds of product."""
    rows = [rule for rule in _own(present, active) if not _elsewhere(rule, formula)]
    uses = {use: rule.legal_reference for rule in rows if rule.general for use in rule.not_in}
    lines = [
        f"{_names(present)}: {r.supplier_data} ({r.legal_reference}); ask the supplier."
        for r in rows
        if r.supplier_data
    ]
    if uses and not formula.products:
        lines.append(f"{_names(present)}: not in {', '.join(uses)} ({rows[0].legal_reference}); the use was not given.")
    return tuple(dict.fromkeys((*lines, *_open_kinds(present, formula, active))))


def _open_kinds(present: Present, formula: FormulaFacts, active: Iterable[LimitRule]) -> Iterable[str]:
    """Name the kinds of product that would have a lower limit, where it is passed over because they are rare."""
    sure, maybe = _limits(active, formula)
    open_ = [r for r in maybe if sure and _exceeds(present, r) and r.products & RARE_PRODUCTS]
    if open_:
        yield f"{_names(present)}: {_choices(open_)} ({open_[0].legal_reference}); the kind of product was not given."


def judge_ph(present: Present, formula: FormulaFacts, active: Iterable[LimitRule]) -> Verdict:
    """Judge the pH a rule asks for; without a pH of the product it is listed as not checked."""
    asked = [r for r in active if r.ph_min is not None or r.ph_max is not None]
    rules = [r for r in asked if r.general or r.products & formula.products] or _mildest(asked, formula)
    if not rules:
        return Verdict()
    if formula.ph is None:
        return Verdict(not_checked=tuple(_ph_line(present, rule) for rule in rules))
    return Verdict(tuple(_ph_finding(present, rule, formula.ph) for rule in rules if _ph_wrong(rule, formula.ph)))


def _mildest(asked: Sequence[LimitRule], formula: FormulaFacts) -> list[LimitRule]:
    """Where only kinds of product have a pH window and the kind is unknown, ask for the widest window."""
    if not asked or formula.products:
        return []
    return [max(asked, key=lambda r: r.ph_max or Decimal(14))]


def _ph_wrong(rule: LimitRule, ph: Decimal) -> bool:
    too_low = rule.ph_min is not None and ph < rule.ph_min
    too_high = rule.ph_max is not None and (ph > rule.ph_max or (ph == rule.ph_max and not rule.ph_max_allowed))
    return too_low or too_high


def _window(rule: LimitRule) -> str:
    top = f"{'at most' if rule.ph_max_allowed else 'below'} {plain(rule.ph_max)}" if rule.ph_max is not None else ""
    bottom = f"at least {plain(rule.ph_min)}" if rule.ph_min is not None else ""
    return " and ".join(word for word in (bottom, top) if word)


def _ph_line(present: Present, rule: LimitRule) -> str:
    return f"{_names(present)}: pH {_window(rule)} in {_where(rule)} ({rule.legal_reference}); no pH was given."


def _ph_finding(present: Present, rule: LimitRule, ph: Decimal) -> Finding:
    severity = Severity.CAUTION if rule.rule_type == "guidance" else Severity.STOP
    words = f"{_names(present)}: the product must be at pH {_window(rule)} for {_where(rule)}; it is at pH {plain(ph)}."
    low = rule.ph_min is not None and ph < rule.ph_min
    return present.finding(rule, severity, words, rule.ph_min if low else rule.ph_max, ph, Unit.PH)


def _names(present: Present) -> str:
    return ", ".join(names_in(present.amounts))


def _amount(present: Present, rule: LimitRule) -> str:
    as_ = "" if rule.expressed_as in ("", "as such", "each") else f" as {rule.expressed_as}"
    return f"{_names(present)}: {figures(present.total, 5)} %{as_}"


def _brought(present: Present) -> str:
    return f"Brought by {', '.join(materials_in(present.amounts))}."


def _where(rule: LimitRule) -> str:
    return "any product" if rule.product_scope == "all" else rule.product_scope


def _choices(rules: Iterable[LimitRule]) -> str:
    words = (f"{_where(r)}{f' (at most {plain(r.max_percent)} %)' if r.max_percent is not None else ''}" for r in rules)
    return "; ".join(dict.fromkeys(words))
