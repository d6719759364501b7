"""What a row of the legal limits says besides its amount: uses it bars, its pH, what a supplier must show."""

from collections.abc import Iterable, Sequence
from decimal import Decimal

from app.science.numbers import plain
from app.science.rules.limit_present import (
    Present,
    applicable_limits,
    choice_words,
    exceeds,
    is_elsewhere,
    is_rare,
    names_of,
    own_rows,
    where_words,
)
from app.science.rules.scope import closeness
from app.science.rules.values import Finding, FormulaFacts, LimitRule, LimitUnit, Severity, Verdict

FORBIDDEN_USES = {
    "aerosol": ("aerosol sprays", "sprays", "uses that can reach the lungs by inhalation"),
    "spray": ("sprays", "uses that can reach the lungs by inhalation"),
    "inhalable": ("uses that can reach the lungs by inhalation",),
    "oral": ("oral products",),
    "lip": ("lip products",),
    "eye": ("eye products", "products for the eye"),
    "body lotion": ("body lotion or body cream",),
    "mucous membranes": ("products applied on mucous membranes",),
    "sunscreen": ("sunscreens and UV exposure products",),
    "sun product": ("sunscreens and UV exposure products",),
    "nappy area": ("products for the nappy area of children under 3",),
    "children under 3": (
        "products for children under 3",
        "products for children under 3 other than shampoo",
        "products for children under 3 other than bath, shower and shampoo",
        "products for children under 6",
    ),
}
# The cell of the tables for what a certificate states, which a maker enters with the material.
PERFUME_CERTIFICATE = "the limit on the perfume certificate for the category of the product"
SPRAYED_SUN = "sun products that can reach the lungs by inhalation"
# From this closeness on a row names the kind of product itself and not only an area of the body.
NARROW = 2
BATH_AND_SHAMPOO = frozenset({"bath product", "shower gel", "shampoo"})


def forbidden_use(present: Present, formula: FormulaFacts, active: Iterable[LimitRule]) -> Iterable[Finding]:
    """Stop a use that the rule excludes, where the kind of product is known."""
    uses = {use for word in formula.products for use in FORBIDDEN_USES.get(word, ())}
    if "sun product" in formula.products and formula.products & {"spray", "aerosol", "inhalable"}:
        uses.add(SPRAYED_SUN)
    if BATH_AND_SHAMPOO & formula.products:
        uses.discard("products for children under 3 other than bath, shower and shampoo")
    if "shampoo" in formula.products:
        uses.discard("products for children under 3 other than shampoo")
    for rule in own_rows(present, _closest(active, formula)):
        hit = [use for use in rule.not_in if use in uses]
        if hit:
            yield present.finding(rule, Severity.STOP, f"{names_of(present)}: not in {', '.join(hit)}.")
            return


def _closest(active: Iterable[LimitRule], formula: FormulaFacts) -> Sequence[LimitRule]:
    """Keep the rows for the very kind of product where there are any: what bars a use bars it elsewhere."""
    rows = tuple(active)
    near = max((closeness(r.products, formula.products) for r in rows if not r.general), default=0)
    if near < NARROW:
        return rows
    return tuple(r for r in rows if not r.general and closeness(r.products, formula.products) == near)


def unknown_uses(present: Present, formula: FormulaFacts, active: Sequence[LimitRule]) -> tuple[str, ...]:
    """Return what the rules ask that the formula cannot tell: forbidden uses, supplier's data, kinds of product."""
    rows = [rule for rule in own_rows(present, active) if not is_elsewhere(rule, formula)]
    uses = {use: rule.legal_reference for rule in rows if rule.general for use in rule.not_in}
    lines = [
        f"{names_of(present)}: {r.supplier_data} ({r.legal_reference}); ask the supplier."
        for r in rows
        if r.supplier_data
        and not (r.supplier_data == PERFUME_CERTIFICATE and {a.material for a in present.amounts} <= formula.certified)
    ]
    lines += [f"{names_of(present)}: {r.condition} ({r.legal_reference})." for r in rows if r.rule_type == "pending"]
    if uses and not formula.products:
        lines.append(
            f"{names_of(present)}: not in {', '.join(uses)} ({rows[0].legal_reference}); the use was not given."
        )
    return tuple(dict.fromkeys((*lines, *_open_kinds(present, formula, active))))


def _open_kinds(present: Present, formula: FormulaFacts, active: Iterable[LimitRule]) -> Iterable[str]:
    """Name the kinds of product that would have a lower limit, where it is passed over because they are rare."""
    sure, maybe = applicable_limits(active, formula)
    open_ = [r for r in maybe if sure and exceeds(present, r) and is_rare(r)]
    if open_:
        where = f"{choice_words(open_)} ({open_[0].legal_reference})"
        yield f"{names_of(present)}: {where}; the kind of product was not given."


def judge_ph(present: Present, formula: FormulaFacts, active: Iterable[LimitRule]) -> Verdict:
    """Judge the pH a rule asks for; without a pH of the product it is listed as not checked.

    A window for the kind of product replaces the general one.
    """
    asked = [r for r in active if r.ph_min is not None or r.ph_max is not None]
    closest = max((closeness(r.products, formula.products) for r in asked if not r.general), default=0)
    if closest and formula.products:
        rules = [r for r in asked if not r.general and closeness(r.products, formula.products) == closest]
    elif any(closeness(r.products, formula.products) for r in active if not r.general and formula.products):
        rules = []
    else:
        rules = [r for r in asked if r.general]
        if not rules and asked and not formula.products:  # only kinds of product have a window: ask for the widest
            rules = [max(asked, key=lambda r: r.ph_max or Decimal(14))]
    if not rules:
        return Verdict()
    if formula.ph is None:
        asked_words = ((f"pH {_window(rule)} in {where_words(rule)}", rule.legal_reference) for rule in rules)
        lines = (f"{names_of(present)}: {words} ({law}); no pH was given." for words, law in asked_words)
        return Verdict(not_checked=tuple(lines))
    found = (_ph_finding(present, rule, formula.ph) for rule in rules)
    return Verdict(tuple(finding for finding in found if finding is not None))


def _window(rule: LimitRule) -> str:
    top = f"{'at most' if rule.ph_max_allowed else 'below'} {plain(rule.ph_max)}" if rule.ph_max is not None else ""
    bottom = f"at least {plain(rule.ph_min)}" if rule.ph_min is not None else ""
    return " and ".join(word for word in (bottom, top) if word)


def _ph_finding(present: Present, rule: LimitRule, ph: Decimal) -> Finding | None:
    low = rule.ph_min is not None and ph < rule.ph_min
    high = rule.ph_max is not None and (ph > rule.ph_max or (ph == rule.ph_max and not rule.ph_max_allowed))
    if not (low or high):
        return None
    severity = Severity.CAUTION if rule.rule_type == "guidance" else Severity.STOP
    asked = f"the product must be at pH {_window(rule)} for {where_words(rule)}"
    what = f"{names_of(present)}: {asked}; it is at pH {plain(ph)}."
    return present.finding(rule, severity, what, rule.ph_min if low else rule.ph_max, ph, unit=LimitUnit.PH)
