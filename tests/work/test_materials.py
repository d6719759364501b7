from decimal import Decimal

import pytest
from sqlalchemy import event, func, select, text

from app.science.composition import Part
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.store.formulas import DraftMaterial, FormulaRow
from app.store.materials import MaterialPart, MaterialRow, PartAllergen
from app.work.clock import now
from app.work.form import Faults
from app.work.materials import shelf
from app.work.materials.composition import remarks
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.origin import ENTERED, origins
from app.work.materials.prices import PriceForm, add_price

D = Decimal

EXTRACT = MaterialForm(
    name="Calendula extract",
    form="liquid",
    phase_hint="cool-down",
    functions="skin conditioning",
    density="1,18",
    use_low="1",
    use_high="5",
    ph_min="4",
    ph_max="7.5",
    max_temp="40",
    source="data sheet of March",
    parts=(
        PartForm("Glycerin", "60-80", "56-81-5"),
        PartForm("Aqua", "27.5", "7732-18-5"),
        PartForm(),
        PartForm("Parfum", "2.5", kind="perfume", allergens="Limonene 4.2\nLinalool\t1,1 %", source="certificate"),
    ),
)


def faults_of(typed: MaterialForm) -> dict[str, str]:
    with pytest.raises(Faults) as refused:
        typed.checked()
    return {fault.field: fault.message for fault in refused.value.faults}


def test_a_material_is_kept_as_it_was_typed(store: Store) -> None:
    stored = shelf.load_material(store, shelf.add_material(store, EXTRACT))
    assert stored.density_g_ml == D("1.18")
    assert (stored.use_low, stored.use_high, stored.ph_max, stored.max_temp_c) == (D(1), D(5), D("7.5"), D(40))
    assert [(p.inci, p.percent, p.low, p.high) for p in stored.parts] == [
        ("Glycerin", D(70), D(60), D(80)),
        ("Aqua", D("27.5"), None, None),
        ("Parfum", D("2.5"), None, None),
    ]
    assert [(a.inci, a.percent) for a in stored.parts[2].allergens] == [("Limonene", D("4.2")), ("Linalool", D("1.1"))]


def test_everything_that_is_wrong_is_told_at_once_at_its_field() -> None:
    rows = (PartForm("", "5"), PartForm("Aqua", "nan"), PartForm("Glycerin", "-1"), PartForm("Mel", "5", kind="x"))
    rows += (PartForm("Parfum", "5", allergens="Limonene"),)
    own = {"name": " ", "density": "1180", "use_low": "5", "use_high": "1", "ph_min": "abc", "max_temp": "1e400"}
    wrong = EXTRACT.but(**own, form="gas", parts=rows)
    found = faults_of(wrong)
    assert found.keys() == {
        "name", "density", "use_high", "ph_min", "max_temp", "form", "part-0-inci", "part-1-percent", "part-2-percent",
        "part-3-kind", "part-4-allergens",
    }  # fmt: skip
    assert "1000 kg/m³" in found["density"]
    assert "Line 1" in found["part-4-allergens"]


def test_a_composition_over_100_is_refused_with_the_figure() -> None:
    found = faults_of(EXTRACT.but(parts=(PartForm("Aqua", "60"), PartForm("Glycerin", "41,5"))))
    assert found == {"part-1-percent": "The rows add up to 101.5 %; take 1.5 away."}


def test_a_material_needs_an_inci_name() -> None:
    assert "INCI name" in faults_of(EXTRACT.but(parts=(PartForm(),)))["part-0-inci"]


def test_a_single_substance_counts_as_100() -> None:
    form = MaterialForm(name="Glycerin", parts=(PartForm("Glycerin"),)).checked()
    assert form.parts[0].part.percent == 100


