"""Certificates of perfumes and essential oils: the highest amount that the maker of the perfume states by category.

The categories are those of the industry standard, 49th amendment and later; a certificate names its own amendment, and
old and new numbers are never matched.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from app.science.errors import Invalid
from app.science.numbers import figures, parse_number, plain
from app.science.rules.values import Finding, LimitUnit, Severity, Source

CATEGORIES = ("1", "2", "3", "4", "5A", "5B", "5C", "5D", "6", "7A", "7B", "8", "9", "10A", "10B", "11A", "11B", "12")
RULE = "perfume certificate"
SOURCE = Source("limits that the maker entered from the certificate", "your own")
_PAIR = re.compile(r"(?P<category>\d{1,2}[A-D]?)\s*[:=]\s*(?P<percent>[^;\n]+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class CertifiedDose:
    """A perfume or oil at its amount, % w/w of the finished product, with its certificate by category (% w/w)."""

    name: str
    percent: Decimal
    limits: Mapping[str, Decimal]


def read_certificate(text: str, field: str = "") -> dict[str, Decimal]:
    """Return the limits of a certificate typed as ``4: 12.5; 5A: 1.2``, by category; empty for an empty text.

    Raises:
        Invalid: at ``field``, when a piece is no category with a percentage.
    """
    found: dict[str, Decimal] = {}
    for piece in filter(None, (part.strip() for part in re.split(r"[;\n]", text))):
        match = _PAIR.fullmatch(piece)
        category = match["category"].upper() if match else ""
        if match is None or category not in CATEGORIES:
            raise Invalid(field, f"{piece}: enter a category and its highest amount, such as 5A: 1.2.")
        if category in found:
            raise Invalid(field, f"Category {category} is there twice.")
        found[category] = parse_number(match["percent"], field, high=Decimal(100))
    return found


def write_certificate(limits: Mapping[str, Decimal]) -> str:
    """Return limits as they are typed, in the order of the categories."""
    return "; ".join(f"{category}: {plain(limits[category])}" for category in CATEGORIES if category in limits)


def check_certificates(doses: Iterable[CertifiedDose], category: str) -> tuple[Finding, ...]:
    """Return what the certificates say of a product of a category: each perfume for itself, then all together.

    Each against its own limit is necessary and not sufficient, because two perfumes may share a restricted substance;
    without their compositions a cautious maker keeps the sum of amount over limit at 1 or below.
    """
    certified = [dose for dose in doses if dose.limits and dose.percent > 0]
    if not certified or not category:
        return ()
    found = [finding for dose in certified if (finding := _judge(dose, category)) is not None]
    held = [dose for dose in certified if dose.limits.get(category)]
    total = sum((dose.percent / dose.limits[category] for dose in held), Decimal(0))
    if len(held) > 1 and total > 1 and not found:
        names = tuple(dose.name for dose in held)
        what = (
            f"{', '.join(names)}: each is within its certificate for category {category}; together they come to "
            f"{figures(total, 3)} times what one alone may be."
        )
        found.append(
            Finding(
                rule=RULE,
                severity=Severity.CAUTION,
                inci=names,
                what=what,
                source=SOURCE,
                limit=Decimal(1),
                found=total,
                why="they may share a restricted substance, and without their compositions the sum cannot be checked",
                action="use less, or ask the suppliers for the shared substances",
                unit=LimitUnit.RATIO,
            )
        )
    return tuple(found)


def _judge(dose: CertifiedDose, category: str) -> Finding | None:
    limit = dose.limits.get(category)
    if limit is None:
        what = f"{dose.name}: its certificate states nothing for category {category}, so it was not checked."
        return Finding(RULE, Severity.NOTE, (dose.name,), what, SOURCE, action="ask the supplier for the category")
    if dose.percent <= limit:
        return None
    what = (
        f"{dose.name}: {figures(dose.percent, 4)} %, its certificate ends at {plain(limit)} % in category {category}."
    )
    return Finding(
        RULE, Severity.CAUTION, (dose.name,), what, SOURCE, limit, dose.percent, action="use less, or another perfume"
    )
