"""The shipped materials: every sound row stands on the shelf once, whole, with its cautions and its sources."""

from collections import Counter
from decimal import Decimal

import pytest

from app.reference.blends import blends
from app.reference.library import substances
from app.reference.materials import LibraryMaterial, left_out, library_materials, material
from app.reference.provenance import Status
from app.science.composition import Part, PartKind

ALL = library_materials()


def named(key: str) -> LibraryMaterial:
    found = material(key)
    assert found is not None
    return found


def shares(key: str) -> dict[str, Decimal]:
    return {part.inci: part.percent for part in named(key).parts}


def test_keys_and_names_are_unique() -> None:
    assert len({m.key for m in ALL}) == len({m.name.lower() for m in ALL}) == len(ALL) == 504


def test_every_row_is_a_material_or_is_left_out_with_a_reason() -> None:
    out = Counter(row.table for row in left_out())
    assert out == {"ingredients": 1, "blends": 10, "densities": 2}
    assert all(row.reason for row in left_out())
    names = {n.lower() for m in ALL for n in (m.name, *m.aliases)}
    gone = {row.name.lower() for row in left_out()}
    assert [b for b in blends() if b.lower() not in names | gone] == []
    assert {s.inci for s in substances().values()} <= {i for m in ALL for i in m.inci_names}


@pytest.mark.parametrize("m", ALL, ids=lambda m: m.key)
def test_a_material_is_whole(m: LibraryMaterial) -> None:
    assert sum(part.percent for part in m.parts) == 100
    assert all(part.percent > 0 for part in m.parts)
    assert m.form in ("liquid", "solid", "powder")
    assert m.phase_hint in ("water", "oil", "cool-down", "powder", "adjuster")
    assert (m.use_low or 0) <= (m.use_high or 100)
    assert (m.ph_min or 0) < (m.ph_max or 14)
    assert all(p.source and p.status in Status for p in m.sources.values())
    given = ("use_low", "use_high", "ph_min", "ph_max", "max_temp_c", "density", "parts", "form", "phase_hint")
    assert [name for name in given if getattr(m, name) is not None and name not in m.sources] == []


def test_a_solution_is_active_matter_and_water_with_the_assumption_said() -> None:
    assert shares("ammonium-lauryl-sulfate") == {"Ammonium Lauryl Sulfate": 28, "Aqua": 72}
    assert "72" in named("ammonium-lauryl-sulfate").assumption


def test_a_dry_grade_is_not_diluted_with_water() -> None:
    assert shares("sodium-cocoyl-isethionate") == {"Sodium Cocoyl Isethionate": 100}
    assert "88.5" in named("sodium-cocoyl-isethionate").assumption


def test_a_blend_of_the_same_grade_gives_its_composition() -> None:
    betaine = named("cocamidopropyl-betaine")
    assert shares("cocamidopropyl-betaine")["Sodium Chloride"] == Decimal("5.5")
    assert betaine.aliases == ("cocamidopropyl betaine 30 %",)
    assert betaine.use_high == 40


def test_strong_alcohol_holds_its_water() -> None:
    assert shares("alcohol") == {"Alcohol": Decimal("93.9"), "Aqua": Decimal("6.1")}


def test_parts_keep_the_range_of_the_supplier() -> None:
    first = named("phenoxyethanol-ethylhexylglycerin").parts[0]
    assert (first.low, first.percent, first.high, first.cas) == (88, 90, 92, "122-99-6")


def test_colourants_and_perfume_are_told_apart() -> None:
    kinds = {m.key: m.parts[0].kind for m in ALL}
    assert kinds["ci-77947"] is PartKind.COLOURANT
    assert kinds["zinc-oxide"] is PartKind.INGREDIENT
    assert kinds["parfum"] is PartKind.PERFUME
    assert {m.group for m in ALL if m.parts[0].kind is PartKind.COLOURANT} == {"colourants"}


@pytest.mark.parametrize(
    ("key", "word"),
    [
        ("sodium-hydroxide", "into cold water, never water onto"),
        ("naoh-50-w-w-solution", "goggles"),
        ("phosphoric-acid", "acid into water"),
        ("alcohol", "Flammable"),
        ("isododecane", "Flammable"),
        ("silica", "dust mask"),
        ("titanium-dioxide", "dust mask"),
        ("carbomer", "dust mask"),
        ("phenoxyethanol-ethylhexylglycerin", "Preservative concentrate"),
        ("mci-mi-3-1-solution-1-5", "sensitiser"),
        ("dmdm-hydantoin", "formaldehyde"),
        ("lavandula-angustifolia-oil", "sensitise"),
        ("citrus-aurantium-bergamia-peel-oil", "sunlight"),
        ("cera-alba", "water bath"),
        ("hydrolyzed-wheat-protein", "wheat"),
        ("prunus-amygdalus-dulcis-oil", "nuts"),
        ("salicylic-acid", "above the EU cap"),
        ("phenoxyethanol-parabens-mix", "Isobutylparaben"),
    ],
)
def test_a_material_that_can_hurt_says_so(key: str, word: str) -> None:
    assert any(word in caution.text for caution in named(key).cautions)


def test_no_caution_calls_anything_safe_and_plain_water_has_none() -> None:
    assert not any("safe " in c.text or c.text.endswith("safe.") for m in ALL for c in m.cautions)
    assert named("aqua").cautions == ()
    assert not any("Corrosive" in c.text for c in named("triethanolamine-10-solution").cautions)


def test_what_washes_irritates_the_eyes_and_a_conditioning_polymer_does_not() -> None:
    """Suppliers' sheets call concentrated alkyl polyglucosides H318, and none a cationic guar (common practice)."""

    def dry_percent(part: Part) -> Decimal:
        return Decimal(0) if part.inci == "Aqua" else part.percent

    def warned(inci: str) -> set[bool]:
        found = (m for m in ALL if m.parts and max(m.parts, key=dry_percent).inci == inci)
        return {any("Concentrated surfactant" in c.text for c in m.cautions) for m in found}

    for washing in ("Sodium Coco-Sulfate", "Decyl Glucoside", "Potassium Cocoate"):
        assert True in warned(washing), washing
    for other in ("Guar Hydroxypropyltrimonium Chloride", "Polyquaternium-10"):
        assert warned(other) == {False}, other


def test_every_caution_has_a_source() -> None:
    statuses = {c.provenance.status for m in ALL for c in m.cautions}
    assert statuses == {Status.COMMON_PRACTICE, Status.VERIFIED, Status.FROM_MEMORY}


@pytest.mark.parametrize(
    ("key", "g_ml", "temperature"),
    [
        ("glycerin", "1.2613", 20),
        ("cocos-nucifera-oil", "0.913", 40),
        ("alcohol", "0.8074", 20),
        ("sles-70", "1.06", 20),
    ],
)
def test_a_material_takes_the_density_of_its_own_grade(key: str, g_ml: str, temperature: int) -> None:
    density = named(key).density
    assert density is not None
    assert (density.g_ml, density.temperature_c) == (Decimal(g_ml), temperature)


@pytest.mark.parametrize("key", ["citric-acid", "sodium-hydroxide", "triethanolamine-10-solution", "xanthan-gum"])
def test_a_density_of_another_grade_is_not_borrowed(key: str) -> None:
    assert named(key).density is None


def test_an_unknown_key_finds_nothing() -> None:
    assert material("no-such-key") is None