def test_a_slip_in_a_cas_number_is_a_caution_and_is_kept(store: Store) -> None:
    typed = MaterialForm(name="Glycerin", parts=(PartForm("Glycerin", "99", "56-81-6"),))
    stored = shelf.load_material(store, shelf.add_material(store, typed))
    assert stored.parts[0].cas == "56-81-6"
    told = remarks(tuple(row.part for row in typed.checked().parts))
    assert [words.split(" ")[0] for words in told] == ["The", "1"]
    assert "check digit of CAS 56-81-6" in told[0]
    assert told[1].startswith("1 % of this material is not accounted for")


def test_an_unknown_inci_name_is_worth_a_second_look() -> None:
    told = remarks(tuple(r.part for r in MaterialForm("x", parts=(PartForm("Glicerinum"),)).checked().parts))
    assert any("Glicerinum is not in the list" in words for words in told)
    (told,) = remarks([Part("Potasium Sorbate", Decimal(100))])
    assert "did you mean Potassium Sorbate?" in told


def test_a_caustic_material_entered_without_cautions_gets_the_usual_one(store: Store) -> None:
    typed = MaterialForm(name="Lye 30 %", parts=(PartForm("Sodium Hydroxide", "30"), PartForm("Aqua", "70")))
    cautions = shelf.load_material(store, shelf.add_material(store, typed)).cautions
    assert "never water onto the alkali" in cautions


def test_the_same_form_taken_twice_makes_one_material(store: Store) -> None:
    first = shelf.add_material(store, EXTRACT, "a key")
    assert shelf.add_material(store, EXTRACT.but(name="Another"), "a key") == first
    with store.reading() as session:
        assert session.scalar(select(func.count(MaterialRow.id))) == 1


def test_two_live_materials_cannot_have_one_name_in_any_case(store: Store) -> None:
    shelf.add_material(store, EXTRACT)
    with pytest.raises(Faults, match="already a material named"):
        shelf.add_material(store, EXTRACT.but(name="calendula  EXTRACT"))


def test_editing_replaces_the_composition_and_leaves_nothing_behind(store: Store) -> None:
    material_id = shelf.add_material(store, EXTRACT)
    stored = shelf.load_material(store, material_id)
    fewer = EXTRACT.but(parts=(PartForm("Aqua", "100"),))
    shelf.revise_material(store, material_id, fewer, stored.row_version)
    with store.reading() as session:
        assert session.scalar(select(func.count(MaterialPart.id))) == 1
        assert session.scalar(select(func.count(PartAllergen.id))) == 0


def test_a_change_of_the_composition_alone_makes_an_older_form_stale(store: Store) -> None:
    material_id = shelf.add_material(store, EXTRACT)
    seen = shelf.load_material(store, material_id).row_version
    shelf.revise_material(store, material_id, EXTRACT.but(parts=(PartForm("Aqua", "99"),)), seen)
    with pytest.raises(Conflict):
        shelf.revise_material(store, material_id, EXTRACT.but(notes="mine"), seen)
    assert shelf.load_material(store, material_id).notes == ""


def test_line_ends_of_a_form_are_no_difference() -> None:
    sent = EXTRACT.text["parts"][3].but(allergens="Limonene 4.2\r\nLinalool\t1,1 %\r\n")
    assert EXTRACT.but(parts=(*EXTRACT.text["parts"][:3], sent)).differences(EXTRACT) == ()


def test_the_differences_between_two_edits_are_named() -> None:
    theirs = EXTRACT.but(notes="theirs", parts=EXTRACT.text["parts"][:2])
    assert [d.label for d in EXTRACT.differences(theirs)] == ["Notes", "Composition"]
    assert EXTRACT.differences(EXTRACT.but(notes=" ")) == ()


def test_a_material_of_a_formula_can_be_retired_but_not_deleted(store: Store) -> None:
    material_id = shelf.add_material(store, EXTRACT)
    with store.transaction() as session:
        session.add(FormulaRow(id=1, code="HC1", name="Hand cream", created_at=now(), changed_at=now()))
        session.flush()
        session.add(DraftMaterial(formula_id=1, material_id=material_id))
    use = shelf.load_use(store, material_id)
    assert [(one.code, one.in_draft) for one in use.formulas] == [("HC1", True)]
    with pytest.raises(Conflict, match="only be retired"):
        shelf.delete_unused(store, material_id)
    shelf.retire(store, material_id)
    assert shelf.load_material(store, material_id).retired_at is not None


