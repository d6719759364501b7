"""Trade rules that look at the formula as a whole: water kept from microbes, oil held in water, ranges, heat."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from app.science.names import inci_key
from app.science.numbers import figures, plain
from app.science.preservation import Preservation, PreservativeSystem, Preserved, SystemVerdict
from app.science.rules.compatibility import TradeRule
from app.science.rules.counts import is_emulsifier, is_oil, water_activity
from app.science.rules.names import rule_key
from app.science.rules.product_rules import ALKALI
from app.science.rules.selectors import Ingredient, Ingredients
from app.science.rules.values import Finding, FormulaFacts, LimitUnit, Severity, Verdict

# Figures of formulation practice (from memory): bound water, alcohol that keeps, and what is too little to matter.
KEEPING_ACTIVITY = Decimal("0.7")
HELPING_ACTIVITY = Decimal("0.85")
KEEPING_ALCOHOL_SHARE = Decimal("0.20")
SOLVING_ALCOHOL_SHARE = Decimal("0.30")
WATER_TO_KEEP_PERCENT = Decimal(3)
WATER_TO_EMULSIFY_PERCENT = Decimal(5)
OIL_TO_EMULSIFY_PERCENT = Decimal("0.5")
PHASE_GAP_C = Decimal(5)

KEEPING_PH = (Decimal(3), Decimal(10))
SOAP_PERCENT, LYE_PERCENT = Decimal(20), Decimal(2)
MOSTLY_WATER_PERCENT, SOLVENT_PERCENT = Decimal(50), Decimal(5)
FLAMMABLE_ALCOHOL_PERCENT, COOL_ENOUGH_C = Decimal(20), Decimal(40)
SCENT_PERCENT = Decimal(5)
# Grams of sodium hydroxide to a gram of fat from which it is soap that is being made; a full lye takes 0.12 to 0.18.
LYE_TO_FAT = Decimal("0.08")
# From this much clay or powder the product is a paste that holds its oil.
PASTE_PERCENT = Decimal(15)
# Beyond this much of a formula a material carries the product, whatever its usual range.
MAIN_MATERIAL_PERCENT, USE_TOLERANCE = Decimal(20), Decimal("1.25")
TOGETHER_PERCENT = 0.25
SMALL_GROUPS = frozenset({"actives", "thickeners, gums, polymers", "antioxidants and chelators"})
# Kinds of product in which germs do the worst harm: at the eye, on the skin of infants, and breathed in.
EASILY_HARMED = frozenset({"eye", "spray", "nappy area", "children under 3", "wipes"})
KEEPS_ITSELF = frozenset(
    {"bar soap", "bleach", "oxidative hair dye", "straightener", "depilatory", "hair waving", "hot wax"}
    | {"nail varnish", "nail"}
)
OXIDISERS = {
    "HYDROGENPEROXIDE": Decimal(1),
    "UREAPEROXIDE": Decimal(3),
    "BENZOYLPEROXIDE": Decimal(1),
    "ALUMINUMCHLOROHYDRATE": Decimal(25),
    "THIOGLYCOLICACID": Decimal(2),
    "AMMONIUMTHIOGLYCOLATE": Decimal(2),
}
# pKa at 25 °C and grams that 100 g of water dissolve of the un-ionised acid; handbook values, from memory.
WEAK_ACIDS = {
    "salicylic acid": (Decimal("2.97"), Decimal("0.22")),
    "benzoic acid": (Decimal("4.20"), Decimal("0.34")),
    "sorbic acid": (Decimal("4.76"), Decimal("0.19")),
    "dehydroacetic acid": (Decimal("5.27"), Decimal("0.10")),
    "anisic acid": (Decimal("4.47"), Decimal("0.03")),
}
# Grams of acid in a gram of it and its salts, from the molar masses.
AS_ACID = {
    "SALICYLICACID": ("salicylic acid", Decimal(1)),
    "SODIUMSALICYLATE": ("salicylic acid", Decimal("0.8627")),
    "BENZOICACID": ("benzoic acid", Decimal(1)),
    "SODIUMBENZOATE": ("benzoic acid", Decimal("0.8475")),
    "POTASSIUMBENZOATE": ("benzoic acid", Decimal("0.7622")),
    "SORBICACID": ("sorbic acid", Decimal(1)),
    "POTASSIUMSORBATE": ("sorbic acid", Decimal("0.7464")),
    "DEHYDROACETICACID": ("dehydroacetic acid", Decimal(1)),
    "SODIUMDEHYDROACETATE": ("dehydroacetic acid", Decimal("0.8844")),
    "PANISICACID": ("anisic acid", Decimal(1)),
    "SODIUMANISATE": ("anisic acid", Decimal("0.8737")),
}
SOLVENT_GROUPS = frozenset({"emulsifiers and solubilisers", "surfactants"})
GLYCOLS = frozenset(
    {"PROPYLENEGLYCOL", "PROPANEDIOL", "PENTYLENEGLYCOL", "BUTYLENEGLYCOL", "HEXYLENEGLYCOL", "DIMETHYLISOSORBIDE"}
    | {"12HEXANEDIOL", "ETHOXYDIGLYCOL", "DIPROPYLENEGLYCOL", "BENZYLALCOHOL", "POLYSORBATE20", "POLYSORBATE80"}
)
# Makers' tables give organic acids up above this pH; common practice, as rule C21 has it.
IDLE_ACID_PH = Decimal("5.5")
# A little more than dissolves stays in solution for long beside other solutes; common practice.
SUPERSATURATION = Decimal("1.3")
FATTY_ACIDS = frozenset({"STEARICACID", "PALMITICACID", "MYRISTICACID", "LAURICACID", "OLEICACID", "COCONUTACID"})

Rules = Mapping[str, TradeRule]
Judge = Callable[[FormulaFacts], Preservation | None]


def check_process(formula: FormulaFacts, rules: Rules, present: Ingredients, judge: Judge) -> Verdict:
    """Judge a formula as a whole by the process rules; ``judge`` gives the verdict on its preservation."""
    checks: tuple[Callable[[], Iterable[Finding]], ...] = (
        lambda: _unpreserved(present, formula, rules, judge),
        lambda: _hot_alcohol(present, formula, rules["P10"]),
        lambda: _crystals(present, formula, rules["P11"]),
        lambda: _unemulsified(present, rules["P02"]),
        lambda: _too_hot(present, formula, rules["P03"]),
        lambda: _out_of_use(present, formula, rules["P04"]),
        lambda: _out_of_ph(present, formula, rules["P05"]),
        lambda: _gap(formula, rules["P06"]),
    )
    bound = [i.name for i in present if i.facts.ph_min is not None or i.facts.ph_max is not None]
    open_ = (f"pH ranges of {', '.join(bound)}: no pH was given.",) if bound and formula.ph is None else ()
    return Verdict(tuple(f for check in checks for f in check()), open_)


def _sum(present: Iterable[Ingredient]) -> Decimal:
    return sum((i.percent for i in present), Decimal(0))


def _water(present: Iterable[Ingredient]) -> Decimal:
    return sum((i.water for i in present), Decimal(0))


def _alcohol_share(present: Sequence[Ingredient]) -> Decimal:
    alcohol = _sum(i for i in present if i.is_a("alcohol"))
    return alcohol / (alcohol + _water(present)) if alcohol else Decimal(0)


def _say(
    rule: TradeRule,
    names: Iterable[str],
    what: str,
    limit: Decimal | None = None,
    found: Decimal | None = None,
    *,
    unit: LimitUnit = LimitUnit.PERCENT,
    severity: Severity | None = None,
) -> Finding:
    return Finding(
        rule=rule.rule_id,
        severity=severity or rule.severity,
        inci=tuple(names),
        what=f"{what}.",
        source=rule.citation,
        limit=limit,
        found=found,
        why=rule.why,
        action=rule.action,
        unit=unit,
    )


def _unpreserved(present: Sequence[Ingredient], formula: FormulaFacts, rules: Rules, judge: Judge) -> Iterable[Finding]:
    """Judge by the verdict on its preservation whether the water of a formula is open to germs.

    Water that is bound, alcohol, a pH below 3 or above 10, oxidisers and soaps keep by themselves (the low-risk
    criteria of ISO 29621).
    """
    water = _water(present)
    if water < WATER_TO_KEEP_PERCENT or _keeps_itself(present, formula):
        return
    found = judge(formula)
    if found is None or found.status in (Preserved.NO_WATER, Preserved.PRESERVED, Preserved.PARTLY):
        return
    helping = {inci_key(i.words) for i in present if i.is_a("helper_antimicrobial")}
    systems = [s for s in found.systems if inci_key(s.inci) not in helping]
    judged = {inci_key(s.inci) for s in systems}
    # What conditions hair is not there to preserve, though the inventory calls it a preservative.
    listed = [
        i
        for i in present
        if i.is_a("preservative")
        or ("preservative" in i.facts.functions and not i.is_a("helper_antimicrobial", "cationic_surfactant"))
    ]
    acting = found.status == Preserved.LOW_RISK and any(s.acts for s in systems)
    if acting or found.status == Preserved.UNSURE or any(inci_key(i.words) not in judged | helping for i in listed):
        return
    watery = [i.name for i in present if i.water > 0]
    unclear = (SystemVerdict.WRONG_USE,) if formula.ph is not None else (SystemVerdict.WRONG_USE, SystemVerdict.OUTSIDE)
    if any(s.verdict in unclear for s in systems):
        return  # the law speaks of a wrong use elsewhere, and a predicted pH is too little to alarm by
    idle = [s for s in systems if s.verdict != SystemVerdict.SUPPORT]
    helpers = [i.name for i in present if i.is_a("helper_antimicrobial")]
    severity = _weight(idle, present, formula)
    figure = figures(water, 4)
    if idle:
        why = "; ".join(f"{s.inci} {s.verdict}" for s in idle)
        what = f"{figure} % water, and what preserves it does not count: {why}"
        yield _say(rules["P01"], (*watery, *(s.inci for s in idle)), what, severity=severity)
    elif helpers:
        what = f"{figure} % water and no preservative of the list, only {', '.join(helpers)}"
        yield _say(rules["P07"], (*watery, *helpers), what, severity=severity)
    else:
        yield _say(rules["P01"], watery, f"{figure} % water and no preservative", None, water, severity=severity)


def _weight(
    idle: Sequence[PreservativeSystem], present: Sequence[Ingredient], formula: FormulaFacts
) -> Severity | None:
    """Return how much open water weighs where that is other than usual; ``idle`` is what does not count as preserving.

    Several preservatives each below its usual amount are perhaps enough together; acids near their usual pH, or beside
    much that binds water, still do something.
    """
    scanty = len(idle) > 1 and all(s.verdict == SystemVerdict.LITTLE for s in idle)
    if scanty and sum(s.percent for s in idle) >= TOGETHER_PERCENT:
        return Severity.NOTE
    if EASILY_HARMED & formula.products:
        return Severity.STOP
    acids = all(s.verdict == SystemVerdict.OUTSIDE and rule_key(s.inci) in AS_ACID for s in idle)
    at_the_edge = acids and formula.ph is not None and formula.ph <= IDLE_ACID_PH  # above it they are given up (C21)
    return Severity.NOTE if idle and (at_the_edge or water_activity(present) < HELPING_ACTIVITY) else None


def _keeps_itself(present: Sequence[Ingredient], formula: FormulaFacts) -> bool:
    if water_activity(present) < KEEPING_ACTIVITY or _alcohol_share(present) >= KEEPING_ALCOHOL_SHARE:
        return True
    if formula.ph is not None and not KEEPING_PH[0] <= formula.ph <= KEEPING_PH[1]:
        return True
    if KEEPS_ITSELF & formula.products:
        return True
    soap = _sum(i for i in present if i.is_a("soap")) >= SOAP_PERCENT
    lye = _sum(i for i in present if i.key in ALKALI) >= LYE_PERCENT
    return soap or lye or any(i.key in OXIDISERS and i.percent >= OXIDISERS[i.key] for i in present)


def _crystals(present: Ingredients, formula: FormulaFacts, rule: TradeRule) -> Iterable[Finding]:
    """Say where more of a weak acid is un-ionised than water dissolves (Henderson and Hasselbalch)."""
    water, ph = _water(present), formula.ph
    dissolving = _sum(
        i
        for i in present
        if i.is_a("alcohol", "solubiliser", "anionic_surfactant") or i.facts.group in SOLVENT_GROUPS or i.key in GLYCOLS
    )
    if ph is None or water < MOSTLY_WATER_PERCENT or dissolving >= SOLVENT_PERCENT:
        return
    sums: dict[str, tuple[Decimal, list[Ingredient]]] = {}
    held = "BENZYLALCOHOL" in present.keys  # the blend of the trade dissolves dehydroacetic acid in it
    for i in present:
        if i.key in AS_ACID and not (held and AS_ACID[i.key][0] == "dehydroacetic acid"):
            acid, factor = AS_ACID[i.key]
            total, names = sums.get(acid, (Decimal(0), []))
            sums[acid] = total + i.percent * factor, [*names, i]
    for acid, (total, names) in sums.items():
        pka, dissolves = WEAK_ACIDS[acid]
        free = total / (1 + Decimal(10) ** (ph - pka))
        top = dissolves * water / 100
        if free > top * SUPERSATURATION:
            what = (
                f"{', '.join(i.name for i in names)}: {figures(free, 2)} % of un-ionised {acid} at pH "
                f"{figures(ph, 3)}, and this water dissolves about {figures(top, 2)} %"
            )
            yield _say(rule, (i.name for i in names), what, top, free)


def _hot_alcohol(present: Sequence[Ingredient], formula: FormulaFacts, rule: TradeRule) -> Iterable[Finding]:
    """Stop alcohol that goes into a heated phase, or into a vessel that is still hot."""
    alcohol = [i for i in present if i.is_a("alcohol")]
    if _sum(alcohol) < FLAMMABLE_ALCOHOL_PERCENT:
        return
    heat = max((formula.temperatures_c.get(m, Decimal(0)) for i in alcohol for m in i.materials), default=Decimal(0))
    if heat > COOL_ENOUGH_C:
        what = f"{', '.join(i.name for i in alcohol)}: {figures(_sum(alcohol), 4)} % in a phase at {plain(heat)} °C"
        yield _say(rule, (i.name for i in alcohol), what, COOL_ENOUGH_C, heat, unit=LimitUnit.CELSIUS)


def _unemulsified(present: Sequence[Ingredient], rule: TradeRule) -> Iterable[Finding]:
    oils = [i for i in present if is_oil(i) or i.is_a("essential_oil")]
    dissolved = _alcohol_share(present) >= SOLVING_ALCOHOL_SHARE
    dissolved = dissolved or _sum(i for i in present if i.is_a("adsorbent")) >= PASTE_PERCENT
    if _sum(oils) < OIL_TO_EMULSIFY_PERCENT or _water(present) < WATER_TO_EMULSIFY_PERCENT or dissolved:
        return
    # A fatty acid or carbomer with an alkali, or fat with its lye, makes what holds the oil.
    lye = sum((i.percent * ALKALI[i.key] for i in present if i.key in ALKALI), Decimal(0))
    soap_forms = lye >= LYE_TO_FAT * _sum(i for i in present if is_oil(i)) > 0
    if any(i.key in FATTY_ACIDS or i.is_a("carbomer") for i in present):
        soap_forms = soap_forms or any(i.key in ALKALI or i.is_a("neutraliser") for i in present)
    if soap_forms or any(is_emulsifier(i) for i in present):
        return
    what = f"{figures(_sum(oils), 4)} % oil phase in {figures(_water(present), 4)} % water and no emulsifier"
    if _sum(oils) <= SCENT_PERCENT:
        top = figures(_sum(oils) * 5, 3)
        what += f"; a solubiliser starts at as much as the oil ({figures(_sum(oils), 3)} %) and goes up to {top} %"
    yield _say(rule, (i.name for i in oils), what)


def _too_hot(present: Iterable[Ingredient], formula: FormulaFacts, rule: TradeRule) -> Iterable[Finding]:
    for i in present:
        hottest = max((formula.temperatures_c[m] for m in i.materials if m in formula.temperatures_c), default=None)
        cap = i.facts.max_temp_c
        if hottest is not None and cap is not None and hottest > cap:
            what = f"{i.name} is heated to {plain(hottest)} °C and stands {plain(cap)} °C"
            yield _say(rule, (i.name,), what, cap, hottest, unit=LimitUnit.CELSIUS)


def _out_of_use(present: Iterable[Ingredient], formula: FormulaFacts, rule: TradeRule) -> Iterable[Finding]:
    """Say what stands above what was assessed, or above its usual and reported range.

    The range speaks of what acts in small amounts, never of what carries the product.
    """
    for i in present:
        known = [use for use in i.facts.highest_uses if use.exposure == formula.exposure]
        ceiling = min((use for use in known if use.assessed), key=lambda use: use.percent, default=None)
        if ceiling is not None and i.percent > ceiling.percent:
            most = f"assessed up to {plain(ceiling.percent)} % {formula.exposure}"
            what = f"{i.name} at {figures(i.percent, 4)} %, {most}"
            yield replace(_say(rule, (i.name,), what, ceiling.percent, i.percent), source=ceiling.source)
            continue
        reported = [use.percent for use in known if not use.assessed]
        high = None if i.facts.use_high is None else max([i.facts.use_high, *reported])
        acts_in_small_amounts = i.facts.group in SMALL_GROUPS and i.percent <= MAIN_MATERIAL_PERCENT
        if high is None or i.percent <= high * USE_TOLERANCE or not acts_in_small_amounts or i.is_a("preservative"):
            continue
        if "kind:perfume" in i.tags or i.is_a("fragrance"):
            continue
        what = f"{i.name} at {figures(i.percent, 4)} %, usual up to {plain(high)} %"
        yield _say(rule, (i.name,), what, high, i.percent)


def _out_of_ph(present: Iterable[Ingredient], formula: FormulaFacts, rule: TradeRule) -> Iterable[Finding]:
    ph = formula.ph
    if ph is None:
        return
    for i in present:
        low, high = i.facts.ph_min, i.facts.ph_max
        limit = low if low is not None and ph < low else high if high is not None and ph > high else None
        if limit is not None:
            what = f"{i.name}: the product is at pH {plain(ph)}, its range ends at {plain(limit)}"
            yield _say(rule, (i.name,), what, limit, ph, unit=LimitUnit.PH)


def _gap(formula: FormulaFacts, rule: TradeRule) -> Iterable[Finding]:
    if len(formula.joined_c) > 1:
        gap = max(formula.joined_c) - min(formula.joined_c)
        if gap > PHASE_GAP_C:
            yield _say(rule, (), f"The phases are {plain(gap)} °C apart", PHASE_GAP_C, gap, unit=LimitUnit.CELSIUS)
