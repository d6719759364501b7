"""The tables of rules, to look at: what they hold, how old they are, row by row with source and status."""

import re
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache

from app.reference.allergens import allergen_entries
from app.reference.claims import claim_rules
from app.reference.compatibility import COLUMNS as COMPATIBILITY
from app.reference.compatibility import trade_rules
from app.reference.constituents import constituent_index
from app.reference.hair_dyes import hair_dyes
from app.reference.limits import jurisdictions, limit_rows, limit_table_ages
from app.reference.product_kinds import ProductKind, product_kinds
from app.reference.product_rules import product_rules
from app.reference.prohibited import prohibited_entries
from app.reference.rulebook import warning_rules
from app.reference.tables import read_table
from app.science.rules.allergens import AllergenEntry
from app.science.rules.claims import ClaimRule
from app.science.rules.colourants import AREA_WORDS, Colourant
from app.science.rules.compatibility import TradeRule
from app.science.rules.constituents import Constituent
from app.science.rules.hair_dyes import HairDye
from app.science.rules.names import plain, plain_name
from app.science.rules.product_rules import ProductRule
from app.science.rules.prohibited import Barred, ProhibitedEntry
from app.science.rules.table_age import TableAge, old_tables
from app.science.rules.values import Exposure, LimitRule
from app.science.rules.warnings import WarningRule
from app.work.rules.book import corrected_colourants, corrected_limits, corrected_trade, limit_key
from app.work.rules.corrections import Correction, Place, shipped_values

GUIDANCE = "GUIDANCE"
WHOSE = {"EU": "European Union", "US": "United States", GUIDANCE: "guidance, no law"}
_STATE = re.compile(r"state of (\d{1,2} [A-Z][a-z]+ \d{4})")


@dataclass(frozen=True, slots=True)
class TableRow:
    """A row to show: what names it, its cells under the columns, its source, how far that was checked.

    ``place`` leads to the form that puts the value right, None where it does not rest on memory.
    """

    name: str
    cells: tuple[str, ...]
    source: str
    status: str
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """A table of rules: its address under ``/rules``, its title, whose rules they are, what it holds."""

    path: str
    title: str
    whose: str
    about: str
    columns: tuple[str, ...]
    make: Callable[[tuple[Correction, ...]], Iterable[TableRow]]
    is_law: bool = True


@dataclass(frozen=True, slots=True)
class Overview:
    """A table with its counts: ``statuses`` by word, ``state`` the date its rows speak of, ``old`` by a year."""

    table: Table
    rows: int
    statuses: tuple[tuple[str, int], ...]
    state: date | None
    old: bool


def _place(table: str, key: str, column: str) -> Place | None:
    place = (table, key, column)
    return place if place in shipped_values() else None


def _limit_row(rule: LimitRule, table: str) -> TableRow:
    as_ = "" if rule.expressed_as in ("", "as such") else f" as {rule.expressed_as}"
    cells = (
        "" if rule.max_percent is None else f"{plain(rule.max_percent)} %{as_}",
        rule.product_scope,
        _joined(rule.condition, rule.label_wording and f"Label: {rule.label_wording}"),
        _joined(rule.legal_reference, rule.as_of and f"State: {rule.as_of}"),
    )
    return TableRow(
        rule.inci_name, cells, rule.source, rule.source_status, _place(table, limit_key(rule), "max_percent")
    )


def _joined(*texts: str) -> str:
    return ". ".join(text.rstrip(".") for text in texts if text)


def _limits(jurisdiction: str) -> Callable[[tuple[Correction, ...]], Iterable[TableRow]]:
    def make(corrections: tuple[Correction, ...]) -> Iterable[TableRow]:
        rules = corrected_limits(limit_rows(jurisdiction), corrections)
        return (_limit_row(rule, f"limits/{jurisdiction}") for rule in rules)

    return make


def _allergen_row(entry: AllergenEntry) -> TableRow:
    thresholds = tuple(f"{plain(entry.thresholds[exposure])} %" for exposure in Exposure)
    return TableRow(
        entry.label_name,
        (*thresholds, "; ".join(sorted(entry.cas)), entry.entry, entry.duty_since),
        entry.source.text,
        entry.source.status,
    )


def _trade_row(rule: TradeRule) -> TableRow:
    cells = (_pairs().get(rule.rule_id, ""), rule.title, str(rule.severity), rule.why, rule.action)
    table = "compatibility" if rule.rule_id.startswith("C") else "process_rules"
    return TableRow(rule.rule_id, cells, rule.source, rule.source_status, _place(table, rule.rule_id, "why"))


@cache
def _pairs() -> dict[str, str]:
    """Give the substances or functions that each compatibility rule names, one side and the other."""
    rows = read_table("compatibility", COMPATIBILITY)
    return {row["rule_id"]: " with ".join(filter(None, (row["a_values"], row["b_values"]))) for row in rows}


