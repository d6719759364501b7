"""Hair dyes: the entries of EU 1223/2009 Annex III for oxidative and direct dyes, and the sentences they ask for."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from app.science.numbers import figures, plain
from app.science.rules.names import rule_key
from app.science.rules.selectors import Ingredient
from app.science.rules.values import Finding, FormulaFacts, Severity, Source, Verdict
from app.science.rules.warnings import LabelStatement

# Annex III, column i of the entries on hair dyes (wording of (EU) 2015/1190 and before), from memory.
LEGEND = (
    "Hair colorants can cause severe allergic reactions. Read and follow instructions. This product is not intended "
    "for use on persons under the age of 16. Temporary ‘black henna’ tattoos may increase your risk of allergy. Do not "
    "colour your hair if: you have a rash on your face or sensitive, irritated and damaged scalp; you have ever "
    "experienced any reaction after colouring your hair; you have experienced a reaction to a temporary ‘black henna’ "
    "tattoo in the past."
)
GLOVES = "Wear gloves. Do not use to dye eyelashes or eyebrows."


@dataclass(frozen=True, slots=True)
class HairDye:
    """One dye: the amounts are % w/w, oxidative ones on the hair after mixing; ``factors`` by key of the name.

    ``also_colour`` tells that the substance is a colourant of Annex IV too, so outside hair it is judged there.
    """

    entry: str
    names: tuple[str, ...]
    factors: Mapping[str, Decimal] = field(hash=False)
    oxidative: bool
    oxidative_max: Decimal | None
    direct: bool
    direct_max: Decimal | None
    eyelashes: bool
    needs_nitrosamine_data: bool
    has_legend: bool
    named_as: str
    also_colour: bool
    listed_from: date | None
    source: Source

    @property
    def rule(self) -> str:
        """The reference of the entry."""
        return f"EU 1223/2009 Annex {self.entry.replace('/', ' entry ')}"


class HairDyeIndex:
    """The dyes by name."""

    def __init__(self, dyes: Iterable[HairDye]) -> None:
        self.dyes = tuple(dyes)
        self._by_key = {key: dye for dye in self.dyes for key in dye.factors}

    def find(self, name: str) -> HairDye | None:
        """Return the entry of a dye, None when it is none."""
        return self._by_key.get(rule_key(name))


def check_hair_dyes(present: Iterable[Ingredient], formula: FormulaFacts, index: HairDyeIndex) -> Verdict:
    """Judge the dyes of a formula: allowed in hair dyes only, each up to its amount for the way it dyes."""
    verdict = Verdict()
    for i in present:
        dye = index.find(i.name)
        if dye is not None:
            verdict += _judge(i, dye, formula)
    return verdict


def _judge(i: Ingredient, dye: HairDye, formula: FormulaFacts) -> Verdict:
    words, amount = formula.products, i.percent * dye.factors[i.key]
    if dye.listed_from is not None and formula.on is not None and formula.on < dye.listed_from:
        return _say(i, dye, Severity.CAUTION, f"listed as a hair dye only from {dye.listed_from.isoformat()}")
    if "eyelash dye" in words or "eyelash" in words:
        if dye.eyelashes and "professional" in words:
            return _over(i, dye, amount, dye.oxidative_max, "eyelashes, professional use")
        what = "only for professional use on eyelashes" if dye.eyelashes else "not for eyelashes or eyebrows"
        return _say(i, dye, Severity.STOP, what)
    if "hair dye" in words:
        gaps = Verdict()
        if dye.needs_nitrosamine_data:
            what = f"{i.name}: no nitrosating system, nitrosamine at most 50 µg/kg ({dye.rule}); ask the supplier."
            gaps = Verdict(not_checked=(what,))
        return gaps + _in_hair_dye(i, dye, amount, words)
    if dye.also_colour:
        return Verdict()
    severity = Severity.STOP if words else Severity.CAUTION
    return _say(i, dye, severity, f"allowed only in hair dyes{_tops(dye)}")


def _in_hair_dye(i: Ingredient, dye: HairDye, amount: Decimal, words: frozenset[str]) -> Verdict:
    verdict = Verdict()
    if "oxidative hair dye" in words:
        if not dye.oxidative:
            return _say(i, dye, Severity.STOP, "not listed for oxidative hair dyes")
        verdict += _over(i, dye, amount, dye.oxidative_max, "oxidative hair dyes, on the hair after mixing")
    if "non-oxidative hair dye" in words:
        if not dye.direct:
            return _say(i, dye, Severity.STOP, "not listed for hair dyes without oxidation")
        verdict += _over(i, dye, amount, dye.direct_max, "hair dyes without oxidation")
    return verdict


def _tops(dye: HairDye) -> str:
    tops = [
        f"{plain(top)} % {way}"
        for top, way in ((dye.oxidative_max, "with oxidation"), (dye.direct_max, "without"))
        if top is not None
    ]
    return f" (at most {', '.join(tops)})" if tops else ""


def _over(i: Ingredient, dye: HairDye, amount: Decimal, top: Decimal | None, where: str) -> Verdict:
    if top is None or amount <= top:
        return Verdict()
    what = f"{figures(amount, 5)} %, over the limit of {plain(top)} % for {where}"
    return _say(i, dye, Severity.STOP, what, top, amount)


def _say(
    i: Ingredient,
    dye: HairDye,
    severity: Severity,
    what: str,
    limit: Decimal | None = None,
    found: Decimal | None = None,
) -> Verdict:
    words = f"{i.name}: {what}."
    return Verdict((Finding(dye.rule, severity, (i.name,), words, dye.source, limit, found, i.materials),))


def hair_dye_statements(
    present: Iterable[Ingredient], formula: FormulaFacts, index: HairDyeIndex
) -> tuple[LabelStatement, ...]:
    """Collect the sentences that the dyes of a hair dye ask for, in the European Union."""
    if "hair dye" not in formula.products:
        return ()
    found = [(i, dye) for i in present if (dye := index.find(i.name)) is not None]
    legend = [i.name for i, dye in found if dye.has_legend]
    named = {dye.named_as: (i, dye) for i, dye in found if dye.named_as}
    source = Source("EU 1223/2009 Annex III, hair dyes, column i", "from memory")
    statements = [
        LabelStatement(
            f"Contains {word}. {GLOVES if 'phenylenediamines' in word else ''}".strip(),
            f"contains {i.name} ({dye.rule})",
            is_legal=True,
            source=source,
            rule=dye.rule,
            inci=(i.name,),
        )
        for word, (i, dye) in named.items()
    ]
    if legend:
        reason = f"contains {', '.join(legend)}; with the mixing ratio where it is mixed before use"
        statements.append(
            LabelStatement(
                LEGEND, reason, is_legal=True, source=source, rule="EU 1223/2009 Annex III", inci=tuple(legend)
            )
        )
    return tuple(statements)
