"""Materials made from the rows of the substance table: the grade that a maker usually buys."""

from collections.abc import Mapping
from decimal import Decimal
from functools import cache

from app.reference.blends import Blend, blends
from app.reference.cautions import CautionSubject, cautions_for
from app.reference.densities import DensityValue, grade_densities
from app.reference.library import Substance, substances
from app.reference.material import LibraryMaterial, dissolved, kind_of, known, named_parts, nearest_room, slug, titled
from app.reference.physical_forms import form_of, phase_of
from app.reference.provenance import PRACTICE
from app.science.composition import Part
from app.science.names import inci_key

_SAME_GRADE = Decimal(2)

NOT_ONE_GRADE: Mapping[str, str] = {
    "HYDROGEN PEROXIDE": "the row covers 3 to 35 %, which are different materials; the 3 % solution is listed instead"
}

_DRY_GRADES: Mapping[str, str] = {
    "SODIUM LAURYL SULFATE": "the rest is sodium sulfate, fatty alcohol and water",
    "SODIUM COCO-SULFATE": "the rest is sodium sulfate, fatty alcohol and water",
    "SODIUM COCOYL ISETHIONATE": "the rest is mainly fatty acid and sodium isethionate",
    "SODIUM LAURYL SULFOACETATE": "the rest is mainly sodium chloride and sodium sulfate",
}

_EXTRACT = (
    "Counted as the extract alone. Many are sold in glycerin, glycol, water or oil: put in the supplier's composition."
)
_AROMA = "Its allergens are not broken down here: take them from the supplier's certificate."
_STRENGTH = "The strength as supplied is not known, so all of it is counted as {inci}: put in the supplier's figures."
_UNKNOWN_STRENGTH = ("AMODIMETHICONE", "HYDROLYZED SILK", "RETINOL", "METHYLISOTHIAZOLINONE", "ALCOHOL DENAT.")
_BY_GROUP: Mapping[str, str] = {"extracts and hydrosols": _EXTRACT, "essential oils and fragrance": _AROMA}


def from_substance(substance: Substance) -> LibraryMaterial:
    """Make a material of the grade that the row of a substance describes."""
    blend, active = grade_blend(substance), substance.active_matter_pct
    if blend:
        parts = named_parts(blend.parts)
    elif active is None or inci_key(substance.inci) in _DRY_GRADES:
        parts = (Part(substance.inci, Decimal(100), kind=kind_of(substance), cas=substance.cas),)
    else:
        parts = dissolved(substance.inci, active)
    density = _shelf_density(substance)
    own = {name: value for name, value in substance.sources.items() if name not in ("density_g_ml", "phase_hint")}
    own["parts"] = blend.provenance if blend else substance.sources.get("active_matter_pct", substance.sources["inci"])
    own |= {"form": PRACTICE, "phase_hint": PRACTICE}
    name = titled(substance.common_name)
    return LibraryMaterial(
        key=slug(substance.inci),
        name=f"{name} ({substance.inci})" if substance.group == "colourants" else name,
        aliases=(blend.name,) if blend else (),
        parts=parts,
        assumption="" if blend else _assumption(substance),
        group=substance.group,
        form=form_of(substance),
        phase_hint=phase_of(substance),
        functions=substance.functions + substance.functions_other,
        use_low=substance.use_low,
        use_high=substance.use_high,
        ph_min=substance.ph_min,
        ph_max=substance.ph_max,
        max_temp_c=substance.max_temp_c,
        density=density,
        cautions=cautions_for(CautionSubject(parts, known(parts), form_of(substance))),
        notes="; ".join(filter(None, (substance.notes, blend.notes if blend else ""))),
        sources=own | ({"density": density.provenance} if density else {}),
    )


def _assumption(substance: Substance) -> str:
    key, active = inci_key(substance.inci), substance.active_matter_pct
    if key in _DRY_GRADES:
        return f"About {active} % {substance.inci}; {_DRY_GRADES[key]}. All of it is counted as {substance.inci}."
    if active is not None:
        return f"The remaining {100 - active} % is counted as water; a supplier may add salts or a preservative."
    if key in _UNKNOWN_STRENGTH:
        return _STRENGTH.format(inci=substance.inci)
    return _BY_GROUP.get(substance.group, "")


def _shelf_density(substance: Substance) -> DensityValue | None:
    """Prefer a measured row of the same grade; a stated value without a row stands with unknown temperature."""
    stated = substance.density_g_ml
    if stated is None:
        return None
    same = [v for v in grade_densities(substance.inci) if abs(v.g_ml - stated) <= stated / 100]
    if same:
        return nearest_room(same)
    source = substance.sources["density_g_ml"]
    return DensityValue(
        substance.inci, substance.common_name, substance.active_matter_pct, stated, None, None, None, source
    )


def grade_blend(substance: Substance) -> Blend | None:
    """Find the blend that describes the same grade as the row of a substance with a stated active matter."""
    return _grade_blends().get(inci_key(substance.inci))


@cache
def _grade_blends() -> Mapping[str, Blend]:
    pairs = ((merged_into(blend), blend) for blend in blends().values())
    return {inci_key(substance.inci): blend for substance, blend in pairs if substance is not None}


def merged_into(blend: Blend) -> Substance | None:
    """Find the substance whose usual grade a blend describes: mainly that substance, dissolved in water."""
    main = max((p for p in blend.parts if p.inci != "Aqua"), key=lambda p: p.percent)
    others = sum(p.percent for p in blend.parts if p.inci not in ("Aqua", main.inci))
    substance = substances().get(inci_key(main.inci))
    if substance is None or substance.active_matter_pct is None or others > main.percent / 4:
        return None
    return substance if abs(substance.active_matter_pct - main.percent) <= _SAME_GRADE else None
