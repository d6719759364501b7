"""Materials made from the shipped blends: typical parts, and limits from their stated use or from the parts."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from app.reference.blends import Blend, BlendUse, blend_aliases, blend_names, blend_uses
from app.reference.cautions import CautionSubject, cautions_for
from app.reference.densities import DensityValue, densities, grade_densities
from app.reference.library import Substance, substances
from app.reference.material import LibraryMaterial, known, named_parts, nearest_room, slug, titled
from app.reference.physical_forms import form_of, phase_of
from app.reference.provenance import Provenance, Status
from app.science.composition import Part
from app.science.names import inci_key

_DERIVED = Provenance("the narrowest limit of its parts", Status.COMMON_PRACTICE)
_NEARLY_ALL = Decimal(98)
_BOUGHT_FOR = ("preservatives", "actives", "extracts and hydrosols", "antioxidants and chelators")
_BY_PARTS = Provenance("follows from its parts", Status.COMPUTED)


@dataclass(frozen=True, slots=True)
class _Limits:
    """Use range, pH window and highest temperature of a material, with their sources."""

    use_low: Decimal | None = None
    use_high: Decimal | None = None
    ph_min: Decimal | None = None
    ph_max: Decimal | None = None
    max_temp_c: Decimal | None = None
    sources: Mapping[str, Provenance] = field(default_factory=dict)


def from_blend(blend: Blend) -> LibraryMaterial:
    """Make a material of a blend; what the table does not state follows from its parts."""
    parts = named_parts(blend.parts)
    subjects = known(parts)
    # What a blend is bought for: what protects or acts if there is 2 % of it, else the most.
    dry = _dry(parts)
    named = [pair for pair in dry if pair[1].group in _BOUGHT_FOR and pair[0] >= 2]
    main = max(named or dry, key=lambda pair: pair[0], default=(None, None))[1]
    limits = _blend_limits(parts, blend_uses().get(blend.name))
    density = nearest_room(_blend_densities(blend))
    form, watery = _blend_form(parts), _water(parts) >= 30
    phase = "cool-down" if main is None or main.group == "preservatives" else phase_of(main)
    if phase == "oil" and watery:
        phase = "cool-down"
    if phase == "powder" and form == "liquid":
        phase = "water" if watery else "oil"
    common = {"parts": blend.provenance, "functions": _BY_PARTS, "form": _BY_PARTS, "phase_hint": _BY_PARTS}
    worth = (s for percent, s in _dry(parts) if percent >= 3)
    return LibraryMaterial(
        key=slug(blend.name),
        name=titled(blend.name),
        aliases=tuple(alias for alias, meant in blend_aliases().items() if meant == blend.name),
        parts=parts,
        assumption="Typical composition; put in the supplier's figures when you have them.",
        group=main.group if main else "",
        form=form,
        phase_hint=phase,
        functions=tuple(dict.fromkeys(name for s in worth for name in s.functions + s.functions_other)),
        use_low=limits.use_low,
        use_high=limits.use_high,
        ph_min=limits.ph_min,
        ph_max=limits.ph_max,
        max_temp_c=limits.max_temp_c,
        density=density,
        cautions=cautions_for(CautionSubject(parts, subjects, form)),
        notes=blend.notes,
        sources={**common, **limits.sources, **({"density": density.provenance} if density else {})},
    )


def _blend_densities(blend: Blend) -> list[DensityValue]:
    """Find densities of the very mixture, or of a solution as strong as the blend in its one main substance."""
    names = blend_names(blend)
    if len(names) > 1:
        together = [v for key, vs in densities().items() if frozenset(key.split(" (AND) ")) == names for v in vs]
        if together:
            return together
    main = max((p for p in blend.parts if p.inci != "Aqua"), key=lambda p: p.percent)
    strong = [v for v in grade_densities(main.inci, main.percent) if v.strength_percent is not None]
    return strong if main.percent + _water(blend.parts) >= _NEARLY_ALL else []


def _dry(parts: Iterable[Part]) -> list[tuple[Decimal, Substance]]:
    pairs = ((part.percent, substances().get(inci_key(part.inci))) for part in parts if part.inci != "Aqua")
    return [(percent, substance) for percent, substance in pairs if substance is not None]


def _water(parts: Iterable[Part]) -> Decimal:
    return sum((part.percent for part in parts if part.inci == "Aqua"), Decimal(0))


def _blend_form(parts: tuple[Part, ...]) -> str:
    dry = _dry(parts)
    liquid = sum((percent for percent, s in dry if form_of(s) == "liquid"), _water(parts))
    if liquid >= 40:
        return "liquid"
    return form_of(max(dry, key=lambda pair: pair[0])[1])


def _blend_limits(parts: tuple[Part, ...], use: BlendUse | None) -> _Limits:
    subjects = [s for percent, s in _dry(parts) if percent >= 1]
    low = max((s.ph_min for s in subjects if s.ph_min is not None), default=None)
    high = min((s.ph_max for s in subjects if s.ph_max is not None), default=None)
    if low is None or high is None or low >= high:
        low = high = None
    temp = min((s.max_temp_c for s in subjects if s.max_temp_c is not None), default=None)
    given = {"ph_min": low, "ph_max": high, "max_temp_c": temp}
    derived = _Limits(None, None, low, high, temp, {k: _DERIVED for k, v in given.items() if v is not None})
    if use is None:
        return derived
    pairs = {"use_low": use.use_provenance, "use_high": use.use_provenance}
    pairs |= {"ph_min": use.ph_provenance, "ph_max": use.ph_provenance}
    stated = {name: source for name, source in pairs.items() if source is not None}
    return _Limits(
        use_low=use.use_low,
        use_high=use.use_high,
        ph_min=use.ph_min if use.ph_provenance else derived.ph_min,
        ph_max=use.ph_max if use.ph_provenance else derived.ph_max,
        max_temp_c=use.max_temp_c if use.max_temp_c is not None else derived.max_temp_c,
        sources=dict(derived.sources) | stated,
    )
