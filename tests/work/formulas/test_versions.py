"""Versions are kept for good: with the materials of that day, compared line by line, branched, taken up again."""

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import pytest
from sqlalchemy import select

from app.science.errors import Invalid
from app.science.formula import Formula, Material
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.formulas import VersionLine
from app.work.formulas.compare import compare
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import SaveOrigin, create, open_draft, save_draft, undo
from app.work.formulas.faults import IncompleteFormula
from app.work.formulas.resolve import resolve
from app.work.formulas.versions import (
    branch,
    keep_version,
    list_versions,
    origin_of,
    read_version,
    use_version,
    version_numbered,
)
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material, load_material, revise_material

CONTENT = Draft(
    phases=(DraftPhase("p", "Water", "75", "Heat."),),
    lines=(DraftLine("w", "p", "Water", qs=True), DraftLine("g", "p", "Glycerin", None, "5")),
)


@pytest.fixture
def formula(store: Store) -> int:
    for name in ("Water", "Glycerin"):
        add_material(store, MaterialForm(name=name, parts=(PartForm(inci=name, percent="100"),)))
    return create(store, "Cream", content=CONTENT)


def read_back(store: Store, version_id: int) -> Formula:
    with store.reading() as session:
        return read_version(session, version_id)


def change(store: Store, formula_id: int, amount: str) -> None:
    with store.reading() as session:
        there = open_draft(session, formula_id)
    line = replace(there.draft.lines[1], amount=amount)
    save_draft(store, formula_id, there.draft.with_line(line), SaveOrigin(there.row_version, "one"))


def test_a_version_holds_what_the_draft_held(store: Store, formula: int) -> None:
    version_id = keep_version(store, formula, " First try ", "Mara")
    whole = read_back(store, version_id)
    assert [(line.name, line.percent, line.is_remainder) for line in whole.lines] == [
        ("Water", 95, True),
        ("Glycerin", 5, False),
    ]
    assert (whole.version_id, whole.version_number, whole.code) == (version_id, 1, "CRE")
    with store.reading() as session:
        row = list_versions(session, formula)[0]
        lines = list(session.scalars(select(VersionLine.percent).order_by(VersionLine.position)))
    assert (row.number, row.note, row.kept_by, row.batches) == (1, "First try", "Mara", 0)
    assert lines == [95, 5]


def test_a_version_keeps_its_materials_when_the_shelf_changes(store: Store, formula: int) -> None:
    version_id = keep_version(store, formula, "", "")
    material = load_material(store, 2)
    parts = (PartForm(inci="Glycerin", percent="86"), PartForm(inci="Aqua", percent="14"))
    revise_material(store, 2, MaterialForm.of(material).but(name="Glycerin 86 %", parts=parts), material.row_version)
    assert [part.percent for part in read_back(store, version_id).lines[1].parts] == [100]
    assert read_back(store, version_id).lines[1].name == "Glycerin"


def test_what_does_not_add_up_is_not_kept(store: Store, formula: int) -> None:
    change(store, formula, "105")
    with pytest.raises(IncompleteFormula):
        keep_version(store, formula, "", "")


def test_the_same_is_not_kept_twice_and_a_form_makes_one_version(store: Store, formula: int) -> None:
    first = keep_version(store, formula, "", "", key="k")
    assert keep_version(store, formula, "", "", key="k") == first
    with pytest.raises(Invalid, match="Nothing changed since version 1"):
        keep_version(store, formula, "", "")


def test_versions_are_numbered_in_each_formula_and_found_by_number(store: Store, formula: int) -> None:
    keep_version(store, formula, "", "")
    change(store, formula, "6")
    second = keep_version(store, formula, "", "")
    with store.reading() as session:
        assert version_numbered(session, formula, 2) == second
        with pytest.raises(NotFound):
            version_numbered(session, formula, 3)


def test_a_branch_starts_a_formula_of_its_own_and_knows_where_from(store: Store, formula: int) -> None:
    version_id = keep_version(store, formula, "", "")
    branched = branch(store, version_id, "Cream for hands", key="k")
    assert branch(store, version_id, "Cream for hands", key="k") == branched
    with store.reading() as session:
        there, origin = open_draft(session, branched), origin_of(session, branched)
    assert origin
    assert (origin.formula_id, origin.number) == (formula, 1)
    assert (there.name, there.draft.name, there.code) == ("Cream for hands", "Cream for hands", "CFH")
    change(store, branched, "7")
    assert read_back(store, version_id).lines[1].percent == 5


def test_a_version_made_the_draft_again_is_one_step_back(store: Store, formula: int) -> None:
    version_id = keep_version(store, formula, "", "")
    change(store, formula, "6")
    there = use_version(store, formula, version_id, "one")
    assert there.draft.lines[1].amount == "5"
    assert there.undo == "Version 1 made the draft again"
    assert undo(store, formula, "one").draft.lines[1].amount == "6"


def test_a_version_of_another_formula_is_not_taken(store: Store, formula: int) -> None:
    version_id = keep_version(store, formula, "", "")
    with pytest.raises(NotFound):
        use_version(store, create(store, "Other"), version_id, "one")


# -- two formulas side by side


def whole(draft: Draft, shelf: dict[int, Material]) -> Formula:
    return resolve(draft, shelf).complete()


def test_lines_are_compared_with_their_difference(draft: Callable[..., Draft], shelf: dict[int, Material]) -> None:
    left, right = whole(draft((1, None), (2, "5")), shelf), whole(draft((1, None), (2, "4.5")), shelf)
    found = compare(left, right)
    assert [(p.state, p.difference) for p in found.lines] == [("changed", Decimal("0.5")), ("changed", Decimal("-0.5"))]
    assert found.facts == ()
    assert compare(left, left).changed == ()


def test_lines_that_came_went_and_changed_places_are_told(
    draft: Callable[..., Draft], shelf: dict[int, Material]
) -> None:
    left = whole(draft((1, None), (2, "5"), (3, "1"), fill="50 g"), shelf)
    new = (DraftLine("n", "p", "Olive Oil", 4, "2"), DraftLine("other", "p", "Glycerin", 2, "5", note="warm"))
    base = draft((1, None), fill="60 g", batch="1 kg")
    found = compare(left, whole(replace(base, lines=base.lines + new), shelf))
    states = {(p.right or p.left).name: (p.state, p.words) for p in found.lines}  # type: ignore[union-attr]
    assert states["Olive Oil"] == ("new", "new")
    assert states["Xanthan Gum"] == ("gone", "gone")
    assert states["Glycerin"] == ("changed", "note changed")
    assert [(f.words, f.left, f.right) for f in found.facts] == [
        ("Batch size", "500 g", "1 kg"),
        ("Fill", "50 g", "60 g"),
    ]
