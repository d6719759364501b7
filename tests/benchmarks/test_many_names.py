"""Formulas of 10,000 lines that no table knows: the time of each line does not grow with their number."""

import json
from random import Random
from time import process_time

import pytest

from app.commands.compute import answer
from app.reference.inci_names import inci_names

MOST_SECONDS = 30


def misspelt(chance: Random) -> list[str]:
    known = sorted(key for key in inci_names() if len(key) < 100)
    names = []
    for _ in range(10_000):
        letters = list(chance.choice(known))
        for _ in range(chance.randint(1, 6)):
            letters[chance.randrange(len(letters))] = chance.choice("abcdefghij")
        names.append("".join(letters))
    return names


@pytest.mark.parametrize("computation", ["declaration", "check"])
@pytest.mark.parametrize("kind", ["ingredient", "colourant"])
def test_ten_thousand_unknown_names(computation: str, kind: str) -> None:
    chance = Random(7)  # noqa: S311 - the same names at every run
    names = misspelt(chance) if kind == "ingredient" else [f"CI {number}" for number in range(10_000, 20_000)]
    parts = [{"inci": name, "percent": 100, "kind": kind} for name in names]
    materials = [{"name": f"m{n}", "percent": 0.001, "composition": [part]} for n, part in enumerate(parts)]
    request = json.dumps({"jurisdiction": "EU", "exposure": "leave-on", "materials": materials})
    started = process_time()
    found = answer(computation, request)
    spent = process_time() - started
    print(f"\n{computation}, {kind}: {spent:.1f} s")
    assert len(found) > 500_000
    assert spent < MOST_SECONDS