def test_an_unused_material_goes_with_its_prices(store: Store) -> None:
    material_id = shelf.add_material(store, EXTRACT)
    add_price(store, material_id, PriceForm("12.40", "8 oz"))
    assert shelf.load_use(store, material_id).prices == 1
    assert shelf.delete_unused(store, material_id) == "Calendula extract"
    with store.reading() as session:
        left = [session.scalar(text(f"SELECT count(*) FROM {t}")) for t in ("material", "material_part", "price")]  # noqa: S608
    assert left == [0, 0, 0]
    with pytest.raises(NotFound):
        shelf.load_material(store, material_id)


def test_a_retired_name_is_free_and_then_keeps_the_old_one_away(store: Store) -> None:
    first = shelf.add_material(store, EXTRACT)
    shelf.retire(store, first)
    second = shelf.add_material(store, EXTRACT)
    with pytest.raises(Faults):
        shelf.bring_back(store, first)
    shelf.retire(store, second)
    shelf.bring_back(store, first)
    assert shelf.load_material(store, first).retired_at is None


def test_a_library_row_is_put_on_the_shelf_once(store: Store) -> None:
    first = shelf.put_on_shelf(store, "glycerin")
    assert shelf.put_on_shelf(store, "glycerin") == first
    with pytest.raises(NotFound):
        shelf.put_on_shelf(store, "no-such-row")


def test_a_value_keeps_its_library_source_until_it_is_changed(store: Store) -> None:
    material_id = shelf.put_on_shelf(store, "glycerin")
    stored = shelf.load_material(store, material_id)
    before = {origin.label: origin for origin in origins(stored)}
    assert ENTERED not in {origin.status for origin in before.values()}
    assert before["Use range, upper end"].status == "common practice"
    assert "°C" in before["Density"].source
    shelf.revise_material(store, material_id, MaterialForm.of(stored).but(use_high="20"), stored.row_version)
    after = {origin.label: origin for origin in origins(shelf.load_material(store, material_id))}
    changed = {label for label in after if after[label] != before[label]}
    assert changed == {"Use range, upper end"}
    assert after["Use range, upper end"].status == ENTERED


def snapshot(store: Store) -> list[list[tuple[object, ...]]]:
    tables = ("material", "material_part", "part_allergen", "price", "form_key")
    with store.reading() as session:
        return [list(map(tuple, session.execute(text(f"SELECT * FROM {t} ORDER BY 1")))) for t in tables]  # noqa: S608


@pytest.mark.parametrize("action", ["add", "revise"])
def test_a_failure_at_any_write_leaves_everything_as_it_was(store: Store, action: str) -> None:
    material_id = shelf.add_material(store, EXTRACT)
    seen = shelf.load_material(store, material_id).row_version
    before, failures = snapshot(store), 0
    while True:
        stop = FailAt(failures + 1)
        event.listen(store.engine, "before_cursor_execute", stop)
        try:
            if action == "add":
                shelf.add_material(store, EXTRACT.but(name="Another"), "key")
            else:
                shelf.revise_material(store, material_id, EXTRACT.but(notes="new"), seen)
            break
        except RuntimeError:
            failures += 1
        finally:
            event.remove(store.engine, "before_cursor_execute", stop)
        assert snapshot(store) == before
    assert failures >= 4


class FailAt:
    """Raises at the nth writing statement."""

    def __init__(self, number: int) -> None:
        self.left = number

    def __call__(self, _connection: object, _cursor: object, statement: str, *_rest: object) -> None:
        if statement.startswith(("INSERT", "UPDATE", "DELETE")):
            self.left -= 1
            if self.left == 0:
                raise RuntimeError("the disk went away")
