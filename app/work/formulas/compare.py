"""Two versions of a formula side by side, line by line."""

from dataclasses import dataclass
from decimal import Decimal

from app.science.formula import Formula, Line
from app.science.names import inci_key
from app.science.numbers import plain_or_empty


@dataclass(frozen=True, slots=True)
class LinePair:
    """A line on either side, None where it is not there, each with the letter of its phase."""

    left: Line | None
    right: Line | None
    left_phase: str = ""
    right_phase: str = ""

    @property
    def difference(self) -> Decimal:
        """Right minus left, % w/w; a line that is missing counts as 0."""
        return _percent(self.right) - _percent(self.left)

    @property
    def state(self) -> str:
        """What happened to the line: ``new``, ``gone``, ``changed`` or ``same``."""
        if self.left is None or self.right is None:
            return "new" if self.left is None else "gone"
        changed = self.left_phase != self.right_phase or _facts(self.left) != _facts(self.right)
        return "changed" if changed else "same"

    @property
    def words(self) -> str:
        """What happened to the line, in words."""
        left, right = self.left, self.right
        if left is None or right is None:
            return self.state
        filling = "now fills up to 100" if right.is_remainder else "no longer fills up to 100"
        said = {
            f"from phase {self.left_phase} to {self.right_phase}": self.left_phase != self.right_phase,
            f"was {left.name}": inci_key(left.name) != inci_key(right.name),
            filling: left.is_remainder != right.is_remainder,
            "composition of the material changed": left.name == right.name and left.parts != right.parts,
            "note changed": left.note != right.note,
        }
        return ", ".join(words for words, is_so in said.items() if is_so)


@dataclass(frozen=True, slots=True)
class FactPair:
    """Anything else that differs: what it is, and how it stands on either side."""

    words: str
    left: str
    right: str


@dataclass(frozen=True, slots=True)
class FormulaComparison:
    """Every line of two formulas in the order of the right one, and every other difference."""

    lines: tuple[LinePair, ...]
    facts: tuple[FactPair, ...]

    @property
    def changed(self) -> tuple[LinePair, ...]:
        """The lines that are not the same on both sides."""
        return tuple(pair for pair in self.lines if pair.state != "same")


def compare(left: Formula, right: Formula) -> FormulaComparison:
    """Match the lines of two formulas, by their keys first and then by the name of the material."""
    rest = {line.key: line for line in left.lines}
    matches = {line.key: rest.pop(line.key) for line in right.lines if line.key in rest}
    by_name = {inci_key(line.name): line for line in rest.values()}
    for line in right.lines:
        if line.key not in matches and (other := by_name.pop(inci_key(line.name), None)) is not None:
            matches[line.key] = rest.pop(other.key)
    here, there = _letters(left), _letters(right)
    pairs = []
    for line in right.lines:
        match = matches.get(line.key)
        pairs.append(LinePair(match, line, here[match.key] if match else "", there[line.key]))
    pairs += [LinePair(line, None, here[line.key]) for line in left.lines if line.key in rest]
    old, new = _all_facts(left), _all_facts(right)
    apart = [key for key in dict.fromkeys([*new, *old]) if old.get(key) != new.get(key)]
    facts = tuple(FactPair(key, old.get(key, ""), new.get(key, "")) for key in apart)
    return FormulaComparison(tuple(pairs), facts)


def _percent(line: Line | None) -> Decimal:
    return Decimal(0) if line is None else line.percent


def _facts(line: Line) -> tuple[object, ...]:
    return (line.name, line.percent, line.is_remainder, line.note, line.parts)


def _letters(formula: Formula) -> dict[str, str]:
    return {line.key: phase.letter for phase in formula.phases for line in phase.lines}


def _all_facts(formula: Formula) -> dict[str, str]:
    found = {
        "Name": formula.name,
        "Product type": formula.product_type,
        "Kind of product": formula.product_kind,
        "Leave-on or rinse-off": formula.exposure,
        "Special uses": ", ".join(formula.special_uses),
        "Claims": formula.claims,
        "Batch size": formula.size.words if formula.size else "",
        "Fill": formula.size.fill_words if formula.size else "",
        "Density, g/mL": plain_or_empty(formula.density_g_ml),
        "Process loss, %": plain_or_empty(formula.loss_percent),
        "Target pH": plain_or_empty(formula.target_ph),
        "Labour, minutes": plain_or_empty(formula.labour_minutes),
        "Price": plain_or_empty(formula.price),
        "Notes": formula.notes,
        "Specification": "; ".join(f"{check.what} {check.wanted}" for check in formula.checks),
    }
    for phase in formula.phases:
        found[f"Phase {phase.letter}, name"] = phase.name
        found[f"Phase {phase.letter}, temperature, °C"] = plain_or_empty(phase.temperature_c)
        found[f"Phase {phase.letter}, method"] = "\n".join(phase.method)
    return found
