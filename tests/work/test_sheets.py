"""Published formulas from the shelf to the scale: scaled to any size, the weights add up and keep the shares."""

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from app.science.batch_size import BatchSize
from app.science.composition import Part
from app.science.errors import Invalid
from app.science.formula import Formula
from app.science.scales import Scale
from app.science.weighing import weighed_batch
from app.store.engine import Store
from app.work import equipment
from app.work.batch_sheet import (
    ALKALI_CAUTION,
    HOT_CAUTION,
    POWDER_CAUTION,
    BatchSheet,
    SheetPhase,
    SheetStep,
    _steps,
    batch_sheet,
    cautions_of,
    loses_water,
)
from app.work.equipment import ScaleForm
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.paper_formula import PaperRequest, batch_sheet_of, formula_asked

PUBLISHED = json.loads((Path(__file__).parents[1] / "data" / "published_formulas.json").read_text())["formulas"]
SCALES = (ScaleForm("Powder scale", "0.001 g", "50 g"), ScaleForm("Bench scale", "0.1 g", "5 kg"))
SIZES = ("250 g", "1 kg", "3.7 kg", "2 lb")
HALF = Decimal("0.5")


def put_up(store: Store, published: dict[str, Any]) -> int:
    """Put a published formula on the shelf and into a draft; its largest part fills up to 100."""
    items = published["items"]
    fills = next((n for n, item in enumerate(items) if item["qs"]), _largest(items))
    for n, item in enumerate(items):
        add_material(store, MaterialForm(name=f"{n} {item['inci']}", parts=(PartForm(item["inci"], "100"),)))
    lines = tuple(
        DraftLine(str(n), "a", f"{n} {item['inci']}", None, "" if n == fills else str(item["percent_w_w"]), n == fills)
        for n, item in enumerate(items)
    )
    draft = Draft(phases=(DraftPhase("a", "All", "75"),), lines=lines, batch="1 kg")
    for scale in SCALES:
        equipment.SCALES.add(store, scale)
    return create(store, published["title"][:80], content=draft)


def _largest(items: list[dict[str, Any]]) -> int:
    return max(range(len(items)), key=lambda n: float(items[n]["percent_w_w"]))


def coarsest_g(sheet: BatchSheet) -> Decimal:
    return max(line.scale.readability_g for line in sheet.lines)


@pytest.mark.parametrize("published", PUBLISHED, ids=lambda one: one["id"])
def test_a_published_formula_is_scaled_without_a_gram_lost(store: Store, published: dict[str, Any]) -> None:
    formula_id = put_up(store, published)
    masses = {str(n): Decimal(str(item["mass_g"])) for n, item in enumerate(published["items"])}
    total_g = sum(masses.values())
    for size in SIZES:
        with store.reading() as session:
            sheet = batch_sheet_of(session, PaperRequest(formula_id, size=size, loss="0"))
        assert sum(line.weigh_g for line in sheet.lines) == sheet.weighed_g
        assert abs(sheet.weighed_g - sheet.size.net_g) <= HALF * coarsest_g(sheet)
        assert sum(line.target_g for line in sheet.lines) == pytest.approx(sheet.size.net_g, abs=Decimal("1e-6"))
        for line, mass_g in zip(sheet.lines, masses.values(), strict=True):
            # The publication's table gives shares to four places; the part that fills up carries their rounding.
            wanted = sheet.size.net_g * mass_g / total_g
            assert line.target_g == pytest.approx(wanted, abs=sheet.size.net_g * Decimal("6e-6"))
            assert not line.weigh_g % line.scale.readability_g


@pytest.fixture
def hydrophilic(store: Store) -> Formula:
    """Hydrophilic ointment: parabens of 0.025 and 0.015 % beside a quarter of petrolatum."""
    formula_id = put_up(store, next(one for one in PUBLISHED if one["id"] == "usp-hydrophilic-ointment"))
    with store.reading() as session:
        return formula_asked(session, PaperRequest(formula_id))


def scales(*steps: tuple[str, str]) -> tuple[Scale, ...]:
    return tuple(Scale(Decimal(step), Decimal(most), step) for step, most in steps)


