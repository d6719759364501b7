"""Two versions of a formula side by side, line by line."""

from dataclasses import dataclass
from decimal import Decimal

from app.science.names import inci_key
from app.science.numbers import plain
from app.work.formulas.sound import SoundFormula, SoundLine


@dataclass(frozen=True, slots=True)
class LinePair:
    """A line on either side, None where it is not there; ``difference`` is right minus left in % w/w."""

    left: SoundLine | None
    right: SoundLine | None

    @property
    def difference(self) -> Decimal:
        """Right minus left, % w/w; a line that is missing counts as 0."""
        return _percent(self.right) - _percent(self.left)

    @property
    def state(self) -> str:
        """What happened to the line: ``new``, ``gone``, ``changed`` or ``same``."""
        if self.left is None or self.right is None:
            return "new" if self.left is None else "gone"
        return "changed" if _facts(self.left) != _facts(self.right) else "same"

    @property
    def words(self) -> str:
        """What happened to the line, in words."""
        if self.left is None or self.right is None:
            return self.state
        return ", ".join(_changed_words(self.left, self.right))


@dataclass(frozen=True, slots=True)
class FactPair:
    """Anything else that differs: what it is, and how it stands on either side."""

    words: str
    left: str
    right: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Every line of two formulas in the order of the right one, and every other difference."""

    lines: tuple[LinePair, ...]
    facts: tuple[FactPair, ...]

    @property
    def changed(self) -> tuple[LinePair, ...]:
        """The lines that are not the same on both sides."""
        return tuple(pair for pair in self.lines if pair.state != "same")


def compare(left: SoundFormula, right: SoundFormula) -> Comparison:
    """Match the lines of two formulas, by their keys first and then by the name of the material."""
    return Comparison(tuple(_pairs(left, right)), tuple(_facts_apart(left, right)))


def _percent(line: SoundLine | None) -> Decimal:
    return Decimal(0) if line is None else line.percent


def _facts(line: SoundLine) -> tuple[object, ...]:
    return (line.phase, line.name, line.percent, line.qs, line.note, line.parts)


def _changed_words(left: SoundLine, right: SoundLine) -> list[str]:
    found = [f"was {left.name}"] if inci_key(left.name) != inci_key(right.name) else []
    found += [f"from phase {left.phase} to {right.phase}"] if left.phase != right.phase else []
    found += ["now fills up to 100" if right.qs else "no longer fills up to 100"] if left.qs != right.qs else []
    found += ["composition of the material changed"] if left.name == right.name and left.parts != right.parts else []
    found += ["note changed"] if left.note != right.note else []
    return found


def _pairs(left: SoundFormula, right: SoundFormula) -> list[LinePair]:
    rest = {line.key: line for line in left.lines}
    matches = {line.key: rest.pop(line.key) for line in right.lines if line.key in rest}
    by_name = {inci_key(line.name): line for line in rest.values()}
    for line in right.lines:
        if line.key not in matches and (other := by_name.pop(inci_key(line.name), None)) is not None:
            matches[line.key] = rest.pop(other.key)
    pairs = [LinePair(matches.get(line.key), line) for line in right.lines]
    return [*pairs, *(LinePair(line, None) for line in left.lines if line.key in rest)]


def _facts_apart(left: SoundFormula, right: SoundFormula) -> list[FactPair]:
    one, other = _all_facts(left), _all_facts(right)
    keys = dict.fromkeys([*other, *one])
    return [FactPair(key, one.get(key, ""), other.get(key, "")) for key in keys if one.get(key) != other.get(key)]


def _all_facts(formula: SoundFormula) -> dict[str, str]:
    found = {
        "Name": formula.name,
        "Product type": formula.product_type,
        "Stays on or rinses off": formula.exposure,
        "Special uses": ", ".join(formula.special_uses),
        "Claims": formula.claims,
        "Batch size": formula.batch,
        "Fill of one unit": formula.fill,
        "Density, g/mL": _number(formula.density_g_ml),
        "Process loss, %": _number(formula.loss_percent),
        "Target pH": _number(formula.target_ph),
        "Labour, minutes": _number(formula.labour_minutes),
        "Price": _number(formula.price),
        "Notes": formula.notes,
    }
    for phase in formula.phases:
        found[f"Phase {phase.letter}, name"] = phase.name
        found[f"Phase {phase.letter}, temperature, °C"] = _number(phase.temperature_c)
        found[f"Phase {phase.letter}, method"] = "\n".join(phase.method)
    return found


def _number(value: Decimal | None) -> str:
    return "" if value is None else plain(value)
