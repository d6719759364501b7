"""Lists as they are printed, pasted and scanned: what each must give. The lists are invented.

``?`` stands before a name after 'may contain', ``!`` before an active one, ``n:`` before a nano form.
"""

import json
import re
from pathlib import Path

import pytest

from app.reference.label_names import LabelNames
from app.science.label_list.reading import read_list
from app.science.names import inci_key

BOOK = LabelNames()
CASES = json.loads((Path(__file__).parents[2] / "data" / "printed_lists.json").read_text(encoding="utf-8"))
IDS = [case["case"] for case in CASES]


def _key(name: str) -> str:
    marks = re.match(r"(?:[?!]|n:)*", name)
    assert marks
    key = inci_key(name[marks.end() :])
    found = BOOK.find(key)
    return marks.group() + (found.key if found else key)


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_a_list_as_printed_gives_its_names(case: dict[str, str]) -> None:
    found = [
        "?" * name.may_contain + "!" * name.active + "n:" * name.nano + name.inci
        for name in read_list(case["printed"], BOOK).names
    ]
    assert [_key(name) for name in found] == [_key(name) for name in case["names"].split(";")]


@pytest.mark.parametrize("case", CASES, ids=IDS)
def test_every_name_stands_where_it_was_pasted(case: dict[str, str]) -> None:
    for name in read_list(case["printed"], BOOK).names:
        pasted = re.sub(r"[^a-z0-9]", "", case["printed"][name.start : name.end].casefold())
        assert re.sub(r"[^a-z0-9]", "", name.printed.casefold())[:4] in pasted


@pytest.mark.parametrize(
    ("printed", "percents"),
    [
        ("Aqua, Niacinamide (5%), Glycerin 3 %, Zinc PCA 1%", [None, 5, 3, 1]),
        ("Water, Madecassoside (1,000 ppm), Adenosine 400ppm", [None, 0.1, 0.04]),
        ("Drug Facts Active ingredient Zinc Oxide 14.5% Purpose Sunscreen Inactive ingredients water", [14.5, None]),
        ("Aqua, Glycerin, Less than 1%: Xanthan Gum", [None, None, None]),
    ],
)
def test_amounts_on_the_pack_are_read(printed: str, percents: list[float | None]) -> None:
    assert [None if n.percent is None else float(n.percent) for n in read_list(printed, BOOK).names] == percents
