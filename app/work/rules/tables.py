"""The tables of rules, to look at: what they hold, how old they are, row by row with source and status."""

import re
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache, partial

from app.reference.allergens import allergen_entries
from app.reference.claims import claim_rules
from app.reference.compatibility import COLUMNS as COMPATIBILITY
from app.reference.compatibility import trade_rules
from app.reference.constituents import constituent_index
from app.reference.hair_dyes import hair_dyes
from app.reference.limits import jurisdictions, limit_rows, limit_table_ages
from app.reference.product_kinds import product_kinds
from app.reference.product_rules import product_rules
from app.reference.prohibited import prohibited_entries
from app.reference.rulebook import warning_rules
from app.reference.tables import read_table
from app.science.numbers import plain
from app.science.rules.colourants import AREA_WORDS
from app.science.rules.names import plain_name
from app.science.rules.product_rules import RuleSubject
from app.science.rules.prohibited import Barred
from app.science.rules.table_age import TableAge, old_tables
from app.science.rules.values import Exposure
from app.work.rules.book import corrected_colourants, corrected_limits, corrected_trade, limit_key
from app.work.rules.corrections import Correction, Place, shipped_values

GUIDANCE = "GUIDANCE"
WHOSE = {"EU": "European Union", "US": "United States", GUIDANCE: "guidance, no law"}
_STATE = re.compile(r"state of (\d{1,2} [A-Z][a-z]+ \d{4})")


@dataclass(frozen=True, slots=True)
class RuleRow:
    """A row to show: what names it, its cells under the columns, its source, how far that was checked.

    ``place`` leads to the form that puts the value right, None where it does not rest on memory.
    """

    name: str
    cells: tuple[str, ...]
    source: str
    status: str
    place: Place | None = None