def sheet(formula: Formula, net_g: str, bench: tuple[Scale, ...], loss: Decimal | None = None) -> BatchSheet:
    size = BatchSize(Decimal(net_g))
    return batch_sheet(replace(formula, size=size, scales=bench, loss_percent=loss or Decimal(0)))


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    net=st.decimals(Decimal("5"), Decimal("4000"), places=3),
    loss=st.decimals(0, 20, places=1),
    steps=st.lists(st.sampled_from(["0.001", "0.01", "0.1", "0.5", "1"]), min_size=1, max_size=3, unique=True),
)
def test_whatever_the_size_each_weight_can_be_read_off_and_they_add_up(
    hydrophilic: Formula, net: Decimal, loss: Decimal, steps: list[str]
) -> None:
    bench = scales(*((step, "9000") for step in steps))
    found = sheet(hydrophilic, str(net), bench, loss)
    assert sum(line.weigh_g for line in found.lines) == found.weighed_g
    assert abs(found.weighed_g - weighed_batch(net, loss, bench)) <= HALF * coarsest_g(found)
    assert all(line.weigh_g >= 0 and not line.weigh_g % line.scale.readability_g for line in found.lines)
    for line in found.lines:
        off = 100 * abs(line.weigh_g - line.target_g) / line.target_g
        assert off <= 5 or line.advice


def test_what_a_scale_cannot_show_comes_with_a_stock_solution_or_a_batch_that_works(hydrophilic: Formula) -> None:
    found = sheet(hydrophilic, "200", scales(("1", "3000")))
    marked = {line.line.name: line.advice.text for line in found.lines if line.advice}
    assert {name.split()[1] for name in marked} >= {"Methylparaben", "Propylparaben"}
    assert all("stock" in words or "at least" in words for words in marked.values())
    # a paraben dissolves in glycols and not in the water of the formula
    assert not any("stock" in words for name, words in marked.items() if "paraben" in name)


def test_heat_and_alkali_carry_their_cautions(hydrophilic: Formula) -> None:
    phase = hydrophilic.phases[0]
    lye = replace(phase.lines[0].material, parts=(replace(phase.lines[0].parts[0], inci="Sodium Hydroxide"),))
    alkali = replace(phase.lines[0], material=lye)
    with_alkali = replace(hydrophilic, phases=(replace(phase, lines=(alkali, *phase.lines[1:])),))
    cool = replace(hydrophilic, phases=(replace(phase, temperature_c=Decimal(30)),))
    made = [sheet(one, "500", scales(("0.01", "3000"))).phases[0].cautions for one in (hydrophilic, with_alkali, cool)]
    assert HOT_CAUTION in made[0]
    assert not any(ALKALI_CAUTION in words for words in made[0])
    assert any(ALKALI_CAUTION in words for words in made[1])
    assert HOT_CAUTION not in made[2]


def test_of_two_scales_with_one_step_the_one_that_holds_the_weight_is_named(hydrophilic: Formula) -> None:
    bench = (Scale(Decimal("0.1"), Decimal(60), "small"), Scale(Decimal("0.1"), Decimal(3000), "large"))
    found = sheet(hydrophilic, "500", bench)
    assert {line.scale.name for line in found.lines if line.target_g > 60} == {"large"}


def test_without_a_scale_a_usual_one_is_assumed(store: Store, hydrophilic: Formula) -> None:
    with store.transaction() as session:
        session.execute(text("DELETE FROM scale"))
    with store.reading() as session:
        found = batch_sheet_of(session, PaperRequest(1))
    assert {(line.scale.readability_g, line.scale.name) for line in found.lines} == {(Decimal("0.01"), "")}


def test_without_a_batch_size_there_is_no_sheet(hydrophilic: Formula) -> None:
    with pytest.raises(Invalid):
        batch_sheet(replace(hydrophilic, size=None))


# Cautions, steps and water, on phases of which only these are known


def stuff(name: str = "Stuff", *parts: tuple[str, str], cautions: str = "", hint: str = "") -> SimpleNamespace:
    made = tuple(Part(inci, Decimal(percent)) for inci, percent in parts or (("Oil", "100"),))
    return SimpleNamespace(name=name, parts=made, cautions=cautions, phase_hint=hint)


