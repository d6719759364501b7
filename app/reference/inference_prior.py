"""What the inference is told: class priors, class rules, and what is shipped of each listed substance."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from types import MappingProxyType

from app.reference.inci_names import inci_names
from app.reference.library import substances
from app.reference.tables import read_table
from app.science.inference.classes import ClassRules, NameRule
from app.science.inference.values import PLANT_WATER, WATER, ClassPrior, ListedName, PriorTable

NARROWED = frozenset({"", "sun cream", "cream or lotion", "gel or serum"})
CLAY = re.compile(r"KAOLIN|\bCLAY\b|MONTMORILLONITE|ILLITE|SOLUM|\bMUD\b|^MARIS LIMUS")
MINERAL_FILTERS = frozenset({"ZINC OXIDE", "TITANIUM DIOXIDE"})
CLASS_COLUMNS = [
    "class_name",
    "label",
    "role",
    "start_median_percent",
    "start_sigma",
    "median_percent",
    "sigma",
    "crowding",
    "use_pull",
    "count",
    "bulk",
    "pinned",
    "start_mark",
    "fit_mark",
]
KIND_COLUMNS = ["kind", "words", "width", "lists"]
LEVEL_COLUMNS = ["kind", "class_name", "start_shift", "shift", "count"]
NAME_COLUMNS = ["key", "shift", "count"]


@cache
def class_priors() -> PriorTable:
    """Return what is usual, as fitted: the four ``inference_*.csv`` tables of levels."""
    levels, kinds = read_table("inference_kind_levels", LEVEL_COLUMNS), read_table("inference_kinds", KIND_COLUMNS)
    return PriorTable(
        MappingProxyType({row["class_name"]: _prior(row) for row in _class_rows()}),
        MappingProxyType({row["key"]: float(row["shift"]) for row in read_table("inference_names", NAME_COLUMNS)}),
        MappingProxyType({(row["kind"], row["class_name"]): float(row["shift"]) for row in levels}),
        MappingProxyType({row["kind"]: float(row["width"]) for row in kinds if row["lists"] != "0"}),
    )


@cache
def class_starts() -> Mapping[str, ClassPrior]:
    """Return the starting values from which the class priors were fitted."""
    return MappingProxyType({row["class_name"]: _start(row) for row in _class_rows()})


@cache
def kind_starts() -> Mapping[tuple[str, str], float]:
    """Return the starting shifts of a class in a kind of product (ln), by (kind, class)."""
    rows = read_table("inference_kind_levels", LEVEL_COLUMNS)
    return MappingProxyType(
        {(row["kind"], row["class_name"]): float(row["start_shift"]) for row in rows if row["start_shift"]}
    )


@cache
def class_labels() -> Mapping[str, str]:
    """Return the words for each class."""
    return MappingProxyType({row["class_name"]: row["label"] for row in _class_rows()})


@cache
def _class_rows() -> tuple[Mapping[str, str], ...]:
    return tuple(read_table("inference_classes", CLASS_COLUMNS))


def _start(row: Mapping[str, str]) -> ClassPrior:
    median, sigma = float(row["start_median_percent"]), float(row["start_sigma"])
    return ClassPrior(row["class_name"], median, sigma, row["bulk"] == "yes", row["pinned"] == "yes", row["role"])


def _prior(row: Mapping[str, str]) -> ClassPrior:
    median, sigma = float(row["median_percent"]), float(row["sigma"])
    if not (0 < median < 100 and 0 < sigma < 5):
        raise ValueError(f"inference_classes.csv: {row['class_name']} has a median or sigma out of range")
    return replace(
        _start(row),
        median_percent=median,
        sigma=sigma,
        crowding=float(row["crowding"]),
        use_pull=float(row["use_pull"]),
        anchor_percent=float(row["start_median_percent"]),
    )


@cache
def class_rules() -> ClassRules:
    """Return the rules from names and functions to classes.

    Raises:
        ValueError: when a rule tells a class that has no prior.
    """
    rows = read_table("inference_name_rules", ["pattern", "class_name", "mark"])
    functions = read_table("inference_functions", ["function", "class_name", "mark"])
    unknown = {row["class_name"] for row in [*rows, *functions]} - set(class_starts())
    if unknown:
        raise ValueError(f"classes without a prior: {sorted(unknown)}")
    names = tuple(NameRule(re.compile(row["pattern"]), row["class_name"]) for row in rows)
    return ClassRules(names, MappingProxyType({row["function"]: row["class_name"] for row in functions}))


@cache
def class_of(key: str) -> str:
    """Return the class of a substance by its `inci_key`, from the shape of its name, then from its functions."""
    shipped, listed = substances().get(key), inci_names().get(key)
    functions = shipped.functions if shipped else listed.functions if listed else ()
    return class_rules().class_of(key, functions)


def listed_name(
    printed: str, key: str, class_name: str, cap: float = 100.0, *, colour: bool = False, blend: str = ""
) -> ListedName:
    """Join a printed name with what is shipped of its substance; ``cap`` is % w/w."""
    shipped = substances().get(key)
    # Suppliers speak of the grade as sold, a list of what is in it.
    share = float((shipped and shipped.active_matter_pct) or 100) / 100
    low = None if shipped is None or shipped.use_low is None else float(shipped.use_low) * share
    high = None if shipped is None or shipped.use_high is None else float(shipped.use_high) * share
    return ListedName(printed, class_name, low, high, cap, colour, key, blend=blend)


@cache
def _kind_words() -> tuple[tuple[str, re.Pattern[str]], ...]:
    rows = read_table("inference_kinds", KIND_COLUMNS)
    return tuple((row["kind"], re.compile(row["words"].replace(";", "|"))) for row in rows)


def kind_of(product_type: str) -> str:
    """Return the kind of product that free words tell; empty when they tell none."""
    words = product_type.casefold().strip()
    return next((kind for kind, stated in _kind_words() if stated.search(words)), "")


def kind_by_names(names: Sequence[ListedName], stated: str = "") -> str:
    """Return the kind of product; clay, or mineral filters alone, among the first three names tell a narrower one.

    ``stated`` stands where the names say nothing; a stated powder, stick or soap stays what it is.
    """
    first = [name.key for name in names[:3]]
    filters = [name.key for name in names if name.class_name == "uv_filter"]
    if stated in NARROWED and any(name.class_name in (WATER, PLANT_WATER) for name in names[:2]):
        if any(CLAY.search(key) for key in first):
            return "clay mask"
        if any(key in MINERAL_FILTERS for key in first) and set(filters) <= MINERAL_FILTERS:
            return "mineral sun cream"
    return stated
