"""Two printed lists side by side: what a reformulation changed, or what two markets say of one product."""

from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.science.inference.compare_lists import Comparison, compare_lists
from app.science.inference.values import Estimate
from app.work.label_reading.lists import OpenList, open_list

NOTICEABLE = 1.5  # likely values nearer than this factor are not called more or less


@dataclass(frozen=True, slots=True)
class PairedName:
    """A name of either list: its places (from 1) and answers, None where it does not stand, and what became of it.

    ``change`` is ``new``, ``gone``, ``clearly more``, ``clearly less``, ``likely more``, ``likely less`` or
    ``about the same``; clearly means that the 80 % bands do not touch. ``both`` are the bounds (% w/w) that both lists
    allow together, where they would be of one product.
    """

    name: str
    places: tuple[int | None, int | None]
    answers: tuple[Estimate | None, Estimate | None]
    change: str
    moved: bool
    both: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class TwoLists:
    """Two lists with every name of either, in the order of the first, then what only the second has.

    ``same_names`` says whether they could be one product as it is printed in two markets.
    """

    first: OpenList
    second: OpenList
    comparison: Comparison
    names: tuple[PairedName, ...]

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
    first, second = open_list(session, first_id), open_list(session, second_id)
    comparison = compare_lists([n.key for n in first.sheet.names], [n.key for n in second.sheet.names])
    return TwoLists(first, second, comparison, tuple(_paired(first, second, comparison)))


def _paired(first: OpenList, second: OpenList, comparison: Comparison) -> Iterator[PairedName]:
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
                both=_both(*answers),
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


def _both(before: Estimate | None, after: Estimate | None) -> tuple[float, float] | None:
    if before is None or after is None:
        return None
    low, high = max(before.low, after.low), min(before.high, after.high)
    return (low, high) if low <= high else None
