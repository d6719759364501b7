"""The shipped compositions with known percentages, for fitting what is usual and measuring the inference."""

import json
import re
from dataclasses import replace
from functools import cache
from typing import Any

from app.reference.inference_caps import legal_caps
from app.reference.inference_prior import class_of, kind_of, listed_name
from app.reference.label_blends import bought_together
from app.reference.tables import FOLDER
from app.science.inference.classes import in_company
from app.science.inference.fit import KnownList
from app.science.inference.tail import colour_tail
from app.science.names import inci_key

ADDRESS = re.compile(r"https?://[^\s,;)]+")
ALIKE = 0.5


@cache
def known_lists() -> tuple[KnownList, ...]:
    """Read ``composition_corpus.json``: published compositions as they would be printed (sources in the file)."""
    items = _items("composition_corpus")
    lists = [known_list(item) for item in items]
    # Lists of one document, or with half their names in common, share a number.
    sources = [str(item["source"]) for item in items]
    keys = [{n.key for n in one.names} for one in lists]
    families = list(range(len(sources)))
    documents = [set(ADDRESS.findall(source)) or {source} for source in sources]
    for later in range(len(sources)):
        for earlier in range(later):
            alike = len(keys[later] & keys[earlier]) >= ALIKE * len(keys[later] | keys[earlier])
            if alike or documents[later] & documents[earlier]:
                old, new = families[later], families[earlier]
                families = [new if number == old else number for number in families]
    return tuple(replace(one, family=family) for one, family in zip(lists, families, strict=True))


@cache
def held_out_lists() -> tuple[KnownList, ...]:
    """Read ``composition_held_out.json``: published compositions that never take part in the fit."""
    return tuple(known_list(item) for item in _items("composition_held_out"))


def _items(name: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))["compositions"]
    return found


def publisher_of(source: str) -> str:
    """Return who published a composition: the site of its first address, else how its source begins.

    >>> publisher_of("Supplier formula 8, https://www.example.org/formulas/8")
    'example.org'
    """
    address = ADDRESS.search(source)
    if address is None:
        return source.split(",", maxsplit=1)[0].casefold()
    return address.group().split("/")[2].casefold().removeprefix("www.")


def known_list(item: dict[str, Any]) -> KnownList:
    """Read one composition: ``components`` with percent and ``printed_list`` in printed order."""
    by_name = {part["inci"]: part for part in item["components"]}
    parts = [by_name[name] for name in item["printed_list"]]
    keys = [inci_key(name) for name in item["printed_list"]]
    classes = in_company(keys, [class_of(key) for key in keys])
    tail = colour_tail(keys)
    caps = legal_caps("EU")
    names = tuple(
        listed_name(part["inci"], key, class_name, caps.get(key, 100.0), colour=place in tail, blend=blend)
        for place, (part, key, class_name, blend) in enumerate(
            zip(parts, keys, classes, bought_together(keys), strict=True)
        )
    )
    percents, exact = (tuple(float(p["percent"]) for p in parts), tuple(bool(p["exact"]) for p in parts))
    return KnownList(
        item["id"],
        item["product_type"],
        names,
        percents,
        exact,
        int(item["n_above_line"]),
        kind_of(item["product_type"]),
        publisher=publisher_of(item["source"]),
    )
