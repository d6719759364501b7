"""Published formulas from the shelf to the scale: scaled to any size, the weights add up and keep the shares."""

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.science.batch_size import BatchSize
from app.science.errors import Invalid
from app.science.scales import Scale as Readability
from app.science.weighing import weighed_batch
from app.store.engine import Store
from app.store.workshop import Scale
from app.work import equipment
from app.work.equipment import ScaleForm
from app.work.formulas.deeds import create
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.sound import SoundFormula
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.papers import Asked, batch_sheet_of, formula_asked
from app.work.sheets import ALKALI_CAUTION, HOT_CAUTION, BatchSheet, batch_sheet

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
    return max(line.step_g for line in sheet.lines)


@pytest.mark.parametrize("published", PUBLISHED, ids=lambda one: one["id"])
def test_a_published_formula_is_scaled_without_a_gram_lost(store: Store, published: dict[str, Any]) -> None:
    formula_id = put_up(store, published)
    masses = {str(n): Decimal(str(item["mass_g"])) for n, item in enumerate(published["items"])}
    total_g = sum(masses.values())
    for size in SIZES:
        with store.reading() as session:
            sheet = batch_sheet_of(session, Asked(formula_id, size=size, loss="0"))
        assert sum(line.shown_g for line in sheet.lines) == sheet.weighed_g
        assert abs(sheet.weighed_g - sheet.size.net_g) <= HALF * coarsest_g(sheet)
        assert sum(line.target_g for line in sheet.lines) == pytest.approx(sheet.size.net_g, abs=Decimal("1e-6"))
        for line, mass_g in zip(sheet.lines, masses.values(), strict=True):
            # The publication's table gives shares to four places; the part that fills up carries their rounding.
            wanted = sheet.size.net_g * mass_g / total_g
            assert line.target_g == pytest.approx(wanted, abs=sheet.size.net_g * Decimal("6e-6"))
            assert not line.shown_g % line.step_g


@pytest.fixture
def hydrophilic(store: Store) -> SoundFormula:
    """Hydrophilic ointment: parabens of 0.025 and 0.015 % beside a quarter of petrolatum."""
    formula_id = put_up(store, next(one for one in PUBLISHED if one["id"] == "usp-hydrophilic-ointment"))
    with store.reading() as session:
        return formula_asked(session, Asked(formula_id))


def scales(*steps: tuple[str, str]) -> list[Scale]:
    return [Scale(name=step, readability_g=Decimal(step), capacity_g=Decimal(most)) for step, most in steps]


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    net=st.decimals(Decimal("5"), Decimal("4000"), places=3),
    loss=st.decimals(0, 20, places=1),
    steps=st.lists(st.sampled_from(["0.001", "0.01", "0.1", "0.5", "1"]), min_size=1, max_size=3, unique=True),
)
def test_whatever_the_size_each_weight_can_be_read_off_and_they_add_up(
    hydrophilic: SoundFormula, net: Decimal, loss: Decimal, steps: list[str]
) -> None:
    bench = scales(*((step, "9000") for step in steps))
    sheet = batch_sheet(hydrophilic, BatchSize(net), "", loss, bench)
    whole_g = weighed_batch(net, loss, [Readability(one.readability_g, one.capacity_g) for one in bench])
    assert sum(line.shown_g for line in sheet.lines) == sheet.weighed_g
    assert abs(sheet.weighed_g - whole_g) <= HALF * coarsest_g(sheet)
    assert all(line.shown_g >= 0 and not line.shown_g % line.step_g for line in sheet.lines)
    for line in sheet.lines:
        off = 100 * abs(line.shown_g - line.target_g) / line.target_g
        assert off <= 5 or line.advice


def test_what_a_scale_cannot_show_comes_with_a_stock_solution_or_a_batch_that_works(hydrophilic: SoundFormula) -> None:
    sheet = batch_sheet(hydrophilic, BatchSize(Decimal(200)), "200 g", Decimal(0), scales(("1", "3000")))
    marked = {line.line.name: line.advice for line in sheet.lines if line.advice}
    assert {name.split()[1] for name in marked} >= {"Methylparaben", "Propylparaben"}
    assert all("stock" in words or "at least" in words for words in marked.values())


def test_heat_and_alkali_carry_their_cautions(hydrophilic: SoundFormula) -> None:
    phase = hydrophilic.phases[0]
    alkali = replace(phase.lines[0], parts=(replace(phase.lines[0].parts[0], inci="Sodium Hydroxide"),))
    with_alkali = replace(hydrophilic, phases=(replace(phase, lines=(alkali, *phase.lines[1:])),))
    cool = replace(hydrophilic, phases=(replace(phase, temperature_c=Decimal(30)),))
    made = [
        batch_sheet(one, BatchSize(Decimal(500)), "", Decimal(0), scales(("0.01", "3000"))).phases[0].cautions
        for one in (hydrophilic, with_alkali, cool)
    ]
    assert HOT_CAUTION in made[0]
    assert ALKALI_CAUTION not in made[0]
    assert ALKALI_CAUTION in made[1]
    assert HOT_CAUTION not in made[2]


def test_of_two_scales_with_one_step_the_one_that_holds_the_weight_is_named(hydrophilic: SoundFormula) -> None:
    small, large = scales(("0.1", "60"), ("0.1", "3000"))
    small.name, large.name = "small", "large"
    sheet = batch_sheet(hydrophilic, BatchSize(Decimal(500)), "", Decimal(0), [small, large])
    assert {line.scale for line in sheet.lines if line.target_g > 60} == {"large"}


def test_without_a_scale_the_sheet_says_what_is_missing(hydrophilic: SoundFormula) -> None:
    with pytest.raises(Invalid, match="no scale"):
        batch_sheet(hydrophilic, BatchSize(Decimal(500)), "", Decimal(0), [])
