"""The tables of legal limits, one file per jurisdiction in ``seed_data/reference/limits``."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from app.reference.library import split_cell
from app.reference.tables import FOLDER, decimal_or_none, read_table
from app.science.names import inci_key
from app.science.rules.formaldehyde import Releaser
from app.science.rules.limits import LimitIndex
from app.science.rules.table_age import TableAge, table_ages
from app.science.rules.values import Exposure, LimitRule, Purpose, Severity

COLUMNS = [
    "jurisdiction",
    "inci_name",
    "cas",
    "expressed_as",
    "max_percent",
    "product_scope",
    "condition",
    "label_wording_required",
    "legal_reference",
    "as_of",
    "source",
    "source_status",
    "sum_group",
    "factor_to_expressed_as",
    "rule_type",
    "scope_class",
    "only_in_scope",
    "covers",
    "match_cas",
    "sum_key",
    "exposures",
    "general",
    "products",
    "purpose",
    "ph_min",
    "ph_max",
    "ph_max_allowed",
    "not_in",
    "supplier_data",
    "uncertain",
    "anchors",
    "label_above",
    "applies_in",
    "label_for",
    "applies_from",
    "until",
    "sell_off_until",
    "severity",
    "remark",
]
FORMALDEHYDE_G_MOL = Decimal("30.026")
# ``info`` is shown with the table and never found; ``pending`` is a draft, listed among what was not checked.
RULE_TYPES = frozenset({"max", "prohibited", "condition", "label", "note", "guidance", "info", "pending"})

Row = Mapping[str, str]


def jurisdictions() -> tuple[str, ...]:
    """Return the jurisdictions that have a table: the names of the files, in alphabetical order."""
    return tuple(sorted(path.stem for path in (FOLDER / "limits").glob("*.csv")))


def limit_rows(jurisdiction: str | None = None) -> tuple[LimitRule, ...]:
    """Return the rows of one jurisdiction (``EU``, ``US``, ``GUIDANCE``), or of all of them.

    Raises:
        KeyError: when there is no table of that name.
    """
    if jurisdiction is None:
        return tuple(row for name in jurisdictions() for row in limit_rows(name))
    if jurisdiction.upper() not in jurisdictions():
        raise KeyError(jurisdiction)
    return _rows(jurisdiction.upper())


@cache
def _rows(jurisdiction: str) -> tuple[LimitRule, ...]:
    return tuple(read_limit_row(row) for row in read_table(f"limits/{jurisdiction}", COLUMNS))


def read_limit_row(row: Row) -> LimitRule:
    """Return a row of a table of limits as a rule.

    Raises:
        ValueError: when a cell is not what its column asks for.
    """
    if row["rule_type"] not in RULE_TYPES:
        raise ValueError(f"limits: {row['inci_name']}: unknown rule type {row['rule_type']!r}")
    found = {inci_key(row["inci_name"]): decimal_or_none(row["factor_to_expressed_as"]) or Decimal(1)}
    for item in split_cell(row["covers"]):
        name, _, factor = item.partition("=")
        found[inci_key(name)] = decimal_or_none(factor) or Decimal(1)
    return LimitRule(
        jurisdiction=row["jurisdiction"],
        inci_name=row["inci_name"],
        cas=split_cell(row["cas"]),
        expressed_as=row["expressed_as"],
        max_percent=decimal_or_none(row["max_percent"]),
        product_scope=row["product_scope"],
        condition=row["condition"],
        label_wording=row["label_wording_required"],
        legal_reference=row["legal_reference"],
        as_of=row["as_of"],
        source=row["source"],
        source_status=row["source_status"],
        factor=decimal_or_none(row["factor_to_expressed_as"]),
        rule_type=row["rule_type"],
        only_in_scope=_yes(row["only_in_scope"]),
        factors=MappingProxyType(found),
        match_cas=split_cell(row["match_cas"]),
        sum_key=row["sum_key"],
        exposures=frozenset(Exposure(word) for word in split_cell(row["exposures"])),
        general=_yes(row["general"]),
        products=frozenset(split_cell(row["products"])),
        purpose=Purpose(row["purpose"]),
        ph_min=decimal_or_none(row["ph_min"]),
        ph_max=decimal_or_none(row["ph_max"]),
        ph_max_allowed=row["ph_max_allowed"] != "no",
        not_in=split_cell(row["not_in"]),
        supplier_data=row["supplier_data"],
        uncertain=_yes(row["uncertain"]),
        anchors=split_cell(row["anchors"]),
        label_above=decimal_or_none(row["label_above"]),
        applies_in=frozenset(split_cell(row["applies_in"])),
        label_for=frozenset(split_cell(row["label_for"])),
        applies_from=_day(row["applies_from"]),
        until=_day(row["until"]),
        sell_off_until=_day(row["sell_off_until"]),
        severity=Severity(row["severity"]) if row["severity"] else None,
        remark=row["remark"],
    )


def _day(text: str) -> date | None:
    return date.fromisoformat(text) if text else None


def _yes(word: str) -> bool:
    if word not in ("yes", "no"):
        raise ValueError(f"write yes or no, not {word!r}")
    return word == "yes"


@cache
def limit_rules(jurisdiction: str) -> tuple[LimitRule, ...]:
    """Return every row that applies in a jurisdiction, the shared guidance included."""
    rows = (row for row in limit_rows() if jurisdiction in row.applies_in)
    return tuple(row for row in rows if row.rule_type != "info")


@cache
def limit_index(jurisdiction: str) -> LimitIndex:
    """Return the rules of a jurisdiction, ready for `check_limits`."""
    return LimitIndex(limit_rules(jurisdiction))


@cache
def formaldehyde_releasers() -> tuple[Releaser, ...]:
    """The releasers with the most formaldehyde each can give off, mass per mass."""
    columns = ("inci_name", "moles_formaldehyde", "molar_mass_g_mol", "source", "source_status")
    rows = read_table("formaldehyde_releasers", columns)
    # Mass per mass to four places, as the factors of the limits are given.
    shares = (Decimal(r["moles_formaldehyde"]) * FORMALDEHYDE_G_MOL / Decimal(r["molar_mass_g_mol"]) for r in rows)
    names = (r["inci_name"] for r in rows)
    return tuple(Releaser(name, share.quantize(Decimal("0.0001"))) for name, share in zip(names, shares, strict=True))


@cache
def limit_table_ages() -> tuple[TableAge, ...]:
    """Return the age of every table of limits, by jurisdiction."""
    return table_ages({name: limit_rows(name) for name in jurisdictions()})
