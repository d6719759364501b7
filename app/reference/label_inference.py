"""From names read off a label to the inference, with everything shipped about them."""

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from app.reference.inference_caps import exposure_of, legal_caps
from app.reference.inference_free_of import free_of_notes
from app.reference.inference_measures import (
    Narrowing,
    Observable,
    Reading,
    expected_narrowings,
    observe,
)
from app.reference.inference_prior import class_of, class_priors, kind_by_names, kind_of, listed_name
from app.reference.label_blends import bought_together
from app.reference.label_targets import PRESERVING
from app.science.inference.classes import in_company
from app.science.inference.infer import infer, work_out
from app.science.inference.tail import colour_tail
from app.science.inference.values import WATER, Inference, Known, ListedName
from app.science.inference.wording import percent_words
from app.science.label_list.values import Certainty, ReadName
from app.science.rules.values import Exposure

STARTING_POINT = (
    "The percentages are what order, law and habit make likely: a starting point of your own, never proof that two "
    "products are the same."
)

# EU 1223/2009 Annex III: a fragrance allergen is printed above 0.001 % (leave-on) or 0.01 % (rinse-off).
PRINTABLE = {Exposure.LEAVE_ON: 0.001, Exposure.RINSE_OFF: 0.01}
TELLING, MOST_MOVED = 0.2, 3  # a change of ln x worth a word, and of how many names
UNFITTING = "The reading '{}' fits no composition that this list allows, so it was set aside; check it."


@dataclass(frozen=True, slots=True)
class LabelInference:
    """What the list was taken for, what follows from it, and what must be said beside it."""

    names: tuple[ListedName, ...]
    inference: Inference
    notes: tuple[str, ...]
    kind: str = ""
    narrowing: tuple[Narrowing, ...] = ()


def infer_label(
    names: Sequence[ReadName],
    known: Mapping[int, Known],
    product_type: str = "",
    jurisdiction: str = "EU",
    dropped: Collection[tuple[str, int]] = (),
    *,
    product_kind: str = "",
    on: date | None = None,
    readings: Sequence[Reading] = (),
    narrowing_at: Mapping[str, float] | None = None,
) -> LabelInference:
    """Infer the percentages of a read list.

    Args:
        names: the names in printed order, each substance once.
        known: what the maker knows, by place in the list (% w/w).
        product_type: free words for the kind of product; may be empty.
        jurisdiction: whose legal maxima hold, ``EU`` or ``US``.
        dropped: rules the maker sets aside, each ``maximum`` or ``order`` with the place of its name.
        product_kind: the kind of product of the pick-list, empty where none is chosen.
        on: the day the law is asked for; without one only maxima that have always held count.
        readings: what was measured and seen of the product.
        narrowing_at: prices of a kilogram by the key of a substance, as far as they are known, to work out what further
            measurements would narrow; None where that is not wanted.

    Raises:
        Invalid: when there are no names or too many.
    """
    exposure = exposure_of(product_type, product_kind)
    # Where the maker set a maximum or the printed place of a name aside, it is lifted.
    capped = listed_names(names, legal_caps(jurisdiction, exposure, on))
    uncapped = (replace(n, cap=100.0) if ("maximum", i) in dropped else n for i, n in enumerate(capped))
    listed = tuple(replace(n, colour=True) if ("order", i) in dropped else n for i, n in enumerate(uncapped))
    listed = _printable(listed, exposure) if jurisdiction.upper() == "EU" else listed
    doubtful = frozenset(i for i, name in enumerate(names) if name.may_contain)
    stated = kind_of(f"{product_kind} {product_type}")
    kind = kind_by_names(listed, stated)
    observed, known = observe(listed, known, readings)
    found = work_out(
        listed, class_priors(), known, doubtful, kind=kind, observed=observed, with_draws=narrowing_at is not None
    )
    moved: list[str] = []
    if kind and narrowing_at is not None:  # both from the list alone: what was measured would be worked out twice
        alone = replace(observed, measurements=())
        without = infer(listed, class_priors(), known, doubtful, observed=alone)
        with_kind = found.inference
        if observed.measurements:
            with_kind = infer(listed, class_priors(), known, doubtful, kind=kind, observed=alone)
        moved = _moved_by_kind(listed, with_kind, without)
    notes = [*_notes(names, listed, found.inference, jurisdiction), *_kind_notes(kind, stated, moved)]
    free = (reading.word for reading in readings if reading.measure is Observable.FREE_OF)
    notes += free_of_notes([word for word in free if f"{Observable.FREE_OF} {word}" not in found.unfitting], listed)
    notes += [UNFITTING.format(name) for name in found.unfitting]
    narrowing = () if narrowing_at is None else expected_narrowings(listed, found, readings, narrowing_at)
    return LabelInference(listed, found.inference, tuple(notes), kind, narrowing)


