"""What a maker adds to a recipe: words, equipment, substitutes and pictures."""

import io
from dataclasses import replace
from decimal import Decimal

import pytest
from PIL import Image

from app.science.batch_size import BatchSize
from app.science.composition import Part
from app.science.errors import Invalid
from app.science.formula import Formula, Line, Material, Phase
from app.store.engine import Store
from app.store.errors import Conflict, NotFound
from app.work.form import Faults
from app.work.paper_formula import PaperRequest, asked_formula_at_size
from app.work.pictures import fitted, read_picture
from app.work.recipe import recipe, recipe_of
from app.work.recipe_notes import (
    MOST_PICTURES,
    PictureForm,
    RecipeForm,
    add_picture,
    kept_pictures,
    recipe_form,
    remove_picture,
    save_recipe_notes,
)
from app.work.recipe_substitutes import Substitute, replaceable, substitutes_for
from app.work.rules.predicted_ph import predicted_ph

CREAM = 2
ORIENTATION, MAKER, PLACE = 0x0112, 0x010F, 0x8825


def picture(width: int = 40, height: int = 20, kind: str = "JPEG", mode: str = "RGB", **more: object) -> bytes:
    out = io.BytesIO()
    Image.effect_noise((width, height), 90).convert(mode).save(out, kind, **more)
    return out.getvalue()


def test_a_picture_is_turned_upright_and_says_no_more_where_it_was_taken() -> None:
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = 6, "Camera"
    exif.get_ifd(PLACE)[1] = "N"
    found = read_picture(picture(exif=exif))
    assert (found.width, found.height) == (20, 40)
    with Image.open(io.BytesIO(found.content)) as kept:
        assert kept.format == "JPEG"
        assert dict(kept.getexif()) == {}
        assert b"Camera" not in found.content


def test_a_large_picture_is_made_smaller_and_a_clear_one_lies_on_white() -> None:
    assert read_picture(picture(3200, 800)).width == 1600
    clear = io.BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(clear, "PNG")
    with Image.open(io.BytesIO(read_picture(clear.getvalue()).content)) as kept:
        assert min(band[0] for band in kept.getextrema()) > 250


@pytest.mark.parametrize(
    "data",
    [b"", b"no picture", picture(kind="GIF"), picture()[:200], b"\x89PNG\r\n\x1a\n" + b"0" * 40, b"x" * 8_000_000],
    ids=["empty", "text", "gif", "cut", "broken png", "huge"],
)
def test_what_is_no_picture_is_refused_at_its_field(data: bytes) -> None:
    with pytest.raises(Invalid) as fault:
        read_picture(data)
    assert fault.value.field == "picture"


@pytest.mark.parametrize("room", [150_000, 40_000, 9_000])
def test_a_picture_fits_its_room_and_is_no_smaller_than_needed(room: int) -> None:
    kept = read_picture(picture(1500, 1000)).content
    found = fitted(kept, room)
    assert len(found.content) <= room
    assert found.width / found.height == pytest.approx(1.5, abs=0.02)
    assert fitted(kept, room * 4).width > found.width


def test_words_are_kept_and_stand_on_the_recipe(store: Store, demo: Store) -> None:
    with demo.reading() as session:
        before = recipe_of(session, PaperRequest(CREAM))
        empty = recipe_form(session, CREAM)
    assert "Stick blender" in before.equipment
    typed = RecipeForm(
        words="Silky.\nKeep cool.", equipment="A spoon\n\nA bowl", substitutes="Shea butter: mango butter"
    )
    save_recipe_notes(demo, CREAM, typed, empty.fingerprint)
    with demo.reading() as session:
        found = recipe_of(session, PaperRequest(CREAM))
    assert (found.words, found.equipment) == ("Silky.\nKeep cool.", ("A spoon", "A bowl"))
    assert found.substitutes == ("Shea butter: mango butter",)
    assert replace(found, words="", equipment=before.equipment, substitutes=()) == before
    with pytest.raises(Conflict):
        save_recipe_notes(demo, CREAM, RecipeForm(words="Mine."), empty.fingerprint)
    with pytest.raises(Faults, match="at most 40"):
        save_recipe_notes(demo, CREAM, RecipeForm(equipment="x\n" * 41), typed.fingerprint)
    with pytest.raises(NotFound):
        save_recipe_notes(store, 99, RecipeForm(), empty.fingerprint)


