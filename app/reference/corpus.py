"""The shipped compositions with known percentages, for fitting the class priors and measuring the inference."""

import json
from functools import cache
from typing import Any

from app.reference.inference_caps import legal_caps
from app.reference.inference_prior import class_of, is_thin, listed_name
from app.reference.tables import FOLDER
from app.science.inference.classes import in_company
from app.science.inference.fit import KnownList
from app.science.inference.tail import colour_tail
from app.science.names import inci_key


@cache
def known_lists() -> tuple[KnownList, ...]:
    """Read ``composition_corpus.json``: published compositions as they would be printed (sources in the file)."""
    text = (FOLDER / "composition_corpus.json").read_text(encoding="utf-8")
    return tuple(known_list(item) for item in json.loads(text)["compositions"])


def known_list(item: dict[str, Any]) -> KnownList:
    """Read one composition: ``components`` with percent and ``printed_list`` in printed order."""
    by_name = {part["inci"]: part for part in item["components"]}
    parts = [by_name[name] for name in item["printed_list"]]
    keys = [inci_key(name) for name in item["printed_list"]]
    classes = in_company(keys, [class_of(key) for key in keys])
    tail = colour_tail(keys)
    caps = legal_caps("EU")
    names = tuple(
        listed_name(part["inci"], key, class_name, caps.get(key, 100.0), colour=place in tail)
        for place, (part, key, class_name) in enumerate(zip(parts, keys, classes, strict=True))
    )
    percents, exact = (tuple(float(p["percent"]) for p in parts), tuple(bool(p["exact"]) for p in parts))
    return KnownList(
        item["id"],
        item["product_type"],
        names,
        percents,
        exact,
        int(item["n_above_line"]),
        is_thin(item["product_type"]),
    )