def phase_of(*materials: SimpleNamespace, warm: str | None = None) -> Any:
    warmth = None if warm is None else Decimal(warm)
    return SimpleNamespace(lines=[SimpleNamespace(material=one) for one in materials], temperature_c=warmth)


LYE = ("Sodium Hydroxide", "10")
CAUTIONS: dict[str, tuple[Any, list[str]]] = {
    "nothing": (phase_of(stuff()), []),
    "just not hot": (phase_of(stuff(), warm="59.9"), []),
    "hot": (phase_of(stuff(), warm="60"), [HOT_CAUTION]),
    "alkali": (phase_of(stuff("Lye", LYE)), [f"Lye: {ALKALI_CAUTION}"]),
    "potash": (phase_of(stuff("Lye", ("potassium hydroxide", "1"))), [f"Lye: {ALKALI_CAUTION}"]),
    "alkali before heat, its own words after": (
        phase_of(stuff("Acid", cautions="It stings."), stuff("Lye", LYE), warm="70"),
        [f"Lye: {ALKALI_CAUTION}", HOT_CAUTION, "Acid: It stings."],
    ),
    "heat before what a material says of itself": (
        phase_of(stuff("Acid", cautions="It stings."), warm="70"), [HOT_CAUTION, "Acid: It stings."],
    ),
    "its own words on alkali are not repeated": (
        phase_of(stuff("Lye", LYE, cautions="Strong ALKALI, wear gloves.\n\n Cool it  first.")),
        [f"Lye: {ALKALI_CAUTION}", "Lye: Cool it first."],
    ),
    "powder": (phase_of(stuff("Dust", hint="powder")), [f"Dust: {POWDER_CAUTION}"]),
    "its own words on powder are enough": (
        phase_of(stuff("Dust", hint="powder", cautions="A fine powder.")), ["Dust: A fine powder."],
    ),
    "one caution of two materials": (
        phase_of(stuff("Dust", hint="powder"), stuff("Clay", hint="powder"), stuff("Dust", hint="powder")),
        [f"Dust, Clay: {POWDER_CAUTION}"],
    ),
}  # fmt: skip


def test_a_line_names_the_steps_that_name_it() -> None:
    steps = (SheetStep(3, "Melt it.", ("oil", "wax")), SheetStep(4, "Stir.", ()), SheetStep(5, "Add oil.", ("oil",)))
    found = SheetPhase(phase_of(), (), (), steps)
    assert [found.steps_of(key) for key in ("oil", "wax", "water")] == [(3, 5), (3,), ()]


@pytest.mark.parametrize(("phase", "told"), CAUTIONS.values(), ids=CAUTIONS)
def test_a_phase_carries_the_caution_of_each_material_once(phase: Any, told: list[str]) -> None:
    assert list(cautions_of(phase)) == told


@pytest.mark.parametrize(
    ("warm", "water", "loses"), [("40", "95", True), ("39.9", "95", False), ("40", "94.9", False), (None, "100", False)]
)
def test_a_warm_phase_with_water_loses_some(warm: str | None, water: str, loses: bool) -> None:
    phases = (phase_of(stuff(), warm="90"), phase_of(stuff("Water", ("Aqua", water), ("Salt", "1")), warm=warm))
    assert loses_water(SimpleNamespace(phases=phases)) is loses  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("words", "named"),
    [
        ("Add the shea butter.", ["Shea butter"]),
        ("Sprinkle in the xanthan.", ["Xanthan gum"]),
        ("Stir the waxes.", []),  # two begin with wax
        ("Melt wax, bees.", ["Wax, bees"]),
        ("Melt the sheas.", ["Shea butter"]),
        ("Fasten it.", []),
        ("Add PG.", []),  # too short to be a name
        ("Cool.", []),
    ],
)
def test_a_step_names_a_line_by_its_name_or_by_a_first_word_that_is_alone(words: str, named: list[str]) -> None:
    lines = [SimpleNamespace(key=name, name=name) for name in
             ("Shea butter", "Xanthan gum", "Wax, bees", "Wax, rice", "Fast oil", "PG mix")]  # fmt: skip
    steps = _steps(SimpleNamespace(method=("First.", words)), lines, 4)  # type: ignore[arg-type]
    assert [(step.number, step.words) for step in steps] == [(4, "First."), (5, words)]
    assert list(steps[1].lines) == named
