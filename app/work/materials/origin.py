"""Where each value of a material comes from: the shipped library, or entered here."""

from dataclasses import dataclass

from app.reference.material import LibraryMaterial
from app.reference.materials import material as library_material
from app.science.numbers import plain
from app.store.materials import MaterialRow
from app.work.materials.material_form import MaterialForm, from_library

ENTERED = "entered here"
SOURCE_OF = {
    "functions": "functions",
    "form": "form",
    "phase_hint": "phase_hint",
    "dissolves_in": "solubility",
    "density": "density",
    "use_low": "use_low",
    "use_high": "use_high",
    "ph_min": "ph_min",
    "ph_max": "ph_max",
    "max_temp": "max_temp_c",
    "parts": "parts",
}
WORDS = {
    "parts": "Composition",
    "functions": "Functions",
    "form": "Form",
    "phase_hint": "Usual phase",
    "dissolves_in": "Dissolves in",
    "density": "Density",
    "use_low": "Use range, lower end",
    "use_high": "Use range, upper end",
    "ph_min": "pH range, lower end",
    "ph_max": "pH range, upper end",
    "max_temp": "Highest temperature",
}


@dataclass(frozen=True, slots=True)
class Origin:
    """Where one value comes from: the source in words and its standing."""

    label: str
    source: str
    status: str


NOT_GIVEN = ("", (), "any", "unknown")


def origins(material: MaterialRow) -> tuple[Origin, ...]:
    """Return for every value that is given where it comes from: a value changed since it left the library is ours."""
    shipped = library_material(material.library_key) if material.library_key else None
    now = MaterialForm.of(material)
    then = from_library(shipped) if shipped else None
    return tuple(_origin(name, now, then, shipped) for name in WORDS if now.text[name] not in NOT_GIVEN)


def _origin(name: str, now: MaterialForm, then: MaterialForm | None, shipped: LibraryMaterial | None) -> Origin:
    if shipped is None or then is None or now.text[name] != then.text[name]:
        return Origin(WORDS[name], now.text["source"], ENTERED)
    found = shipped.sources.get(SOURCE_OF[name])
    source = found.source if found else "the library names no source"
    if name == "density":
        words = f"{source}{_density_state(shipped)}"
    else:
        words = f"{source}. {shipped.assumption}" if name == "parts" and shipped.assumption else source
    return Origin(WORDS[name], words, found.status.value if found else "")


def _density_state(shipped: LibraryMaterial) -> str:
    value = shipped.density
    if value is None:
        return ""
    at = f"; at {plain(value.temperature_c)} °C" if value.temperature_c is not None else "; temperature not stated"
    spread = f", scatters from {plain(value.low)} to {plain(value.high)}" if value.low and value.high else ""
    return at + spread
