"""What the inference is told and what it answers."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

WATER = "water"
PLANT_WATER = "plant_water"
UNCLASSED = "other"


@dataclass(frozen=True, slots=True)
class ClassPrior:
    """What is usual for a class of substances.

    ``median_percent`` is % w/w at a list of 12 names, ``sigma`` the standard deviation of the natural logarithm;
    ``bulk`` classes share the richness of the list; ``pinned`` classes do not rise when the list has no water.
    ``crowding`` is the change of ln x with ln(names / 12), ``use_pull`` the weight (0..1) of a substance's own use
    range against ``anchor_percent``, the starting median of the class (0: the median itself). Classes of one ``role``
    crowd alike.
    """

    name: str
    median_percent: float
    sigma: float
    bulk: bool = False
    pinned: bool = False
    role: str = ""
    crowding: float = -0.3
    use_pull: float = 0.4
    anchor_percent: float = 0.0


@dataclass(frozen=True, slots=True)
class ListedName:
    """A name of the printed list with what is known of it.

    ``use_low`` and ``use_high`` (% w/w) are a habit, ``cap`` (% w/w, 100 when there is none) is a legal maximum
    that holds for every use. ``colour`` names stand in the tail, in any order and any amount. ``key`` is the key of
    the substance, by which its own level in published lists is known; less than ``printable_from`` (% w/w) need not be
    printed, so a printed name seldom has less. ``blend`` is a bought mixture all of whose parts stand in the list.
    """

    name: str
    class_name: str = UNCLASSED
    use_low: float | None = None
    use_high: float | None = None
    cap: float = 100.0
    colour: bool = False
    key: str = ""
    printable_from: float = 0.0
    blend: str = ""

    @property
    def key_in_blend(self) -> str:
        """The key by which the level of the substance inside its blend is known; empty outside one."""
        return f"{self.key} in {self.blend}" if self.key and self.blend else ""


@dataclass(frozen=True, slots=True)
class Known:
    """Something the maker knows of one name: at least ``low`` and at most ``high`` % w/w."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Estimate:
    """One name's answer in % w/w.

    ``low`` and ``high`` follow from the rules alone; 80 % of the belief lies from ``band_low`` to ``band_high``.
    """

    name: str
    low: float
    high: float
    estimate: float
    band_low: float
    band_high: float


@dataclass(frozen=True, slots=True)
class NameStatement:
    """Something said of one name, by its place in the list.

    ``kind`` is ``claim`` (the maker knows it), ``maximum`` (the law), ``order`` (the printed place) or ``line``
    (above or below 1 %); ``percent`` is what was said, % w/w, where a number was said.
    """

    kind: str
    index: int
    percent: float = 0.0


@dataclass(frozen=True, slots=True)
class GivenUp:
    """A statement that was set aside so that the rest fits; ``fitting`` is the nearest % w/w that would have fitted."""

    statement: NameStatement
    fitting: float


@dataclass(frozen=True, slots=True)
class Remedy:
    """What giving up this one statement alone would do: its name would lie between ``low`` and ``high`` % w/w."""

    statement: NameStatement
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Clash:
    """Statements that cannot all hold beside the printed order and the sum of 100 %.

    ``statements`` is a smallest set that clashes, ``given_up`` what this answer does without, ``remedies`` the ways
    out.
    """

    statements: tuple[NameStatement, ...]
    given_up: tuple[GivenUp, ...]
    remedies: tuple[Remedy, ...]


@dataclass(frozen=True, slots=True)
class Inference:
    """The answer for a whole list, one ``Estimate`` a name in printed order.

    ``line_probability[k]`` is the probability that k names stand above the 1 % line (k = 0..n); ``line_position`` the
    likeliest k. ``by_rules_only`` marks an answer whose bounds were too tight for the grid of the posterior.
    """

    rows: tuple[Estimate, ...]
    line_position: int
    line_probability: tuple[float, ...]
    clashes: tuple[Clash, ...] = ()
    by_rules_only: bool = False


@dataclass(frozen=True, slots=True)
class PriorTable:
    """What is usual, as fitted; a class that is not in the table falls back on ``other``.

    ``names`` shifts ln x of a substance seen in published lists, by key, and once more inside a blend, by key and
    blend; ``kinds`` shifts ln x of a class in a kind of product; ``widths`` scales the sigma of all names in a kind.
    """

    classes: Mapping[str, ClassPrior] = field(default_factory=dict)
    names: Mapping[str, float] = field(default_factory=dict)
    kinds: Mapping[tuple[str, str], float] = field(default_factory=dict)
    widths: Mapping[str, float] = field(default_factory=dict)

    def of(self, class_name: str) -> ClassPrior:
        """Return the prior of a class."""
        return self.classes.get(class_name) or self.classes[UNCLASSED]