def _claim_row(rule: ClaimRule) -> TableRow:
    where = ", ".join(sorted(rule.jurisdictions))
    cells = (where, "; ".join(rule.words), "; ".join(rule.unless), str(rule.severity), f"{rule.message} ({rule.kind})")
    return TableRow(rule.rule_id, cells, rule.rule, rule.source_status)


def _warning_row(rule: WarningRule) -> TableRow:
    called = "; ".join(rule.selector.items) if rule.selector else ""
    kind = ", ".join(word for word in (called, "; ".join(sorted(rule.scope)), rule.exposure) if word)
    wording = "fixed by law" if rule.is_legal else "own words"
    return TableRow(
        rule.rule_id,
        (", ".join(sorted(rule.jurisdictions)), rule.text, wording, kind, rule.reason),
        rule.source.text,
        rule.source.status,
    )


def _prohibited_row(entry: ProhibitedEntry) -> TableRow:
    names = "; ".join((*entry.names, *(f"{name} (read)" for name in entry.doubtful)))
    when = PROHIBITED_WHEN[entry.condition]
    cells = (entry.substance, names, "; ".join(entry.cas), when)
    return TableRow(entry.entry, cells, entry.source.text, entry.source.status)


def _dye_row(dye: HairDye) -> TableRow:
    tops = tuple("" if top is None else f"{plain(top)} %" for top in (dye.oxidative_max, dye.direct_max))
    lashes = "professional use" if dye.eyelashes else ""
    cells = (*tops, lashes, dye.entry)
    return TableRow("; ".join(dye.names), cells, dye.source.text, dye.source.status)


def _product_rule_row(rule: ProductRule) -> TableRow:
    called = "; ".join(rule.selector.items) if rule.selector else ""
    where = "; ".join(
        word for word in (", ".join(sorted(rule.jurisdictions)), rule.exposure, *sorted(rule.scope)) if word
    )
    what = rule.what.replace("{names}", "the named").replace("{amount}", "so much").replace("{parts}", "each")
    bounds = {"at least": rule.at_least, "above": rule.above, "up to": rule.up_to, "below": rule.below}
    bound = ", ".join(f"{word} {plain(value)}" for word, value in bounds.items() if value is not None)
    cells = (where, called, " ".join((str(rule.measure), bound)).strip(), str(rule.severity), what, rule.why)
    return TableRow(rule.rule_id, cells, rule.source.text, rule.source.status)


def _kind_row(kind: ProductKind) -> TableRow:
    cells = (kind.group, str(kind.exposure), kind.certificate_category, "; ".join(sorted(kind.words)))
    return TableRow(
        kind.kind, cells, "the trade's categories; certificate categories of the 49th amendment", "common practice"
    )


def _oil_row(oil: str, one: Constituent) -> TableRow:
    cells = (one.name, f"{plain(one.low)} to {plain(one.high)} %", f"{plain(one.typical)} %")
    return TableRow(oil, cells, one.source.text, one.source.status)


def _oil_rows() -> Iterable[TableRow]:
    return (_oil_row(oil, one) for oil, ones in constituent_index().oils.items() for one in ones)


PROHIBITED_WHEN = {
    Barred.NEVER: "always",
    Barred.HAIR_DYE: "in hair dyes",
    Barred.FRAGRANCE: "as a fragrance ingredient",
    Barred.SUPPLIER: "where the raw material holds the impurity",
    Barred.READ: "with an exception to read",
}


def _colourant_row(one: Colourant) -> TableRow:
    area = "not listed" if one.eu_area is None else AREA_WORDS.get(one.eu_area, "all products")
    also = "; ".join(sorted(name for name in one.names if plain_name(one.ci).replace(" ", "") != name))
    return TableRow(
        one.ci,
        (also, area, one.us_name, one.us_use),
        one.source.text,
        one.source.status,
        _place("colourants", one.ci, "eu_area"),
    )


LIMIT_COLUMNS = ("At most", "Where", "Condition", "Entry")
LIMIT_ABOUT = {
    "EU": "Annexes II to VI of Regulation (EC) 1223/2009, as far as the rows below go",
    "US": "21 CFR 700 and the parts named in the rows",
    GUIDANCE: "what review panels and the industry advise; asked in both jurisdictions",
}


def _limit_table(name: str) -> Table:
    title = "Guidance on amounts" if name == GUIDANCE else f"Limits, {name}"
    about, whose = LIMIT_ABOUT.get(name, "limits of composition"), WHOSE.get(name, name)
    return Table(f"limits/{name}", title, whose, about, LIMIT_COLUMNS, _limits(name), name != GUIDANCE)


@cache
def tables() -> tuple[Table, ...]:
    """Return every table of rules, limits first."""
    return _tables_of_law() + _other_tables()


