"""Colourants by area of use: EU 1223/2009 Annex IV, and the US listings of 21 CFR parts 73, 74 and 82."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum

from app.science.rules.names import rule_key
from app.science.rules.selectors import Ingredient
from app.science.rules.values import Exposure, Finding, FormulaFacts, Severity, Source, Verdict


class Area(IntEnum):
    """Areas of use as in the column of Annex IV: each is narrower than the one before."""

    ALL = 1
    NOT_EYES = 2
    NOT_MUCOUS = 3
    RINSE_OFF = 4


AREA_WORDS = {
    Area.NOT_EYES: "not in products applied near the eyes",
    Area.NOT_MUCOUS: "only in products that do not come into contact with mucous membranes (not eyes, not lips)",
    Area.RINSE_OFF: "only in rinse-off products",
}


@dataclass(frozen=True, slots=True)
class Colourant:
    """A colourant: EU area of use, US listed name and where the US allows it; empty where it is not listed."""

    ci: str
    names: frozenset[str]
    eu_area: Area | None
    us_name: str
    us_use: str
    source: Source


class ColourIndex:
    """The colourants by name."""

    def __init__(self, colourants: Iterable[Colourant]) -> None:
        self._by_name = {name: c for c in colourants for name in c.names}

    def find(self, name: str) -> Colourant | None:
        """Find a colourant by CI number or name; None when the table does not hold it."""
        return self._by_name.get(rule_key(name))


def check_colourants(
    present: Iterable[Ingredient], formula: FormulaFacts, index: ColourIndex, jurisdiction: str
) -> Verdict:
    """Judge where the colourants of a formula may be used; a colour in another role is none."""
    found = ((i, index.find(i.name)) for i in present if "kind:colourant" in i.tags or i.is_a("colourant"))
    known = [(i, colourant) for i, colourant in found if colourant is not None]
    judge = _judge_eu if jurisdiction == "EU" else _judge_us
    return sum((judge(i, c, formula) for i, c in known), Verdict())


def _judge_eu(i: Ingredient, c: Colourant, formula: FormulaFacts) -> Verdict:
    area = c.eu_area
    if area is None:
        return _say(i, c, "EU 1223/2009 Annex IV", Severity.STOP, "not on the list of colourants")
    if area == Area.ALL:
        return Verdict()
    if _breaks(area, formula):
        return _say(i, c, "EU 1223/2009 Annex IV", Severity.STOP, AREA_WORDS[area])
    if area == Area.RINSE_OFF or formula.products:
        return Verdict()
    return Verdict(not_checked=(f"{i.name}: {AREA_WORDS[area]} (EU 1223/2009 Annex IV); the use was not given.",))


def _breaks(area: Area, formula: FormulaFacts) -> bool:
    if area == Area.RINSE_OFF:
        return formula.exposure == Exposure.LEAVE_ON
    near = {"eye", "lip", "mucous membranes", "oral"} if area == Area.NOT_MUCOUS else {"eye"}
    return bool(near & formula.products)


def _judge_us(i: Ingredient, c: Colourant, formula: FormulaFacts) -> Verdict:
    if not c.us_name:
        return _say(i, c, "FD&C Act 601(e), 721", Severity.STOP, "not listed as a color additive for cosmetics")
    return _say(i, c, "21 CFR 73, 74, 82", Severity.NOTE, f"name it {c.us_name}; {c.us_use}")


def _known_as(i: Ingredient, c: Colourant) -> str:
    return i.name if rule_key(i.name) == rule_key(c.ci) else f"{i.name} ({c.ci})"


def _say(i: Ingredient, c: Colourant, rule: str, severity: Severity, what: str) -> Verdict:
    return Verdict(
        (Finding(rule, severity, (i.name,), f"{_known_as(i, c)}: {what}.", c.source, None, None, i.materials),)
    )
