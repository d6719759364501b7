"""Words that move a product over a border: drug, medicine, biocide, sunscreen; and soap told from cosmetic."""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from app.science.rules.selectors import Ingredient
from app.science.rules.values import Finding, Severity, Source

_WORD_ENDS = r"(?<![\w-])", r"(?![\w-])"
BULK = Decimal("0.5")


@dataclass(frozen=True, slots=True)
class ClaimRule:
    """Phrases that say too much in some jurisdictions; ``unless`` lists phrases in which they do not count."""

    rule_id: str
    jurisdictions: frozenset[str]
    words: tuple[str, ...]
    unless: tuple[str, ...]
    kind: str
    severity: Severity
    message: str
    rule: str
    source_status: str


def check_claims(texts: Iterable[str], jurisdiction: str, rules: Iterable[ClaimRule]) -> tuple[Finding, ...]:
    """Point out the words in a name or in claims that make the product something else than a cosmetic.

    The phrase found stands in the message; a rule speaks once however often its words occur.
    """
    all_ = [_plain(text) for text in texts]
    found = []
    for rule in rules:
        hits = _hits(all_, rule) if jurisdiction in rule.jurisdictions else ()
        if hits:
            quoted = ", ".join(f'"{hit}"' for hit in hits)
            words = f"{quoted}: {rule.message} ({rule.kind})."
            found.append(Finding(rule.rule_id, rule.severity, (), words, Source(rule.rule, rule.source_status)))
    return tuple(found)


def _plain(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().replace("’", "'").split())


def _hits(texts: Iterable[str], rule: ClaimRule) -> tuple[str, ...]:
    hits: list[str] = []
    for text in texts:
        counted = text
        for phrase in rule.unless:
            counted = _pattern(phrase).sub(" / ", counted)
        hits += [match.group() for phrase in rule.words for match in _pattern(phrase).finditer(counted)]
    return tuple(dict.fromkeys(hits))


@cache
def _pattern(phrase: str) -> re.Pattern[str]:
    start, end = _WORD_ENDS
    stem = re.escape(_plain(phrase.removesuffix("*"))).replace(r"\ ", r"[\s-]+")
    return re.compile(f"{start}{stem}\\w*" if phrase.endswith("*") else f"{start}{stem}{end}")


def claims_a_drug(texts: Iterable[str], rules: Iterable[ClaimRule]) -> bool:
    """Return whether words on the product make it a drug in the United States."""
    plain_texts = [_plain(text) for text in texts]
    drugs = (rule for rule in rules if rule.kind.startswith("drug") and "US" in rule.jurisdictions)
    return any(_hits(plain_texts, rule) for rule in drugs)


@dataclass(frozen=True, slots=True)
class SoapStanding:
    """What a product is by 21 CFR 701.20 (``soap``, ``cosmetic`` or ``drug``), and why, in a sentence."""

    kind: str
    why: str


def soap_standing(
    present: Sequence[Ingredient],
    claims_a_drug: bool,
    cosmetic_claims: bool,
    fat_acid_salts: Decimal | None = None,
) -> SoapStanding:
    """Tell soap from cosmetic and drug by 21 CFR 701.20.

    Soap: the bulk of the non-volatile matter is alkali salt of fatty acids, the cleaning comes from it, and it is
    labelled, sold and represented only as soap. ``claims_a_drug`` tells whether words make it a drug,
    ``cosmetic_claims`` whether it is said to do more than clean (moisturise, perfume). ``fat_acid_salts`` (% w/w)
    stands in for the named salts when the formula lists fats and alkali instead.
    """
    if claims_a_drug:
        return SoapStanding("drug", "a claim makes it a drug, whatever it is made of")
    if any(i.is_a("anionic_surfactant") and not i.is_a("soap", "not_surfactant_salt") for i in present):
        return SoapStanding("cosmetic", "a synthetic detergent helps to clean, so it is a cosmetic")
    dry = sum((i.percent for i in present if not i.is_water and not i.is_a("volatile", "alcohol")), Decimal(0))
    named = sum((i.percent for i in present if i.is_a("soap")), Decimal(0))
    salts = named if fat_acid_salts is None else fat_acid_salts
    if not (dry > 0 and salts / dry > BULK):
        return SoapStanding("cosmetic", "alkali salts of fatty acids are not the bulk of what does not evaporate")
    if cosmetic_claims:
        return SoapStanding("cosmetic", "it is said to do more than clean, so it is a cosmetic")
    return SoapStanding("soap", "soap by composition, by how it cleans and by what is said of it")
