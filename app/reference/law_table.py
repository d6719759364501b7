"""A new table of law, checked against its schema and compared with the shipped one before it is taken."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass, fields
from pathlib import Path

from app.reference.inci_names import cas_is_sound
from app.reference.library import split_cell
from app.reference.limits import COLUMNS, limit_rows, read_limit_row
from app.reference.tables import FOLDER
from app.science.errors import Invalid
from app.science.rules.values import LimitRule

STATUSES = frozenset({"verified", "partly verified", "from memory", "common practice", "computed"})


@dataclass(frozen=True, slots=True)
class TableChange:
    """What a new table does to the shipped one, row by row, by the name and scope of each row."""

    added: tuple[str, ...]
    gone: tuple[str, ...]
    changed: tuple[tuple[str, tuple[str, ...]], ...]


def read_law_table(path: Path, jurisdiction: str) -> tuple[LimitRule, ...]:
    """Read a table of limits from a file, with every row checked.

    Raises:
        Invalid: at ``columns`` or ``row N``, with what is wrong in the first row that is.
    """
    with path.open(encoding="utf-8", newline="") as handle:
        reader = csv.DictReader(line for line in handle if not line.startswith("#"))
        if list(reader.fieldnames or ()) != COLUMNS:
            missing = ", ".join(c for c in COLUMNS if c not in (reader.fieldnames or ()))
            more = ", ".join(c for c in reader.fieldnames or () if c not in COLUMNS)
            raise Invalid("columns", f"The columns are not those of a table of limits: missing {missing or 'none'}, "
                                     f"not known {more or 'none'}.")  # fmt: skip
        rows = [_checked(row, number, jurisdiction) for number, row in enumerate(reader, start=2)]
    if not rows:
        raise Invalid("rows", "The table has no row.")
    return tuple(rows)


def _checked(row: dict[str, str], number: int, jurisdiction: str) -> LimitRule:
    field = f"row {number}"
    if None in row or None in row.values():
        raise Invalid(field, "It has the wrong number of cells.")
    try:
        rule = read_limit_row(row)
    except (ValueError, ArithmeticError, KeyError) as error:
        raise Invalid(field, f"{row['inci_name']}: {error}.") from error
    wrong = next(iter(_faults(rule, row, jurisdiction)), "")
    if wrong:
        raise Invalid(field, f"{row['inci_name']}: {wrong}.")
    return rule


def _faults(rule: LimitRule, row: dict[str, str], jurisdiction: str) -> Iterable[str]:
    yield from _unnamed(rule, jurisdiction)
    if rule.max_percent is not None and not 0 <= rule.max_percent <= 100:
        yield "the highest amount is not between 0 and 100"
    if not rule.exposures or not (rule.general or rule.products):
        yield "say which exposures it is for, and which products where it is not general"
    if any(factor <= 0 for factor in rule.factors.values()):
        yield "a factor is not above 0"
    if rule.applies_from and rule.until and rule.until <= rule.applies_from:
        yield "it ends before it begins"
    if any(not cas_is_sound(number) for number in split_cell(row["cas"])):
        yield f"a CAS number of {row['cas']} has a wrong check digit"


def _unnamed(rule: LimitRule, jurisdiction: str) -> Iterable[str]:
    if rule.jurisdiction.upper() != jurisdiction:
        yield f"the jurisdiction is {rule.jurisdiction}, not {jurisdiction}"
    if not rule.inci_name or not rule.legal_reference or not rule.source:
        yield "name, entry and source have to be written"
    if rule.source_status not in STATUSES:
        yield f"the status {rule.source_status!r} is none of {', '.join(sorted(STATUSES))}"


def row_name(rule: LimitRule) -> str:
    """Return what a row is called: substance, products and entry."""
    return f"{rule.inci_name}, {rule.product_scope or 'all'} ({rule.legal_reference})"


def compare_tables(new: Iterable[LimitRule], jurisdiction: str) -> TableChange:
    """Return what is added, gone and changed against the shipped table of a jurisdiction."""
    before = {row_name(rule): rule for rule in limit_rows(jurisdiction)}
    after = {row_name(rule): rule for rule in new}
    changed = tuple(
        (name, found) for name, rule in after.items() if name in before and (found := _differences(before[name], rule))
    )
    added, gone = (tuple(n for n in one if n not in other) for one, other in ((after, before), (before, after)))
    return TableChange(added, gone, changed)


def _differences(before: LimitRule, after: LimitRule) -> tuple[str, ...]:
    pairs = ((f.name, getattr(before, f.name), getattr(after, f.name)) for f in fields(LimitRule))
    return tuple(f"{name}: {_short(old)} -> {_short(new)}" for name, old, new in pairs if old != new)


def _short(value: object) -> str:
    text = "none" if value in (None, "", ()) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def shipped_path(jurisdiction: str) -> Path:
    """Return where the shipped table of a jurisdiction lies."""
    return FOLDER / "limits" / f"{jurisdiction}.csv"
