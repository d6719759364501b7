"""A material exactly as typed: every field is text, so that nothing typed is ever lost."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from app.reference.material import LibraryMaterial
from app.science.composition import AllergenShare, Kind, Part
from app.science.numbers import plain
from app.science.percent_range import PercentRange
from app.store.materials import Material, MaterialPart
from app.work.typed import Difference, differences, even

LABELS = {
    "name": "Name",
    "form": "Form",
    "phase_hint": "Usual phase",
    "functions": "Functions",
    "density": "Density",
    "use_low": "Use from",
    "use_high": "Use up to",
    "ph_min": "pH from",
    "ph_max": "pH up to",
    "max_temp": "Highest temperature",
    "cautions": "Cautions",
    "notes": "Notes",
    "source": "Where the figures come from",
    "supplier": "Usual supplier",
}


@dataclass(frozen=True, slots=True)
class TypedPart:
    """A row of the composition as typed; ``allergens`` holds a line per allergen."""

    inci: str = ""
    percent: str = ""
    cas: str = ""
    kind: str = Kind.INGREDIENT.value
    nano: bool = False
    may_contain: bool = False
    allergens: str = ""
    source: str = ""

    @property
    def blank(self) -> bool:
        """Whether nothing was typed into the row."""
        return not any(text.strip() for text in (self.inci, self.percent, self.cas, self.allergens))

    @property
    def text(self) -> str:
        """The row in one line, for comparing two states."""
        extras = ("nano" if self.nano else "", "may contain" if self.may_contain else "")
        kind = "" if self.kind == Kind.INGREDIENT else self.kind
        allergens = ", ".join(line.strip() for line in self.allergens.splitlines() if line.strip())
        pieces = (f"{self.inci} {self.percent}", self.cas, kind, *extras, allergens, self.source)
        return "; ".join(piece.strip() for piece in pieces if piece.strip())


@dataclass(frozen=True, slots=True)
class TypedMaterial:
    """Everything that is typed on the page of one material."""

    name: str = ""
    form: str = ""
    phase_hint: str = "any"
    functions: str = ""
    density: str = ""
    use_low: str = ""
    use_high: str = ""
    ph_min: str = ""
    ph_max: str = ""
    max_temp: str = ""
    cautions: str = ""
    notes: str = ""
    source: str = ""
    supplier: str = ""
    library_key: str = ""
    parts: tuple[TypedPart, ...] = ()


def changes(mine: TypedMaterial, theirs: TypedMaterial) -> tuple[Difference, ...]:
    """List what differs between two states of a material, field by field, the composition last."""
    rows = (_rows(mine), _rows(theirs))
    composition = (Difference("Composition", *rows),) if even(rows[0]) != even(rows[1]) else ()
    return differences(mine, theirs, LABELS) + composition


def _rows(typed: TypedMaterial) -> str:
    return "\n".join(part.text for part in typed.parts if not part.blank)


def number(value: Decimal | None) -> str:
    """Write a number for a field; nothing for none."""
    return "" if value is None else plain(value)


def from_shelf(material: Material) -> TypedMaterial:
    """Give a material of the shelf as it would be typed."""
    return TypedMaterial(
        name=material.name,
        form=material.form,
        phase_hint=material.phase_hint.value,
        functions=material.functions,
        density=number(material.density_g_ml),
        use_low=number(material.use_low),
        use_high=number(material.use_high),
        ph_min=number(material.ph_min),
        ph_max=number(material.ph_max),
        max_temp=number(material.max_temp_c),
        cautions=material.cautions,
        notes=material.notes,
        source=material.source,
        supplier=material.supplier,
        library_key=material.library_key or "",
        parts=tuple(_stored_part(part) for part in material.parts),
    )


def _stored_part(part: MaterialPart) -> TypedPart:
    return TypedPart(
        inci=part.inci,
        percent=PercentRange(part.percent, part.low, part.high).text,
        cas=part.cas or "",
        kind=part.kind.value,
        nano=part.nano,
        may_contain=part.may_contain,
        allergens=_lines(AllergenShare(a.inci, a.percent) for a in part.allergens),
        source=part.source,
    )


def from_library(shipped: LibraryMaterial) -> TypedMaterial:
    """Give a shipped material as it would be typed."""
    return TypedMaterial(
        name=shipped.name,
        form=shipped.form,
        phase_hint=shipped.phase_hint,
        functions="; ".join(shipped.functions),
        density=number(shipped.density.g_ml if shipped.density else None),
        use_low=number(shipped.use_low),
        use_high=number(shipped.use_high),
        ph_min=number(shipped.ph_min),
        ph_max=number(shipped.ph_max),
        max_temp=number(shipped.max_temp_c),
        cautions="\n".join(caution.text for caution in shipped.cautions),
        notes="\n".join(text for text in (shipped.assumption, shipped.notes) if text),
        library_key=shipped.key,
        parts=tuple(part_as_typed(part) for part in shipped.parts),
    )


def part_as_typed(part: Part, source: str = "") -> TypedPart:
    """Give a part as it would be typed."""
    return TypedPart(
        inci=part.inci,
        percent=PercentRange(part.percent, part.low, part.high).text,
        cas=part.cas or "",
        kind=part.kind.value,
        nano=part.nano,
        may_contain=part.may_contain,
        allergens=_lines(part.allergens),
        source=source,
    )


def _lines(allergens: Iterable[AllergenShare]) -> str:
    return "\n".join(f"{allergen.inci} {plain(allergen.percent)}" for allergen in allergens)
