"""Colourants by area of use: EU 1223/2009 Annex IV, and the US listings of 21 CFR parts 73, 74 and 82."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import IntEnum

from app.science.numbers import figures, plain
from app.science.rules.names import rule_key
from app.science.rules.scope import closeness, fits
from app.science.rules.selectors import Ingredient
from app.science.rules.values import Exposure, Finding, FormulaFacts, Severity, Source, Verdict, joined

EU_RULE = "EU 1223/2009 Annex IV"
US_RULE = "21 CFR 73, 74, 82"
US_NOT_LISTED = "FD&C Act 601(e), 721"
_INDEX = re.compile(r"(?:CI)?\d{5}")
# A plant that colours is no listed colour, unless it is the crude form of one: then purity decides.
_PLANT = re.compile(r".* (EXTRACT|POWDER|JUICE|ROOT|FLOWER|LEAF|FRUIT|SEED|BARK|WOOD|PETALS?)$")
_CRUDE = ("BETA VULGARIS", "CURCUMA LONGA", "BIXA ORELLANA", "DAUCUS CAROTA", "CAPSICUM ANNUUM", "DACTYLOPIUS", "VITIS")


class UseArea(IntEnum):
    """Areas of use as in the column of Annex IV: each is narrower than the one before."""

    ALL = 1
    NOT_EYES = 2
    NOT_MUCOUS = 3
    RINSE_OFF = 4


AREA_WORDS = {
    UseArea.NOT_EYES: "not in products applied near the eyes",
    UseArea.NOT_MUCOUS: "only in products that do not come into contact with mucous membranes (not eyes, not lips)",
    UseArea.RINSE_OFF: "only in rinse-off products",
}


@dataclass(frozen=True, slots=True)
class Colourant:
    """A colourant: EU area of use and highest amount, US listed name and where the US allows it; empty if not listed.

    Amounts are % w/w of the finished product; ``eu_max_for``, ``us_max_for``, ``us_barred`` and ``us_only`` are scopes
    of `science.rules.scope`: where a maximum counts, what the US listing leaves out, and all that it takes in.
    """

    ci: str
    names: frozenset[str]
    eu_area: UseArea | None
    us_name: str
    us_use: str
    source: Source
    eu_max_percent: Decimal | None = None
    eu_max_for: frozenset[str] = frozenset()
    us_barred: frozenset[str] = frozenset()
    us_only: frozenset[str] = frozenset()
    us_max_percent: Decimal | None = None
    us_max_for: frozenset[str] = frozenset()


class ColourIndex:
    """The colourants by name."""

    def __init__(self, colourants: Iterable[Colourant]) -> None:
        self._by_name = {name: c for c in colourants for name in c.names}

    def find(self, name: str) -> Colourant | None:
        """Find a colourant by CI number or name; None when the table does not hold it.

        The suffix of a salt or lake (``CI 15850:1``) leads to the number of the table.
        """
        return self._by_name.get(rule_key(name)) or self._by_name.get(rule_key(name.partition(":")[0]))


def check_colourants(
    present: Iterable[Ingredient], formula: FormulaFacts, index: ColourIndex, jurisdiction: str
) -> Verdict:
    """Judge where the colourants of a formula may be used; a colour in another role is none, nor is a hair dye."""
    if "hair dye" in formula.products and "eyelash dye" not in formula.products:
        return Verdict()
    coloured = (i for i in present if "kind:colourant" in i.tags or i.is_a("colourant"))
    found = [(i, index.find(i.name)) for i in coloured]
    judge = _judge_eu if jurisdiction == "EU" else _judge_us
    return joined(judge(i, c, formula) if c is not None else _not_listed(i, jurisdiction) for i, c in found)


def _not_listed(i: Ingredient, jurisdiction: str) -> Verdict:
    """Judge a colour that the table does not hold: a number of the Colour Index is then not on the list."""
    rule = EU_RULE if jurisdiction == "EU" else US_NOT_LISTED
    if _INDEX.match(rule_key(i.name)):
        words = f"{i.name}: not on the list of colourants for cosmetics ({rule})."
        found = Finding(rule, Severity.STOP, (i.name,), words, _whole_list(jurisdiction), materials=i.materials)
        return Verdict((found,))
    if "kind:colourant" in i.tags and _PLANT.match(i.words):
        crude = i.words.startswith(_CRUDE)
        words = f"{i.name}, used to colour: not on the list of colourants for cosmetics ({rule})"
        words += "; its pigment is, where it meets the purity asked for." if crude else "."
        severity = Severity.CAUTION if crude else Severity.STOP
        return Verdict((Finding(rule, severity, (i.name,), words, _whole_list(jurisdiction), materials=i.materials),))
    return Verdict(not_checked=(f"{i.name}: colourants and their areas of use ({rule}); no entry under this name.",))


def _whole_list(jurisdiction: str) -> Source:
    return Source("EU 1223/2009 Annex IV, whole list" if jurisdiction == "EU" else "21 CFR 73, 74, 82", "verified")


def _judge_eu(i: Ingredient, c: Colourant, formula: FormulaFacts) -> Verdict:
    area = c.eu_area
    if area is None:
        return _say(i, c, EU_RULE, Severity.STOP, "not on the list of colourants")
    over = c.eu_max_percent is not None and i.percent > c.eu_max_percent
    if over and c.eu_max_percent is not None and fits(c.eu_max_for, formula.products):
        what = f"{figures(i.percent, 5)} %, over the limit of {plain(c.eu_max_percent)} %"
        return _say(i, c, EU_RULE, Severity.STOP, what, c.eu_max_percent)
    if area == UseArea.ALL:
        return Verdict()
    near = {"eye", "lip", "mucous membranes", "oral"} if area == UseArea.NOT_MUCOUS else {"eye"}
    stays_on = area == UseArea.RINSE_OFF and formula.exposure == Exposure.LEAVE_ON
    if stays_on or (area != UseArea.RINSE_OFF and near & formula.products):
        return _say(i, c, EU_RULE, Severity.STOP, AREA_WORDS[area])
    if area == UseArea.RINSE_OFF or formula.products:
        return Verdict()
    return Verdict(not_checked=(f"{i.name}: {AREA_WORDS[area]} ({EU_RULE}); the use was not given.",))


def _judge_us(i: Ingredient, c: Colourant, formula: FormulaFacts) -> Verdict:
    if not c.us_name:
        return _say(i, c, US_NOT_LISTED, Severity.STOP, "not listed as a color additive for cosmetics")
    known = formula.products
    barred = known and (closeness(c.us_barred, known) or (c.us_only and not closeness(c.us_only, known)))
    if barred:
        return _say(i, c, US_RULE, Severity.STOP, f"{c.us_name} is listed for other uses only: {c.us_use}")
    over = c.us_max_percent is not None and i.percent > c.us_max_percent
    if over and c.us_max_percent is not None and fits(c.us_max_for, known):
        what = f"{figures(i.percent, 5)} %, over the {plain(c.us_max_percent)} % of its listing: {c.us_use}"
        return _say(i, c, US_RULE, Severity.STOP, what, c.us_max_percent)
    if not known and (c.us_barred or c.us_only):
        return Verdict(not_checked=(f"{i.name}: {c.us_use} ({US_RULE}); the use was not given.",))
    certified = "certified batches only" in c.us_use
    return _say(i, c, US_RULE, Severity.NOTE, f"name it {c.us_name}; {c.us_use}") if certified else Verdict()


def _say(
    i: Ingredient, c: Colourant, rule: str, severity: Severity, what: str, limit: Decimal | None = None
) -> Verdict:
    name = i.name if rule_key(i.name) == rule_key(c.ci) else f"{i.name} ({c.ci})"
    words = f"{name}: {what}."
    found = None if limit is None else i.percent
    return Verdict((Finding(rule, severity, (i.name,), words, c.source, limit, found, i.materials),))