def test_pictures_are_kept_by_content_and_a_form_sent_twice_keeps_one(demo: Store) -> None:
    data = picture()
    assert demo.files is not None
    before = {path for path in demo.files.rglob("*") if path.is_file()}
    first = add_picture(demo, CREAM, PictureForm(alt="A jar"), data, key="k")
    assert add_picture(demo, CREAM, PictureForm(alt="A jar"), data, key="k") == first
    for place in range(1, MOST_PICTURES):
        add_picture(demo, CREAM, PictureForm(alt=f"Jar {place}"), data)
    assert len({path for path in demo.files.rglob("*") if path.is_file()} - before) == 1
    with pytest.raises(Faults, match="at most 4"):
        add_picture(demo, CREAM, PictureForm(alt="One more"), data)
    assert remove_picture(demo, CREAM, first) == "A jar"
    assert [one.alt for one in kept_pictures(demo, CREAM)] == ["Jar 1", "Jar 2", "Jar 3"]
    with pytest.raises(NotFound):
        remove_picture(demo, 1, first + 1)


def test_a_picture_without_words_is_refused_with_the_picture(demo: Store) -> None:
    with pytest.raises(Faults) as wrong:
        add_picture(demo, CREAM, PictureForm(), b"")
    assert set(wrong.value.by_field) == {"alt", "picture"}
    assert kept_pictures(demo, CREAM) == ()


def offered(demo: Store, name: str) -> tuple[Formula, Line, dict[str, Substitute]]:
    with demo.reading() as session:
        formula = asked_formula_at_size(session, PaperRequest(CREAM))
        line = next(one for one in formula.lines if one.name == name)
        return formula, line, {one.name: one for one in substitutes_for(session, formula, line.key)}


def test_a_substitute_does_the_same_work_and_says_what_else_changes(demo: Store) -> None:
    _, line, found = offered(demo, "Citric acid 50 %")
    assert "Malic acid" in found
    assert all("Citric acid" not in name for name in found)
    words = found["Malic acid"].line(line.name)
    assert words.startswith("Citric acid 50 %: Malic acid, the same amount.")
    assert "On the label: Malic Acid instead of Citric Acid." in words


def test_the_ph_that_is_named_is_that_of_the_formula_with_the_substitute(demo: Store) -> None:
    formula, line, found = offered(demo, "Citric acid 50 %")
    malic = Material(0, "Malic acid", (Part("Malic Acid", Decimal(100)),))
    swapped = tuple(
        replace(phase, lines=tuple(replace(x, material=malic) if x.key == line.key else x for x in phase.lines))
        for phase in formula.phases
    )
    bare = replace(formula, target_ph=None)
    before, after = predicted_ph(bare), predicted_ph(replace(bare, phases=swapped))
    assert before is not None
    assert after is not None
    assert f"pH about {after:.1f} instead of {before:.1f}" in " ".join(found["Malic acid"].changes)


def test_a_dose_beyond_what_is_usual_is_said(demo: Store) -> None:
    _, _, found = offered(demo, "Panthenol 75 %")
    assert "Usual up to 0.5 %, so less of it." in found["Allantoin"].changes


def test_water_is_not_replaced(demo: Store) -> None:
    formula, _, _ = offered(demo, "Citric acid 50 %")
    assert "Water, purified" not in {line.name for line in replaceable(formula)}


def made(temperature: str | None, method: str, inci: str = "Aqua", **more: object) -> tuple[str, ...]:
    line = Line("w", Material(1, "M", (Part(inci, Decimal(100)),)), Decimal(100))
    phase = Phase("A", "", None if temperature is None else Decimal(temperature), (method,), (line,))
    return recipe(Formula("F", (phase,), size=BatchSize(Decimal(300)), **more)).equipment  # type: ignore[arg-type]


def test_equipment_follows_from_temperature_method_ph_and_cautions() -> None:
    cold = made(None, "Stir.")
    assert cold == ("Scale that shows 0.1 g", "Beaker or bowl, 600 mL or more (phase A)", cold[-1])
    hot = made("75", "Homogenise for 3 minutes, then sieve.")
    assert {"Heat-proof beaker, 600 mL or more (phase A)", "Water bath", "Thermometer"} <= set(hot)
    assert {"Stick blender", "Fine sieve"} <= set(hot)
    lye = made(None, "Stir.", "Sodium Hydroxide", target_ph=Decimal(5))
    assert {"Goggles, gloves, long sleeves", "pH meter checked the same day, or narrow pH strips"} <= set(lye)
