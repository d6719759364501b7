"""Two printed lists side by side: what a reformulation changed, or what two markets say of one product."""

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.science.inference.compare_lists import Comparison, compare_lists
from app.science.inference.values import Estimate
from app.work.label_reading.constraints import UserConstraints
from app.work.label_reading.estimate import answers_alone
from app.work.label_reading.lists import OpenList, open_list

NOTICEABLE = 1.5  # likely values nearer than this factor are not called more or less


@dataclass(frozen=True, slots=True)
class PairedName:
    """A name of either list: its places (from 1) and answers, None where it does not stand, and what became of it.

    ``change`` is ``new``, ``gone``, ``clearly more``, ``clearly less``, ``likely more``, ``likely less`` or
    ``about the same``; clearly means that the 80 % bands do not touch. ``together`` is the answer where both lists are
    taken as of one product, with everything known of either.
    """

    name: str
    places: tuple[int | None, int | None]
    answers: tuple[Estimate | None, Estimate | None]
    change: str
    moved: bool
    together: Estimate | None = None


@dataclass(frozen=True, slots=True)
class TwoLists:
    """Two lists with every name of either, in the order of the first, then what only the second has.

    ``same_names`` says whether they could be one product as it is printed in two markets; ``swapped`` are the names
    that it would then have at or below 1 %, because they change places.
    """

    first: OpenList
    second: OpenList
    comparison: Comparison
    names: tuple[PairedName, ...]
    swapped: tuple[str, ...] = ()

    @property
    def same_names(self) -> bool:
        """Whether both lists hold the same substances."""
        return not self.comparison.missing and not self.comparison.added


def two_lists(session: Session, first_id: int, second_id: int) -> TwoLists:
    """Put two lists side by side.

    Raises:
        NotFound: when one of them is not there.
        Invalid: when what is stored of one cannot be read any more.
    """
    first, second = pair = open_list(session, first_id), open_list(session, second_id)
    comparison = compare_lists([n.key for n in first.sheet.names], [n.key for n in second.sheet.names])
    swapped, together = [], {}
    if not comparison.missing and not comparison.added:
        swapped = changing_places(*([row.name.key for row in one.sheet.rows if not row.listed.colour] for one in pair))
        # The first list with what is known of either, and with what two orders of one product tell.
        mine, others = first.sheet.constraints, second.sheet.constraints
        free = {"tail": "scattered"} if swapped else {}
        both = UserConstraints(
            {**dict.fromkeys(swapped, "0-1"), **others.values, **mine.values},
            mine.dropped | others.dropped,
            {**free, **others.observed, **mine.observed},
        )
        answers = answers_alone(first.sheet.reading, both, first.sheet.product_type, first.sheet.jurisdiction)
        together = {row.name.key: answer for row, answer in zip(first.sheet.rows, answers, strict=True)}
    names = tuple(_paired(first, second, comparison, together))
    printed = {row.name.key: row.name.printed for row in first.sheet.rows}
    return TwoLists(first, second, comparison, names, tuple(printed[key] for key in swapped))


def changing_places(first: Sequence[str], second: Sequence[str]) -> list[str]:
    """Return the names that stand before another in one list and after it in the other: of one product, both have at
    most 1 %, since only there the order is free (EU 1223/2009 Art. 19(1)(g)); so has every name after one of them.

    >>> changing_places(["AQUA", "MEL", "UREA", "SILICA"], ["AQUA", "MEL", "SILICA", "UREA"])
    ['UREA', 'SILICA']
    """
    after = {key: place for place, key in enumerate(second)}
    shared = [key for key in first if key in after]
    pairs = itertools.combinations(shared, 2)
    swapped = {key for earlier, later in pairs if after[earlier] > after[later] for key in (earlier, later)}
    return [key for key in shared if key in swapped]


def _paired(
    first: OpenList, second: OpenList, comparison: Comparison, together: Mapping[str, Estimate]
) -> Iterator[PairedName]:
    lists = [{row.name.key: row for row in one.sheet.rows} for one in (first, second)]
    moved = {one.name for one in comparison.moved}
    for key in dict.fromkeys((*lists[0], *lists[1])):
        before, after = lists[0].get(key), lists[1].get(key)
        answers = (before.answer if before else None, after.answer if after else None)
        named = before or after
        if named is not None:
            yield PairedName(
                name=named.name.printed,
                places=(before.place + 1 if before else None, after.place + 1 if after else None),
                answers=answers,
                change=_change(*answers),
                moved=key in moved,
                together=together.get(key),
            )


def _change(before: Estimate | None, after: Estimate | None) -> str:
    if before is None:
        return "new"
    if after is None:
        return "gone"
    more = after.estimate > before.estimate
    low, high = (before, after) if more else (after, before)
    if low.band_high < high.band_low:
        return f"clearly {'more' if more else 'less'}"
    if high.estimate < NOTICEABLE * low.estimate:
        return "about the same"
    return f"likely {'more' if more else 'less'}"
