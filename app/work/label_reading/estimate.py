"""A printed list read and worked out: every name with its bounds, band and estimate, and what clashes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

from app.reference.label_inference import LabelInference, infer_label
from app.reference.label_names import LabelNames
from app.reference.label_start import LabelStart, start_from_label
from app.reference.label_targets import targets_from
from app.science.errors import Invalid
from app.science.inference.cover import Target
from app.science.inference.infer import MOST_NAMES
from app.science.inference.values import Clash, Estimate, Known, ListedName
from app.science.inference.wording import clash_sentences, percent_words, statement_words
from app.science.label_list.reading import MOST_CHARACTERS, read_list
from app.science.label_list.values import ReadList, ReadName
from app.work.clock import today
from app.work.form import FaultList
from app.work.label_reading.constraints import UserConstraints, parse_known
from app.work.label_reading.observations import pack_claims, readings_of

TOO_MANY = (
    "There are {count:,} names in this text; at most {most} are worked out at once. Paste the ingredient list alone."
)
BAND = 0.8
DROPPED_WORDS = {
    "printed": "the percentage printed with {name}",
    "maximum": "the legal maximum of {name}",
    "order": "the place of {name} in the list",
}


@dataclass(frozen=True, slots=True)
class EstimateRow:
    """One name with its answer in % w/w; ``typed`` is what the maker said of it, ``gap`` the chance of the 1 % line."""

    place: int
    name: ReadName
    listed: ListedName
    answer: Estimate
    typed: str
    gap: float | None
    from_print: bool

    @property
    def fixed(self) -> bool:
        """Whether the maker or the print says how much there is."""
        return bool(self.typed) or self.from_print


@dataclass(frozen=True, slots=True)
class Relaxation:
    """A statement that can be given up: by its kind and the key of its name, in words, and what would follow."""

    kind: str
    key: str
    said: str
    effect: str


@dataclass(frozen=True, slots=True)
class ConflictView:
    """A clash in sentences, with the ways out of it."""

    sentences: tuple[str, ...]
    relaxations: tuple[Relaxation, ...]


@dataclass(frozen=True, slots=True)
class DroppedStatement:
    """A rule that the maker set aside, in words."""

    kind: str
    key: str
    words: str


@dataclass(frozen=True, slots=True)
class LabelEstimate:
    """Everything that follows from a list; ``before_first`` is the chance that no name stands above 1 %.

    ``on`` is the day whose law the start follows.
    """

    reading: ReadList
    product_type: str
    jurisdiction: str
    rows: tuple[EstimateRow, ...]
    found: LabelInference
    clashes: tuple[ConflictView, ...]
    dropped: tuple[DroppedStatement, ...]
    line_words: str
    notes: tuple[str, ...]
    before_first: float = 0.0
    start: LabelStart | None = None
    on: date | None = None
    constraints: UserConstraints = field(default_factory=UserConstraints)

    @property
    def names(self) -> tuple[ReadName, ...]:
        """The names in printed order."""
        return self.reading.names

    @property
    def targets(self) -> tuple[Target, ...]:
        """The substances to cover with materials, as the start wants them, else at the likely percentages."""
        return self.start.targets if self.start else targets_from(self.found.names, self.estimates, self.counted)

    @property
    def counted(self) -> tuple[bool, ...]:
        """Whether each name is certainly in the product; shades after 'may contain' need not be."""
        return tuple(not name.may_contain for name in self.names)

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """The answers in printed order."""
        return self.found.inference.rows


@lru_cache(maxsize=64)
def _read_taught(text: str, taught: tuple[tuple[str, str], ...]) -> ReadList:
    return read_list(text, LabelNames(dict(taught)))


def read_text(text: str, taught: Mapping[str, str], at: str = "ingredients") -> ReadList:
    """Read a list with the names that were taught.

    Raises:
        Invalid: at ``at``, when it is too long, holds no name, or holds more than 200.
    """
    if len(text) > MOST_CHARACTERS:
        raise Invalid(at, f"Shorten this to {MOST_CHARACTERS:,} characters; it has {len(text):,}.")
    if not any(sign.isalnum() for sign in text):
        raise Invalid(at, "Paste or type the ingredient list.")
    try:
        found = _read_taught(text, tuple(sorted(taught.items())))
    except Invalid as nameless:
        raise Invalid(at, "There is no name in this text; paste or type the ingredient list.") from nameless
    if len(found.names) > MOST_NAMES:
        raise Invalid(at, TOO_MANY.format(count=len(found.names), most=MOST_NAMES))
    return found


def known_values(reading: ReadList, constraints: UserConstraints) -> dict[int, Known]:
    """Return what is known by place: what the maker says, else what is printed and not set aside.

    Raises:
        Faults: at ``value-<place>``, with every value that cannot be read.
    """
    reader, found = FaultList(), dict[int, Known]()
    for place, name in enumerate(reading.names):
        typed = constraints.values.get(name.key, "")
        known = reader.read(parse_known, typed, f"value-{place}") if typed else _printed(name, constraints)
        if known is not None:
            found[place] = known
    reader.finish()
    return found


def _printed(name: ReadName, constraints: UserConstraints) -> Known | None:
    """Return the percentage printed with a name, unless it is none or was set aside."""
    if name.percent is None or not 0 <= name.percent <= 100 or ("printed", name.key) in constraints.dropped:
        return None
    return Known(float(name.percent), float(name.percent))


def work_out(
    reading: ReadList,
    constraints: UserConstraints,
    product_type: str = "",
    jurisdiction: str = "EU",
    prices: Mapping[str, float] | None = None,
) -> LabelEstimate:
    """Work out what the list, with what is told, allows and makes likely (% w/w).

    ``prices`` are those of a kilogram by the key of a substance, as far as the shelf knows them.

    Raises:
        Faults: at ``value-<place>``, with every value that cannot be read.
    """
    priced = tuple(sorted((prices or {}).items()))
    return _worked_out(reading, constraints.to_json(), (product_type, jurisdiction), priced, today())


@lru_cache(maxsize=32)
def _worked_out(
    reading: ReadList, told: str, product: tuple[str, str], priced: tuple[tuple[str, float], ...], on: date
) -> LabelEstimate:
    """Work a list out once for the pages that show it: an answer is followed by the page it leads to."""
    constraints, names, (product_type, jurisdiction) = UserConstraints.from_json(told), reading.names, product
    found = _inferred(reading, constraints, product_type, jurisdiction, dict(priced))
    shares = found.inference.line_probability
    gaps = {place: shares[number] for number, place in enumerate(_chain(found), start=1)}
    rows = []
    for place, name in enumerate(names):
        typed, from_print = constraints.values.get(name.key, ""), _printed(name, constraints) is not None
        answer = found.inference.rows[place]
        rows.append(EstimateRow(place, name, found.names[place], answer, typed, gaps.get(place), from_print))
    dropped, printed = [], {name.key: name.printed for name in names}
    for kind, key in sorted(constraints.dropped):
        if key in printed and kind in DROPPED_WORDS:
            dropped.append(DroppedStatement(kind, key, DROPPED_WORDS[kind].format(name=printed[key])))
    said = " ".join(found.notes)
    notes = [*found.notes, *(f"{note}." for note in reading.notes if note not in said)]
    gone = [key for key in constraints.values if key not in printed]
    if gone:
        notes.append(f"Something is known of names that the list does not hold any more: {', '.join(gone)}.")
    return LabelEstimate(
        reading=reading,
        product_type=product_type,
        jurisdiction=jurisdiction,
        rows=tuple(rows),
        found=found,
        clashes=tuple(_shown(clash, found, names, constraints) for clash in found.inference.clashes),
        dropped=tuple(dropped),
        line_words=line_words(found),
        notes=tuple(notes),
        before_first=shares[0],
        start=start_from_label(
            found.names, found.inference, [not name.may_contain for name in names], product_type, jurisdiction, on
        ),
        on=on,
        constraints=constraints,
    )


def answers_alone(
    reading: ReadList, constraints: UserConstraints, product_type: str, jurisdiction: str
) -> tuple[Estimate, ...]:
    """Return only the answers of ``work_out``, which takes less time."""
    return _inferred(reading, constraints, product_type, jurisdiction, None).inference.rows


def _inferred(
    reading: ReadList,
    constraints: UserConstraints,
    product_type: str,
    jurisdiction: str,
    prices: Mapping[str, float] | None,
) -> LabelInference:
    known = pack_claims(constraints.observed.get("pack", ""), reading.names) | known_values(reading, constraints)
    readings = readings_of(constraints, reading.names, prices or {})
    places = {name.key: place for place, name in enumerate(reading.names)}
    dropped = {(kind, places[key]) for kind, key in constraints.dropped if key in places}
    return infer_label(
        reading.names, known, product_type, jurisdiction, dropped, readings=readings, narrowing_at=prices
    )


def _chain(found: LabelInference) -> list[int]:
    return [place for place, name in enumerate(found.names) if not name.colour]


def line_words(found: LabelInference) -> str:
    """Return where the 1 % line sits, with its probability and the stretch that holds 80 % of it."""
    shares, best = found.inference.line_probability, found.inference.line_position
    # The stretch of places around the likeliest that holds 80 %.
    first = last = best
    while sum(shares[first : last + 1]) < BAND:
        before = shares[first - 1] if first else -1.0
        after = shares[last + 1] if last + 1 < len(shares) else -1.0
        if max(before, after) < 0:
            break
        first, last = (first - 1, last) if before >= after else (first, last + 1)
    words = f"The 1 % line most likely sits {_after(best, found)} ({_chance(shares[best])})"
    if first == last:
        return f"{words}."
    whole = sum(shares[first : last + 1])
    return f"{words}; {_chance(whole)} sure: {_after(first, found)} to {_after(last, found)}."


def _chance(share: float) -> str:
    return f"{100 * share:.0f} %"


def _after(count: int, found: LabelInference) -> str:
    return f"after {found.names[_chain(found)[count - 1]].name}" if count else "before the first name"


def _shown(
    clash: Clash, found: LabelInference, names: Sequence[ReadName], constraints: UserConstraints
) -> ConflictView:
    ways = []
    for remedy in clash.remedies:
        statement, key = remedy.statement, names[remedy.statement.index].key
        kind = "order" if statement.kind == "line" else statement.kind
        if statement.kind == "claim" and key not in constraints.values:
            kind = "printed"  # a value that is not the maker's stands in the list
        low, high = percent_words(remedy.low), percent_words(remedy.high)
        lie = f"be at {low}" if low == high else f"lie between {low} and {high}"
        effect = f"{found.names[statement.index].name} would then {lie}."
        ways.append(Relaxation(kind, key, statement_words(statement, found.names), effect))
    sentences = clash_sentences(clash, found.names)[: len(clash.given_up) + 1]
    return ConflictView(tuple(sentences), tuple(ways))
