"""The ``laws`` command: a new table of law checked and compared before it is taken, and how well the rules judge."""

import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path

import click

from app.commands import opening, places
from app.reference.judged import Agreement, agreements
from app.reference.law_table import TableChange, compare_tables, read_law_table, shipped_path
from app.reference.limits import jurisdictions
from app.science.errors import Invalid
from app.science.rules.values import LimitRule
from app.store.errors import Unusable
from app.work.clock import today
from app.work.rules.law_change import FormulaChange, changes_for_formulas

LISTED = 40


@click.command("laws")
@click.argument("file", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--jurisdiction", type=click.Choice(jurisdictions()), help="Whose limits the table holds.")
@click.option("--take", is_flag=True, help="Put it in place of the shipped table; the old one is kept beside it.")
@click.option("--report", is_flag=True, help="Print how well the rules agree with formulas judged by hand.")
@places.DATA_OPTION
def laws(file: Path | None, jurisdiction: str | None, take: bool, report: bool, data: Path | None) -> None:
    """Check a table of limits in FILE, list its changes, and name the formulas that are judged otherwise by it."""
    if report:
        for line in report_lines(agreements()):
            click.echo(line)
        return
    if file is None or jurisdiction is None:
        raise click.UsageError("Name the FILE and its --jurisdiction, or ask for the --report.")
    try:
        rules = read_law_table(file, jurisdiction)
    except (Invalid, UnicodeDecodeError, OSError) as error:
        field = getattr(error, "field", "file")
        raise click.ClickException(f"{field}: {error}") from error
    click.echo(f"{len(rules)} rows, each of them sound.")
    for line in change_lines(compare_tables(rules, jurisdiction)):
        click.echo(line)
    for line in formula_lines(_formulas(data, jurisdiction, rules)):
        click.echo(line)
    if take:
        click.echo(_take(file, jurisdiction))
    else:
        click.echo("Nothing was taken. Add --take to put it in place of the shipped table.")


def change_lines(change: TableChange) -> Iterable[str]:
    """Return what changes in the table, in lines."""
    if not (change.added or change.gone or change.changed):
        yield "No row differs from the shipped table."
    for heading, names in (("added", change.added), ("gone", change.gone)):
        yield from _listed(heading, [(name, ()) for name in names])
    yield from _listed("changed", change.changed)


def _listed(heading: str, rows: Sequence[tuple[str, Sequence[str]]]) -> Iterable[str]:
    if rows:
        yield f"{len(rows)} {heading}:"
    for name, differences in rows[:LISTED]:
        yield f"  {name}"
        yield from (f"    {line}" for line in differences)
    if len(rows) > LISTED:
        yield f"  and {len(rows) - LISTED} more"


def formula_lines(changes: Sequence[FormulaChange] | None) -> Iterable[str]:
    """Return which formulas are judged otherwise, in lines."""
    if changes is None:
        yield "There is no workshop here, so no formula was judged."
        return
    if not changes:
        yield "No formula of the workshop is judged otherwise."
    for one in changes:
        yield f"{one.code} {one.name}:"
        yield from (f"  new: {words}" for words in one.found)
        yield from (f"  no more: {words}" for words in one.gone)


def _formulas(data: Path | None, jurisdiction: str, rules: tuple[LimitRule, ...]) -> list[FormulaChange] | None:
    try:
        store = opening.open_own(places.choose(data))
    except Unusable as error:
        raise click.ClickException(str(error)) from error
    if store is None:
        return None
    with store.reading() as session:
        changes = changes_for_formulas(session, jurisdiction, rules)
    store.close()
    return changes


def _take(file: Path, jurisdiction: str) -> str:
    place = shipped_path(jurisdiction)
    kept = place.with_suffix(f".csv.before-{today():%Y%m%d}")
    try:
        shutil.copy2(place, kept)
        shutil.copyfile(file, place)
    except OSError as error:
        raise click.ClickException(f"The table could not be put in place: {error.strerror or error}.") from error
    return f"Taken. The table before it is kept as {kept.name}. Start Tarebook again to work with the new one."


def report_lines(results: Sequence[Agreement]) -> Iterable[str]:
    """Return recall over the duties and the share of formulas with a false alarm, and each that is missed."""
    duties = sum(r.right + len(r.weak) + len(r.silent) for r in results)
    right, loud = sum(r.right for r in results), [r for r in results if r.alarms]
    yield f"{len(results)} formulas judged by hand, {duties} duties."
    yield f"Said at the right strength: {right} ({100 * right / duties:.1f} %)."
    yield f"Said too weakly: {sum(len(r.weak) for r in results)}. Not said: {sum(len(r.silent) for r in results)}."
    yield f"Formulas with a false stop or caution: {len(loud)} ({100 * len(loud) / len(results):.1f} %)."
    for r in results:
        yield from (f"  {r.id} too weak: {text}" for text in r.weak)
        yield from (f"  {r.id} not said: {text}" for text in r.silent)
        yield from (f"  {r.id} false: {f.severity} {f.rule} {f.what[:80]}" for f in r.alarms)
