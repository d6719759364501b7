"""The declaration of a formula beside the list it came from: same order, what is missing, what moved."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.reference.label_names import LabelNames
from app.science.inference.compare_lists import Comparison, compare_lists
from app.science.label_list.reading import read_name
from app.science.label_list.values import ReadName
from app.work.formulas.declaring import Declared
from app.work.formulas.editing import open_draft
from app.work.formulas.results import results_of
from app.work.formulas.steps import OpenDraft
from app.work.label_reading.lists import OpenList, open_list, taught_names


@dataclass(frozen=True, slots=True)
class Pair:
    """A name with its place (from 1) in the printed list and in the declaration; None where it does not stand."""

    name: str
    before: int | None
    after: int | None
    state: str


@dataclass(frozen=True, slots=True)
class Compared:
    """A list beside the declaration of a formula, name by name."""

    current: OpenList
    formula: OpenDraft
    declared: Declared | None
    comparison: Comparison
    pairs: tuple[Pair, ...]


def compare(session: Session, list_id: int, formula_id: int) -> Compared:
    """Compare the declaration of a draft with a list.

    Raises:
        NotFound: when one of them is not there.
    """
    current, formula = open_list(session, list_id), open_draft(session, formula_id)
    taught = taught_names(session)
    lists = results_of(session, formula).declarations
    declared = next((d for d in lists if d.jurisdiction == current.typed.jurisdiction), None)
    comparison = compared(current.sheet.names, declared, taught)
    return Compared(current, formula, declared, comparison, pairs(current.sheet.names, declared, taught))


def compared(names: Sequence[ReadName], declared: Declared | None, taught: Mapping[str, str]) -> Comparison:
    """Compare by substance, so that other ways to print a name count as the same."""
    return compare_lists([name.key for name in names], list(_declared_names(declared, taught)))


def _declared_names(declared: Declared | None, taught: Mapping[str, str]) -> dict[str, str]:
    """Return the printed name of each entry by the key of its substance, in printed order."""
    book = LabelNames(taught)
    entries = declared.entries if declared else ()
    found: dict[str, str] = {}
    for entry in entries:
        found.setdefault(read_name(entry.name, book).key, entry.name)
    return found


def pairs(names: Sequence[ReadName], declared: Declared | None, taught: Mapping[str, str]) -> tuple[Pair, ...]:
    """Return every name of both, in the order of the printed list, then what the declaration has beside it."""
    after = _declared_names(declared, taught)
    places = {key: place for place, key in enumerate(after, start=1)}
    comparison = compared(names, declared, taught)
    kept = set(comparison.kept)
    printed = {name.key: name.printed for name in names}
    rows = []
    for place, (key, words) in enumerate(printed.items(), start=1):
        state = "missing" if key not in places else "same order" if key in kept else "moved"
        rows.append(Pair(words, place, places.get(key), state))
    return (*rows, *(Pair(after[key], None, places[key], "added") for key in comparison.added))
