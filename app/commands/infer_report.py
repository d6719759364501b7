"""The ``infer-report`` command: how good the inference is on the shipped compositions, and the fit of its tables."""

import csv
import zlib
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import click
from scipy.special import ndtri

from app.reference.corpus import held_out_lists, known_lists
from app.reference.inference_measures import Observable, Reading, observe, physical_of
from app.reference.inference_prior import (
    CLASS_COLUMNS,
    KIND_COLUMNS,
    LEVEL_COLUMNS,
    NAME_COLUMNS,
    class_priors,
    class_starts,
    kind_starts,
)
from app.reference.label_start import start_from_label
from app.reference.label_start_faults import start_faults
from app.reference.tables import FOLDER, read_table
from app.science.inference.accuracy import (
    FOLDS,
    Left,
    Score,
    answered,
    kind_scores,
    left_out,
    line_shares,
    naive_scores,
    plain_answer,
    publisher,
    score,
    small_names,
    waterless,
)
from app.science.inference.fit import KnownList, count_by_class, fit_priors
from app.science.inference.infer import infer
from app.science.inference.values import Inference, PriorTable
from app.work.clock import today

HEADINGS = ("method", "lists", "values", "points", "log10", "in bounds", "in band")


@dataclass(frozen=True, slots=True)
class LeftOutLists:
    """Lists answered with their documents left out, with their publishers left out, and by a fit that never saw them.

    ``dried`` and ``new_dried`` are the same lists with one loss on drying.
    """

    found: Sequence[Left]
    dried: Sequence[Left]
    foreign: Sequence[Left]
    new: Sequence[Left]
    new_dried: Sequence[Left]


def measure(only: Iterable[int] = range(FOLDS)) -> LeftOutLists:
    """Answer the lists of some folds, each by a table fitted without its fold, and the lists held out of every fit."""
    starts, lists, only = (class_starts(), kind_starts()), known_lists(), tuple(only)
    found, dried = left_out(lists, *starts, (plain_answer, dried_answer), only)
    (foreign,) = left_out(lists, *starts, only=only, together=publisher)
    table = fit_priors(lists, *starts)
    new, new_dried = (answered(held_out_lists(), table, answer) for answer in (plain_answer, dried_answer))
    return LeftOutLists(found, dried, foreign, new, new_dried)


def report(measured: LeftOutLists) -> str:
    """Write the tables: the model with each list left out of its own fit, by kind of product, and naive methods.

    Below them the same with all lists of a publisher left out at once, and lists that never take part in the fit.
    """
    parts = [
        ("each document left out", _tables(measured.found, measured.dried)),
        ("each publisher left out", _tables(measured.foreign)),
        ("lists that never take part in the fit", _tables(measured.new, measured.new_dried)),
    ]
    return "\n\n".join(f"{heading.upper()}\n{part}" for heading, part in parts)


def _tables(found: Sequence[Left], dried: Sequence[Left] = ()) -> str:
    model, naive = score("this model", found), naive_scores([left.known for left in found])
    measured = [score("this model with one loss on drying", dried)] if dried else []
    rows = [
        model,
        *measured,
        score("this model, exact values", found, lambda _left, guess: guess.exact),
        score("this model, lists without water", found, waterless),
        *naive,
    ]
    kinds = _table(_cells(one) for one in kind_scores(found))
    gains = [
        *_gains(model, naive),
        *(f"with one loss on drying, {words}" for one in measured for words in _gains(one, naive)),
    ]
    exact, near = line_shares(found)
    line = f"1 % line found exactly in {_share(exact)} of {len(found)} lists, within one name in {_share(near)}"
    return "\n".join([*_table(map(_cells, rows)), "", *gains, *_small(found), line, "", *kinds])


def dried_answer(known: KnownList, table: PriorTable) -> Inference:
    """Answer with a simulated loss on drying: the true one by the table's shares, off by 1 point (one sigma)."""
    names, where = known.names, zlib.crc32(known.id.encode()) / 2**32
    shares = [physical_of(name.key, name.class_name).volatile for name in names]
    true = sum(share * percent for share, percent in zip(shares, known.percents, strict=True))
    read = true + float(ndtri(min(max(where, 1e-6), 1 - 1e-6)))
    observed, _ = observe(names, {}, (Reading(Observable.DRYING, read),))
    return infer(names, table, kind=known.kind, observed=observed)