def _tables_of_law() -> tuple[Table, ...]:
    return (
        *(_limit_table(name) for name in sorted(jurisdictions(), key=lambda n: (n == GUIDANCE, n))),
        Table(
            "allergens",
            "Fragrance allergens",
            WHOSE["EU"],
            "entries of Annex III with a duty to name them in the ingredient list",
            ("Leave-on, above", "Rinse-off, above", "CAS", "Entry", "Duty"),
            lambda _own: map(_allergen_row, allergen_entries()),
        ),
        Table(
            "colourants",
            "Colourants",
            "European Union and United States",
            "where a colour may be used: Annex IV, and 21 CFR parts 73, 74 and 82",
            ("Also called", "EU: allowed in", "US name", "US: allowed in"),
            lambda own: map(_colourant_row, corrected_colourants(own)),
        ),
        Table(
            "prohibited",
            "Prohibited substances",
            WHOSE["EU"],
            "Annex II of Regulation (EC) 1223/2009, every entry",
            ("Substance", "Names", "CAS", "Prohibited"),
            lambda _own: map(_prohibited_row, prohibited_entries()),
        ),
        Table(
            "hair-dyes",
            "Hair dyes",
            WHOSE["EU"],
            "entries of Annex III on hair dyes; oxidative amounts on the hair after mixing",
            ("With oxidation", "Without", "Eyelashes", "Entry"),
            lambda _own: map(_dye_row, hair_dyes()),
        ),
    )


def _other_tables() -> tuple[Table, ...]:
    return (
        Table(
            "product-rules",
            "Hazards and the product as a whole",
            "European Union, United States and the trade",
            "pH, free alkali, poisons, eyes, children, sun, essential oils, drugs and bans",
            ("Where", "Names", "Measure", "Weight", "What", "Why"),
            lambda _own: map(_product_rule_row, product_rules()),
            is_law=False,
        ),
        Table(
            "product-kinds",
            "Kinds of product",
            "the trade",
            "the pick-list of a formula, and the words by which the rules know each kind",
            ("Group", "Use", "Certificate category", "Words of the rules"),
            lambda _own: map(_kind_row, product_kinds().values()),
            is_law=False,
        ),
        Table(
            "oil-constituents",
            "Usual constituents of essential oils",
            "the trade",
            "what oils usually hold, used only where no sheet is there",
            ("Constituent", "Range", "Typical"),
            lambda _own: _oil_rows(),
            is_law=False,
        ),
        Table(
            "compatibility",
            "What goes with what",
            "the trade",
            "pairs that clash, pH, heat, order of addition, water and oil; no law",
            ("Between", "What", "Weight", "Why", "What to do"),
            lambda own: map(_trade_row, corrected_trade(trade_rules(), own).values()),
            is_law=False,
        ),
        Table(
            "claims",
            "Words and claims",
            "European Union and United States",
            "words that make a cosmetic something else: drug, medicine, biocide, sunscreen",
            ("Where", "Words", "Not counted in", "Weight", "What it means"),
            lambda _own: map(_claim_row, claim_rules()),
        ),
        Table(
            "warnings",
            "Statements for the label",
            "European Union and United States",
            "statements by kind of product; the wordings that a limit asks for stand with the limits",
            ("Where", "Statement", "Wording", "Called for by", "Reason"),
            lambda _own: map(_warning_row, warning_rules()),
        ),
    )


def find_table(path: str) -> Table | None:
    """Give the table at an address under ``/rules``; None when there is none."""
    return next((table for table in tables() if table.path.casefold() == path.casefold()), None)


def rows_of(table: Table, corrections: tuple[Correction, ...], words: str = "", status: str = "") -> list[TableRow]:
    """List the rows that hold every word typed, in any order and case, and have a status."""
    wanted = words.casefold().split()
    rows = (row for row in table.make(corrections) if not status or row.status == status)
    return [row for row in rows if all(word in _text(row) for word in wanted)]


def _text(row: TableRow) -> str:
    return " ".join((row.name, *row.cells, row.source, row.status)).casefold()


def overviews(corrections: tuple[Correction, ...], day: date) -> tuple[Overview, ...]:
    """Give every table with its counts and its age at a day."""
    return tuple(_overview(table, corrections, day) for table in tables())


def _overview(table: Table, corrections: tuple[Correction, ...], day: date) -> Overview:
    rows = list(table.make(corrections))
    counted = Counter(row.status or "not stated" for row in rows)
    age = _age(table, rows)
    return Overview(table, len(rows), tuple(counted.most_common()), age.state, table.is_law and age.is_old(day))


def _age(table: Table, rows: Iterable[TableRow]) -> TableAge:
    known = {f"limits/{age.table}": age for age in limit_table_ages()}
    if table.path in known:
        return known[table.path]
    sources = [row.source for row in rows]
    states = [datetime.strptime(m[1], "%d %B %Y").date() for text in sources if (m := _STATE.search(text))]
    common = Counter(states).most_common(1)
    state = common[0][0] if common else None
    return TableAge(table.path, state, max(states, default=None), len(sources), len(sources) - len(states))


@cache
def _law_ages() -> tuple[TableAge, ...]:
    return tuple(_age(table, list(table.make(()))) for table in tables() if table.is_law)


def old_law(day: date) -> tuple[TableAge, ...]:
    """List the tables of law that are dated, and more than a year old at a day."""
    return old_tables((age for age in _law_ages() if age.state is not None), day)
