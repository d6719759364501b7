"""What the inference is told: class priors, class rules, and what is shipped of each listed substance."""

import re
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from app.reference.inci_names import inci_names
from app.reference.library import Substance, substances
from app.reference.tables import read_table
from app.science.inference.classes import ClassRules, NameRule
from app.science.inference.values import ClassPrior, ListedName, PriorTable

THIN_WORDS = ("mist", "micellar", "tonic", "hand rub", "hydrosol", "facial water", "body splash")
CLASS_COLUMNS = [
    "class_name",
    "label",
    "start_median_percent",
    "start_sigma",
    "median_percent",
    "sigma",
    "count",
    "bulk",
    "pinned",
    "start_mark",
    "fit_mark",
]


@cache
def class_priors() -> PriorTable:
    """Give the fitted class priors of ``inference_classes.csv``."""
    return PriorTable(MappingProxyType({row["class_name"]: _prior(row, "") for row in _class_rows()}))


@cache
def class_starts() -> Mapping[str, ClassPrior]:
    """Give the starting values from which the class priors were fitted."""
    return MappingProxyType({row["class_name"]: _prior(row, "start_") for row in _class_rows()})


@cache
def class_labels() -> Mapping[str, str]:
    """Give the words for each class."""
    return MappingProxyType({row["class_name"]: row["label"] for row in _class_rows()})


@cache
def _class_rows() -> tuple[Mapping[str, str], ...]:
    return tuple(read_table("inference_classes", CLASS_COLUMNS))


def _prior(row: Mapping[str, str], stage: str) -> ClassPrior:
    median, sigma = float(row[f"{stage}median_percent"]), float(row[f"{stage}sigma"])
    if not (0 < median < 100 and 0 < sigma < 5):
        raise ValueError(f"inference_classes.csv: {row['class_name']} has a median or sigma out of range")
    return ClassPrior(row["class_name"], median, sigma, row["bulk"] == "yes", row["pinned"] == "yes")


@cache
def class_rules() -> ClassRules:
    """Give the rules from names and functions to classes.

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
    """Give the class of a substance by its `inci_key`, from the shape of its name, then from its functions."""
    shipped, listed = substances().get(key), inci_names().get(key)
    functions = shipped.functions if shipped else listed.functions if listed else ()
    return class_rules().class_of(key, functions)


def listed_name(printed: str, key: str, class_name: str, cap: float = 100.0, *, colour: bool = False) -> ListedName:
    """Join a printed name with what is shipped of its substance; ``cap`` is % w/w."""
    shipped = substances().get(key)
    low, high = _use_range(shipped) if shipped else (None, None)
    return ListedName(printed, class_name, low, high, cap, colour)


def _use_range(substance: Substance) -> tuple[float | None, float | None]:
    """Give the use range of the named substance: suppliers speak of the grade as sold, a list of what is in it."""
    share = float(substance.active_matter_pct or 100) / 100
    low = None if substance.use_low is None else float(substance.use_low) * share
    high = None if substance.use_high is None else float(substance.use_high) * share
    return low, high


def is_thin(product_type: str) -> bool:
    """Tell from free words whether a product is known to be watery."""
    words = product_type.casefold()
    return any(word in words for word in THIN_WORDS) and "w/o" not in words
