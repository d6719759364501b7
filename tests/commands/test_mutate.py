"""Small wrong changes: each makes code that still reads, differs in one place, and is counted by what tests say."""

import ast
import os
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from app.bootstrap import ROOT
from app.commands import mutate, mutate_reach
from app.commands.mutations import Mutation, mutations_of

CODE = """\
def best(weights, limit):
    # é before the place
    found = [w - 1 for w in weights if w <= limit and not w < 0]
    return max(found) if found else -2.5
"""
WANTED = {
    ("-", "+"), ("<=", "<"), ("and", "or"), ("<", "<="), ("not w < 0", "w < 0"), ("max", "min"), ("1", "2"), ("0", "1"),
    ("found", "(not (found))"), ("-2.5", "2.5"), ("2.5", "5.0"),
}  # fmt: skip


def test_every_kind_of_change_is_made_where_it_belongs() -> None:
    made = list(mutations_of("x.py", CODE))
    assert {(one.old, one.new) for one in made} == WANTED
    for one in made:
        changed = one.apply(CODE)
        assert changed != CODE
        ast.parse(changed)
        assert changed.splitlines()[one.line - 1] != CODE.splitlines()[one.line - 1]


def test_a_change_that_nobody_could_see_is_not_made() -> None:
    code = """\
@lru_cache(maxsize=64)
def root(f, low, high):
    for _ in range(80):
        if abs(f(low)) < 1e-9:
            return low
    return 10**9
"""
    assert {(one.old, one.new) for one in mutations_of("x.py", code)} == {("<", ">=")}


def test_the_same_seed_chooses_the_same_changes_of_the_real_code() -> None:
    first, again = (mutate.sampled(ROOT, 12, 5) for _ in "ab")
    assert first == again != mutate.sampled(ROOT, 12, 6)
    for one in first:
        ast.parse(one.apply((ROOT / one.file).read_text(encoding="utf-8")))


CHECKED = """\
from app.weigh import fits
def test_it():
    assert fits(2)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a system that can fork")
def test_a_change_is_noticed_when_a_test_fails_and_the_file_stays_as_it_is(tmp_path: Path) -> None:
    for folder in ("app", "tests"):
        (tmp_path / folder).mkdir()
    (tmp_path / "app" / "__init__.py").touch()
    code = tmp_path / "app" / "weigh.py"
    code.write_text("def fits(g):\n    return g < 3 and g > 0\n", encoding="utf-8")
    (tmp_path / "tests" / "test_weigh.py").write_text(CHECKED, encoding="utf-8")
    place = mutate.Workplace(tmp_path)
    place.know({"app/weigh.py": {2: {"tests/test_weigh.py::test_it"}}})
    before = code.read_text(encoding="utf-8")
    unseen = Mutation("app/weigh.py", before.index("<"), "<", "<=", 2)
    seen = Mutation("app/weigh.py", before.index(">"), ">", "<=", 2)
    unreached = Mutation("app/other.py", 0, "a", "b", 1)
    assert dict(place.try_all([unseen, seen, unreached], 2)) == {unseen: False, seen: True, unreached: False}
    assert code.read_text(encoding="utf-8") == before


BRANCHES = """\
def grams(kind, net):
    \"\"\"Return them.\"\"\"
    if kind == "net":
        return net
    elif kind == "all":
        for part in (1,
                     2):
            net += part
    return net
"""


def test_a_test_comes_by_a_line_when_it_runs_its_statement(tmp_path: Path) -> None:
    found = {}
    for kind in ("net", "all", "other"):
        reach = mutate_reach.ReachNotes(tmp_path, {})
        module: dict[str, Any] = {mutate_reach.CALL: reach.comes_by}
        exec(compile(mutate_reach.marked(BRANCHES, "app/w.py", {3, 4, 5, 7, 8}), "w", "exec"), module)  # noqa: S102 - the code above
        reach.pytest_runtest_setup(SimpleNamespace(nodeid=f"test_{kind}"))
        assert module["grams"](kind, 1) == (4 if kind == "all" else 1)
        assert module["grams"].__doc__ == "Return them."
        found[kind] = {line for (_, line), tests in reach.found.items() if tests == {f"test_{kind}"}}
        reach.pytest_sessionfinish()
    # 1 is the function itself; an elif is asked only where the if was not.
    assert found == {"net": {1, 3, 4}, "all": {1, 3, 5, 7, 8}, "other": {1, 3, 5}}
    assert mutate_reach.reaches(tmp_path)["app/w.py"][5] == {"test_all", "test_other"}


def test_tests_of_the_line_are_asked_first_and_of_them_the_nearest_and_narrowest() -> None:
    near, narrow, wide, other = (
        "tests/science/test_weigh.py::test_a", "tests/web/test_pages.py::test_b", "tests/web/test_pages.py::test_c",
        "tests/science/test_weigh.py::test_d",
    )  # fmt: skip
    place = mutate.Workplace(ROOT)
    place.know({"app/science/weigh.py": {1: {near, narrow, wide}, 2: {other, wide, near}, 3: {wide, near}}})
    assert place.tests_for(Mutation("app/science/weigh.py", 0, "<", "<=", 1)) == [near, narrow, wide, other]
    # A line of the import: those of its own room, and of them the one that reaches most of the file.
    assert place.tests_for(Mutation("app/science/weigh.py", 0, "1", "2", 9)) == [near, other, wide, narrow]


def test_the_kept_changes_have_their_place() -> None:
    kept = mutate.kept_mutations(ROOT)
    assert len({one.what for one in kept}) == len(kept) >= 32