Corrections = tuple[Correction, ...]
MakeRows = Callable[[Corrections], Iterable[RuleRow]]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of rules: its address under ``/rules``, its title, whose rules they are, what it holds."""

    path: str
    title: str
    whose: str
    about: str
    columns: tuple[str, ...]
    make: MakeRows
    is_law: bool = True


DECLARED: list[Table] = []


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


def _joined(*texts: str) -> str:
    return ". ".join(text.rstrip(".") for text in texts if text)


PROHIBITED_WHEN = {
    Barred.NEVER: "always",
    Barred.HAIR_DYE: "in hair dyes",
    Barred.FRAGRANCE: "as a fragrance ingredient",
    Barred.SUPPLIER: "where the raw material holds the impurity",
    Barred.READ: "with an exception to read",
}


@cache
def _pairs() -> dict[str, str]:
    """Return the substances or functions that each compatibility rule names, one side and the other."""
    rows = read_table("compatibility", COMPATIBILITY)
    return {row["rule_id"]: " with ".join(filter(None, (row["a_values"], row["b_values"]))) for row in rows}


def _table(
    path: str, title: str, whose: str, about: str, columns: tuple[str, ...], *, is_law: bool = True
) -> Callable[[MakeRows], MakeRows]:
    """Declare a table beside what yields its rows, given what the maker corrected."""

    def declare(make: MakeRows) -> MakeRows:
        DECLARED.append(Table(path, title, whose, about, columns, make, is_law))
        return make

    return declare


@_table(
    "allergens",
    "Fragrance allergens",
    WHOSE["EU"],
    "entries of Annex III with a duty to name them in the ingredient list",
    ("Leave-on, above", "Rinse-off, above", "CAS", "Entry", "Duty"),
)
def _allergens(_own: Corrections) -> Iterable[RuleRow]:
    for entry in allergen_entries():
        thresholds = tuple(f"{plain(entry.thresholds[exposure])} %" for exposure in Exposure)
        yield RuleRow(
            entry.label_name,
            (*thresholds, "; ".join(sorted(entry.cas)), entry.entry, entry.duty_since),
            entry.source.text,
            entry.source.status,
        )


@_table(
    "colourants",
    "Colourants",
    "European Union and United States",
    "where a colour may be used: Annex IV, and 21 CFR parts 73, 74 and 82",
    ("Also called", "EU: allowed in", "US name", "US: allowed in"),
)
def _colourants(own: Corrections) -> Iterable[RuleRow]:
    for one in corrected_colourants(own):
        area = "not listed" if one.eu_area is None else AREA_WORDS.get(one.eu_area, "all products")
        also = "; ".join(sorted(name for name in one.names if plain_name(one.ci).replace(" ", "") != name))
        yield RuleRow(
            one.ci,
            (also, area, one.us_name, one.us_use),
            one.source.text,
            one.source.status,
            _place("colourants", one.ci, "eu_area"),
        )


@_table(
    "prohibited",
    "Prohibited substances",
    WHOSE["EU"],
    "Annex II of Regulation (EC) 1223/2009, every entry",
    ("Substance", "Names", "CAS", "Prohibited"),
)
def _prohibited(_own: Corrections) -> Iterable[RuleRow]:
    for entry in prohibited_entries():
        names = "; ".join((*entry.names, *(f"{name} (read)" for name in entry.doubtful)))
        when = PROHIBITED_WHEN[entry.condition]
        cells = (entry.substance, names, "; ".join(entry.cas), when)
        yield RuleRow(entry.entry, cells, entry.source.text, entry.source.status)


@_table(
    "hair-dyes",
    "Hair dyes",
    WHOSE["EU"],
    "entries of Annex III on hair dyes; oxidative amounts on the hair after mixing",
    ("With oxidation", "Without", "Eyelashes", "Entry"),
)
def _hair_dyes(_own: Corrections) -> Iterable[RuleRow]:
    for dye in hair_dyes():
        tops = tuple("" if top is None else f"{plain(top)} %" for top in (dye.oxidative_max, dye.direct_max))
        lashes = "professional use" if dye.eyelashes else ""
        cells = (*tops, lashes, dye.entry)
        yield RuleRow("; ".join(dye.names), cells, dye.source.text, dye.source.status)


def _kinds(way: str) -> str:
    """Write the kinds of product that one way of a rule's scope asks for, and those it leaves out.

    >>> _kinds("hair + !bleach")
    'hair, not bleach'
    """
    return ", ".join(part.strip().replace("!", "not ") for part in way.split("+"))


@_table(
    "product-rules",
    "Hazards and the product as a whole",
    "European Union, United States and the trade",
    "pH, free alkali, poisons, eyes, children, sun, essential oils, drugs and bans",
    ("Where", "Names", "Measure", "Weight", "What", "Why"),
    is_law=False,
)
def _product_rules(_own: Corrections) -> Iterable[RuleRow]:
    for rule in product_rules():
        called = "; ".join(rule.selector.items) if rule.selector else ""
        where = "; ".join(
            word
            for word in (", ".join(sorted(rule.jurisdictions)), rule.exposure, *map(_kinds, sorted(rule.scope)))
            if word
        )
        what = rule.what.replace("{names}", "the named").replace("{amount}", "so much").replace("{parts}", "each")
        bounds = {"at least": rule.at_least, "above": rule.above, "up to": rule.up_to, "below": rule.below}
        bound = ", ".join(f"{word} {plain(value)}" for word, value in bounds.items() if value is not None)
        measure = "pH" if rule.measure is RuleSubject.PH else str(rule.measure)
        cells = (where, called, f"{measure} {bound}".strip(), str(rule.severity), what, rule.why)
        yield RuleRow(rule.rule_id, cells, rule.source.text, rule.source.status)


@_table(
    "product-kinds",
    "Kinds of product",
    "the trade",
    "the pick-list of a formula, and the words by which the rules know each kind",
    ("Group", "Use", "Certificate category", "Words of the rules"),
    is_law=False,
)
def _product_kinds(_own: Corrections) -> Iterable[RuleRow]:
    for kind in product_kinds().values():
        cells = (kind.group, str(kind.exposure), kind.certificate_category, "; ".join(sorted(kind.words)))
        yield RuleRow(
            kind.kind, cells, "the trade's categories; certificate categories of the 49th amendment", "common practice"
        )


@_table(
    "oil-constituents",
    "Usual constituents of essential oils",
    "the trade",
    "what oils usually hold, used only where no sheet is there",
    ("Constituent", "Range", "Typical"),
    is_law=False,
)
def _oil_constituents(_own: Corrections) -> Iterable[RuleRow]:
    for oil, ones in constituent_index().oils.items():
        for one in ones:
            cells = (one.name, f"{plain(one.low)} to {plain(one.high)} %", f"{plain(one.typical)} %")
            yield RuleRow(oil, cells, one.source.text, one.source.status)


@_table(
    "compatibility",
    "What goes with what",
    "the trade",
    "pairs that clash, pH, heat, order of addition, water and oil; no law",
    ("Between", "What", "Weight", "Why", "What to do"),
    is_law=False,
)
def _compatibility(own: Corrections) -> Iterable[RuleRow]:
    for rule in corrected_trade(trade_rules(), own).values():
        cells = (_pairs().get(rule.rule_id, ""), rule.title, str(rule.severity), rule.why, rule.action)
        table = "compatibility" if rule.rule_id.startswith("C") else "process_rules"
        yield RuleRow(rule.rule_id, cells, rule.source, rule.source_status, _place(table, rule.rule_id, "why"))


@_table(
    "claims",
    "Words and claims",
    "European Union and United States",
    "words that make a cosmetic something else: drug, medicine, biocide, sunscreen",
    ("Where", "Words", "Not counted in", "Weight", "What it means"),
)
def _claims(_own: Corrections) -> Iterable[RuleRow]:
    for rule in claim_rules():
        where = ", ".join(sorted(rule.jurisdictions))
        cells = (
            where,
            "; ".join(rule.words),
            "; ".join(rule.unless),
            str(rule.severity),
            f"{rule.message} ({rule.kind})",
        )
        yield RuleRow(rule.rule_id, cells, rule.rule, rule.source_status)


@_table(
    "warnings",
    "Statements for the label",
    "European Union and United States",
    "statements by kind of product; the wordings that a limit asks for stand with the limits",
    ("Where", "Statement", "Wording", "Called for by", "Reason"),
)
def _warnings(_own: Corrections) -> Iterable[RuleRow]:
    for rule in warning_rules():
        called = "; ".join(rule.selector.items) if rule.selector else ""
        kind = ", ".join(word for word in (called, "; ".join(map(_kinds, sorted(rule.scope))), rule.exposure) if word)
        wording = "fixed by law" if rule.is_legal else "own words"
        yield RuleRow(
            rule.rule_id,
            (", ".join(sorted(rule.jurisdictions)), rule.text, wording, kind, rule.reason),
            rule.source.text,
            rule.source.status,
        )


LIMIT_COLUMNS = ("At most", "Where", "Condition", "Entry")
LIMIT_ABOUT = {
    "EU": "Annexes II to VI of Regulation (EC) 1223/2009, as far as the rows below go",
    "US": "21 CFR 700 and the parts named in the rows",
    GUIDANCE: "what review panels and the industry advise; asked in both jurisdictions",
}


@cache
def tables() -> tuple[Table, ...]:
    """Return every table of rules, limits first."""
    found = []
    for name in sorted(jurisdictions(), key=lambda n: (n == GUIDANCE, n)):
        title = "Guidance on amounts" if name == GUIDANCE else f"Limits, {name}"
        about, whose = LIMIT_ABOUT.get(name, "limits of composition"), WHOSE.get(name, name)
        make = partial(_limits, name)
        found.append(Table(f"limits/{name}", title, whose, about, LIMIT_COLUMNS, make, name != GUIDANCE))
    return (*found, *DECLARED)


def _limits(jurisdiction: str, own: Corrections) -> Iterable[RuleRow]:
    for rule in corrected_limits(limit_rows(jurisdiction), own):
        as_ = "" if rule.expressed_as in ("", "as such") else f" as {rule.expressed_as}"
        cells = (
            "" if rule.max_percent is None else f"{plain(rule.max_percent)} %{as_}",
            rule.product_scope,
            _joined(rule.condition, rule.label_wording and f"Label: {rule.label_wording}"),
            _joined(rule.legal_reference, rule.as_of and f"State: {rule.as_of}"),
        )
        place = _place(f"limits/{jurisdiction}", limit_key(rule), "max_percent")
        yield RuleRow(rule.inci_name, cells, rule.source, rule.source_status, place)


def find_table(path: str) -> Table | None:
    """Return the table at an address under ``/rules``; None when there is none."""
    return next((table for table in tables() if table.path.casefold() == path.casefold()), None)


def rows_of(table: Table, corrections: tuple[Correction, ...], words: str = "", status: str = "") -> list[RuleRow]:
    """Return the rows that hold every word typed, in any order and case, and have a status."""
    wanted = words.casefold().split()
    found = []
    for row in table.make(corrections):
        text = " ".join((row.name, *row.cells, row.source, row.status)).casefold()
        if status in ("", row.status) and all(word in text for word in wanted):
            found.append(row)
    return found


def overview(table: Table, corrections: tuple[Correction, ...], day: date) -> Overview:
    """Count the rows of a table by what their source is, and tell its age at a day."""
    rows = list(table.make(corrections))
    counted = Counter(row.status or "not stated" for row in rows)
    age = _age(table, rows)
    return Overview(table, len(rows), tuple(counted.most_common()), age.state, table.is_law and age.is_old(day))


def _age(table: Table, rows: Iterable[RuleRow]) -> TableAge:
    known = {f"limits/{age.table}": age for age in limit_table_ages()}
    if table.path in known:
        return known[table.path]
    sources = [row.source for row in rows]
    states = [datetime.strptime(m[1], "%d %B %Y").date() for text in sources if (m := _STATE.search(text))]
    common = Counter(states).most_common(1)
    state = common[0][0] if common else None
    return TableAge(table.path, state, max(states, default=None), len(sources))


@cache
def _law_ages() -> tuple[TableAge, ...]:
    return tuple(_age(table, list(table.make(()))) for table in tables() if table.is_law)


def old_law(day: date) -> tuple[TableAge, ...]:
    """Return the tables of law that are dated, and more than a year old at a day."""
    return old_tables((age for age in _law_ages() if age.state is not None), day)