def _kind_notes(kind: str, stated: str, moved: Sequence[str]) -> Iterable[str]:
    if not kind:
        return
    if kind != stated:
        yield f"Taken for a {kind} by what stands high in the list; its usual levels count."
    else:
        yield f"Told as {kind}: what such products usually hold of each class counts."
    if moved:
        yield f"Without the kind of product: {'; '.join(moved)}."


def _moved_by_kind(listed: Sequence[ListedName], with_kind: Inference, without: Inference) -> list[str]:
    """Say for the names that the kind of product moves most what they would be without it."""
    pairs = zip(listed, with_kind.rows, without.rows, strict=True)
    moves = [(abs(math.log(max(w.estimate, 1e-6) / max(o.estimate, 1e-6))), name, w, o) for name, w, o in pairs]
    telling = sorted((m for m in moves if m[0] > TELLING and m[2].estimate >= 1), key=lambda m: -m[0])[:MOST_MOVED]
    return [
        f"{name.name} {percent_words(other.estimate)} instead of {percent_words(row.estimate)}"
        for _, name, row, other in telling
    ]


def _printable(listed: Sequence[ListedName], exposure: Exposure | None) -> tuple[ListedName, ...]:
    """Let a printed allergen seldom be less than what makes it printable."""
    least = PRINTABLE[exposure or Exposure.LEAVE_ON]
    return tuple(replace(n, printable_from=least) if n.class_name == "allergen" else n for n in listed)


def listed_names(names: Sequence[ReadName], caps: Mapping[str, float]) -> tuple[ListedName, ...]:
    """Join read names with class, use range and legal maximum; trailing colours and shades leave the order."""
    keys = [name.key for name in names]
    classes = in_company(keys, [class_of(key) for key in keys])
    certain = [key for key, name in zip(keys, names, strict=True) if not name.may_contain]
    free = colour_tail(certain) | {i for i, name in enumerate(names) if name.may_contain or name.active}
    return tuple(
        listed_name(name.printed, name.key, class_name, caps.get(name.key, 100.0), colour=place in free, blend=blend)
        for place, (name, class_name, blend) in enumerate(zip(names, classes, bought_together(keys), strict=True))
    )


def _notes(
    names: Sequence[ReadName], listed: Sequence[ListedName], found: Inference, jurisdiction: str
) -> Iterable[str]:
    yield STARTING_POINT
    unknown = [name.printed for name in names if name.certainty is Certainty.UNKNOWN]
    if unknown:
        yield f"Not in the shipped tables, so taken by the shape of the name: {', '.join(unknown)}."
    for name in names:
        if name.certainty is Certainty.SPELLING:
            yield f"'{name.printed}' was read as {name.inci}."
    if not found.clashes:
        yield from _line_by_law(listed, jurisdiction)
    yield from _company(listed)
    if any(name.may_contain for name in names):
        yield "Shades after 'may contain' need not be in the product; their amounts are not counted in the sum."
    if found.by_rules_only:
        yield "The statements leave so little room that only the bounds were used."


def _line_by_law(listed: Sequence[ListedName], jurisdiction: str) -> Iterable[str]:
    """Name the first legal maximum that puts all later names at or below 1 %."""
    chain = [name for name in listed if not name.colour]
    for name in chain[:-1]:
        if name.cap <= 1:
            yield (
                f"{name.name} may be at most {percent_words(name.cap)} ({jurisdiction.upper()} law), so what is "
                f"printed after it is taken to be at or below 1 %."
            )
            return


def _company(listed: Sequence[ListedName]) -> Iterable[str]:
    keepers = [name.name for name in listed if name.class_name in PRESERVING]
    if len(keepers) > 2:
        yield (
            f"Several preservatives ({', '.join(keepers)}): some may only be carried in by another material, "
            "far below the usual amount."
        )
    if not any(name.class_name == WATER for name in listed):
        yield "No water is printed, so the sum is shared among all names."