def _cells(one: Score) -> tuple[str, ...]:
    numbers = (str(one.lists or "-"), str(one.values), f"{one.points:.2f}", f"{one.log10:.3f}")
    return (one.method, *numbers, _share(one.in_bounds), _share(one.in_band))


def _share(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.1f} %"


def _table(rows: Iterable[tuple[str, ...]]) -> Iterable[str]:
    rows = list(rows)
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


def _small(found: Sequence[Left]) -> Iterable[str]:
    names = small_names(found)
    yield f"preserving names of 0.1 % and more: median of estimate / truth {names.preserving:.2f}"
    yield f"names estimated under 0.1 %: within a factor of {names.estimated_small:.1f} in the median"
    yield f"names truly under 0.1 %: within a factor of {names.truly_small:.1f} in the median"


def refit() -> None:
    """Fit what is usual to the shipped compositions and write the four tables of ``seed_data/reference``."""
    lists = known_lists()
    table = fit_priors(lists, class_starts(), kind_starts())
    _write("inference_classes", CLASS_COLUMNS, _class_rows(table, count_by_class(lists)))
    counts = Counter(name.key for known in lists for name in known.names)
    names = [{"key": k, "shift": f"{v:.4f}", "count": str(counts[k])} for k, v in sorted(table.names.items())]
    _write("inference_names", NAME_COLUMNS, names)
    by_kind = Counter(known.kind for known in lists)
    kinds = [
        row | {"width": f"{table.widths.get(row['kind'], 1.0):.4f}", "lists": str(by_kind[row["kind"]])}
        for row in read_table("inference_kinds", KIND_COLUMNS)
    ]
    _write("inference_kinds", KIND_COLUMNS, kinds)
    levels = Counter((known.kind, name.class_name) for known in lists for name in known.names)
    _write("inference_kind_levels", LEVEL_COLUMNS, [_level(pair, table, levels[pair]) for pair in sorted(table.kinds)])


def _class_rows(table: PriorTable, counts: dict[str, int]) -> Iterable[dict[str, str]]:
    for row in read_table("inference_classes", CLASS_COLUMNS):
        prior, count = table.of(row["class_name"]), counts.get(row["class_name"], 0)
        yield row | {
            "median_percent": f"{prior.median_percent:.5g}",
            "sigma": f"{prior.sigma:.4f}",
            "crowding": f"{prior.crowding:.4f}",
            "use_pull": f"{prior.use_pull:.4f}",
            "count": str(count),
            "fit_mark": "fitted" if count else "start kept",
        }


def _level(pair: tuple[str, str], table: PriorTable, count: int) -> dict[str, str]:
    start = kind_starts().get(pair)
    row = {"kind": pair[0], "class_name": pair[1], "start_shift": "" if start is None else f"{start:g}"}
    return row | {"shift": f"{table.kinds[pair]:.4f}", "count": str(count)}


def _write(name: str, columns: Sequence[str], rows: Iterable[dict[str, str]]) -> None:
    """Write a table over the old one, its remarks kept."""
    path, rows = FOLDER / f"{name}.csv", list(rows)
    with path.open(encoding="utf-8") as old:
        remarks = [line for line in old if line.startswith("#")]
    with path.open("w", encoding="utf-8", newline="") as handle:
        handle.writelines(remarks)
        writer = csv.DictWriter(handle, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def start_lines(lists: Iterable[KnownList]) -> Iterable[str]:
    """Say of what each list gives to start from: what is said not to be met, and what is wrong without a word."""
    said: Counter[str] = Counter()
    count, faults = 0, []
    for known in lists:
        found = infer(known.names, class_priors(), kind=known.kind)
        begun = start_from_label(known.names, found, [True] * len(known.names), known.product_type, on=today())
        count += 1
        if begun is None:
            said["anything"] += 1
            continue
        said.update({requirement.rule for requirement in begun.start.unmet})
        faults += [f"{known.id}: {fault}" for fault in start_faults(known.names, begun)]
    unmet = ", ".join(f"{rule} in {times}" for rule, times in said.most_common()) or "nothing"
    yield f"to start from, {count} lists: cannot be met and said so: {unmet}; wrong without a word: {len(faults)}"
    yield from faults


@click.command("infer-report")
@click.option("--refit", "fit_again", is_flag=True, help="Fit the shipped tables anew before measuring.")
def infer_report(fit_again: bool) -> None:
    """Measure the inference on the shipped compositions, each left out of its own fit."""
    if fit_again:
        refit()
    click.echo(report(measure()))
    click.echo("\n".join(["", *start_lines((*known_lists(), *held_out_lists()))]))
