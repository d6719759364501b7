"""Small wrong changes: each makes code that still reads, differs in one place, and is counted by what tests say."""

import ast
from pathlib import Path

import pytest

from app.bootstrap import ROOT
from app.commands import mutate
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


def test_the_same_seed_chooses_the_same_changes_of_the_real_code() -> None:
    first, again = (mutate.sampled(ROOT, 12, 5) for _ in "ab")
    assert first == again != mutate.sampled(ROOT, 12, 6)
    for one in first:
        ast.parse(one.apply((ROOT / one.file).read_text(encoding="utf-8")))


@pytest.mark.parametrize("noticed", [True, False])
def test_a_change_is_noticed_when_a_test_fails_and_the_copy_is_as_before(noticed: bool, tmp_path: Path) -> None:
    (tmp_path / "app").mkdir()
    (tmp_path / "tests").mkdir()
    code = tmp_path / "app" / "weigh.py"
    code.write_text("def fits(g):\n    return g < 3\n", encoding="utf-8")
    test = "import sys; sys.path.insert(0, '.')\nfrom app.weigh import fits\ndef test_it():\n    assert fits(2)\n"
    test += "    assert not fits(3)\n" if noticed else ""
    (tmp_path / "tests" / "test_weigh.py").write_text(test, encoding="utf-8")
    bench = mutate.Workplace(tmp_path, tmp_path)
    bench.reaches = {"app/weigh.py": {2: ["tests/test_weigh.py::test_it"]}}
    before = code.read_text(encoding="utf-8")
    changed = Mutation("app/weigh.py", before.index("<"), "<", "<=", 2)
    assert bench.is_noticed(tmp_path, changed) is noticed
    assert code.read_text(encoding="utf-8") == before


def test_a_line_that_no_test_reaches_is_not_noticed(tmp_path: Path) -> None:
    assert mutate.Workplace(tmp_path, tmp_path).is_noticed(tmp_path, Mutation("app/x.py", 0, "a", "b", 1)) is False


def test_the_kept_changes_have_their_place() -> None:
    kept = mutate.kept_mutations(ROOT)
    assert len({one.what for one in kept}) == len(kept) >= 32
