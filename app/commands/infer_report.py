"""The ``infer-report`` command: how good the inference is on the shipped compositions."""

from collections.abc import Iterable, Sequence

import click

from app.reference.corpus import known_lists
from app.reference.inference_prior import class_starts
from app.science.inference.accuracy import Score, leave_one_out, naive_scores

HEADINGS = ("method", "values", "points", "log10", "in bounds", "in band")


def report() -> str:
    """Write the table: the model with each list left out of the fit of its own class values, then naive methods."""
    lists = known_lists()
    model, naive = leave_one_out(lists, class_starts()), naive_scores(lists)
    table = _table([_cells(score) for score in (*model.values(), *naive)])
    return "\n".join([*table, "", *_gains(model["all"], naive), _line(model["all"], len(lists))])


def _cells(score: Score) -> tuple[str, ...]:
    numbers = (str(score.values), f"{score.points:.2f}", f"{score.log10:.3f}")
    return (score.method, *numbers, _share(score.in_bounds), _share(score.in_band))


def _share(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.1f} %"


def _table(rows: Sequence[tuple[str, ...]]) -> Iterable[str]:
    widths = [max(len(cell) for cell in column) for column in zip(HEADINGS, *rows, strict=True)]
    for row in (HEADINGS, *rows):
        first, *rest = (
            cell.ljust(w) if i == 0 else cell.rjust(w) for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        )
        yield "  ".join((first, *rest)).rstrip()


def _gains(model: Score, naive: Sequence[Score]) -> Iterable[str]:
    for label, mine, best in (
        ("points", model.points, min(s.points for s in naive)),
        ("log10", model.log10, min(s.log10 for s in naive)),
    ):
        yield f"error in {label}: {100 * (1 - mine / best):.0f} % below the best naive method"


def _line(model: Score, lists: int) -> str:
    exact, near = _share(model.line_exact), _share(model.line_near)
    return f"1 % line found exactly in {exact} of {lists} lists, within one name in {near}"


@click.command("infer-report")
def infer_report() -> None:
    """Measure the inference on the shipped compositions, each left out of its own fit."""
    click.echo(report())
