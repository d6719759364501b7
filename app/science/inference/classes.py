"""From the name and the functions of a substance to the class whose percentages are known."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from app.science.inference.values import UNCLASSED, WATER

TRACE_COMPANION = "ISOTHIAZOLINONE"
TRACE_SALTS = frozenset({"MAGNESIUM CHLORIDE", "MAGNESIUM NITRATE"})
TRACE = "preservative_trace"
DYE, PIGMENT = "dye", "colour"


@dataclass(frozen=True, slots=True)
class NameRule:
    """A shape of INCI names (searched in the key) and the class it tells."""

    shape: re.Pattern[str]
    class_name: str


@dataclass(frozen=True, slots=True)
class ClassRules:
    """Rules from names, in order, and from functions of the EU vocabulary, in order."""

    names: tuple[NameRule, ...]
    functions: Mapping[str, str]

    def class_of(self, key: str, functions: Iterable[str] = ()) -> str:
        """Return the class of a substance by its key (capitals); ``other`` when neither name nor function tells.

        >>> ClassRules((NameRule(re.compile("GUM$"), "thickener"),), {}).class_of("XANTHAN GUM")
        'thickener'
        """
        for rule in self.names:
            if rule.shape.search(key):
                return rule.class_name
        had = {function.casefold() for function in functions}
        return next((c for function, c in self.functions.items() if function.casefold() in had), UNCLASSED)


def in_company(keys: Sequence[str], classes: Sequence[str]) -> list[str]:
    """Correct classes by what stands beside them.

    The salts of an isothiazolinone solution are traces like the preservative itself, and a dye's number in a list
    without water stands for a lake or pigment (both common practice).
    """
    traces = any(TRACE_COMPANION in key for key in keys)
    dry = WATER not in classes
    found = []
    for key, class_name in zip(keys, classes, strict=True):
        if key in TRACE_SALTS:
            found.append(TRACE if traces else "salt")
        else:
            found.append(PIGMENT if class_name == DYE and dry else class_name)
    return found
