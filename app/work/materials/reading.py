"""A material as typed becomes a material with figures, or a list of what is wrong with it."""

from dataclasses import dataclass
from decimal import Decimal

from app.reference.cautions import Subject, cautions_for
from app.reference.inci_names import inci_names
from app.reference.library import find_substance
from app.reference.material import known
from app.science.composition import Part
from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.numbers import parse_number, plain
from app.science.percent_range import HUNDRED
from app.science.quantities import check_density
from app.store.materials import PhaseHint
from app.work.materials.composition import ReadPart, cas_remark, read_parts
from app.work.materials.typed_material import TypedMaterial, number, part_as_typed
from app.work.typed import Reader, maybe_number, name, one_line, words

ZERO = Decimal(0)
LOWEST_PH, HIGHEST_PH = Decimal(-1), Decimal(15)
COLDEST_C, HOTTEST_C = Decimal(-50), Decimal(400)
FORMS = ("", "liquid", "solid", "powder")


@dataclass(frozen=True, slots=True)
class MaterialValues:
    """A material with every field read; percentages are % w/w, the density is g/mL, the temperature degrees Celsius."""

    name: str
    form: str
    phase_hint: PhaseHint
    functions: str
    density_g_ml: Decimal | None
    use_low: Decimal | None
    use_high: Decimal | None
    ph_min: Decimal | None
    ph_max: Decimal | None
    max_temp_c: Decimal | None
    cautions: str
    notes: str
    source: str
    supplier: str
    library_key: str | None
    parts: tuple[ReadPart, ...]


def read_material(typed: TypedMaterial) -> MaterialValues:
    """Read every field of a material.

    Cautions left empty become the usual ones for what is in the material.

    Raises:
        Faults: with everything that is wrong, each at the name of its field.
    """
    reader = Reader()
    title = reader.take(name, typed.name, "name", "Give the material a name.")
    form = reader.take(_form, typed.form) or ""
    phase_hint = reader.take(_phase_hint, typed.phase_hint)
    supplier = reader.take(one_line, typed.supplier, "supplier")
    parts = read_parts(typed.parts, reader)
    use = _range(reader, typed, "use_low", "use_high", ZERO, HUNDRED)
    ph = _range(reader, typed, "ph_min", "ph_max", LOWEST_PH, HIGHEST_PH)
    values = MaterialValues(
        name=title or "",
        form=form,
        phase_hint=phase_hint or PhaseHint.ANY,
        supplier=supplier or "",
        parts=parts,
        use_low=use[0],
        use_high=use[1],
        ph_min=ph[0],
        ph_max=ph[1],
        max_temp_c=reader.take(maybe_number, typed.max_temp, "max_temp", low=COLDEST_C, high=HOTTEST_C),
        density_g_ml=reader.take(_density, typed.density),
        functions=reader.take(one_line, typed.functions, "functions", longest=1000) or "",
        cautions=(reader.take(words, typed.cautions, "cautions") or "") or usual_cautions(parts, form),
        notes=reader.take(words, typed.notes, "notes") or "",
        source=reader.take(one_line, typed.source, "source", longest=500) or "",
        library_key=typed.library_key or None,
    )
    reader.finish()
    return values


def as_typed(values: MaterialValues) -> TypedMaterial:
    """Give a material that was read as it would be typed, figures in their plain form."""
    return TypedMaterial(
        name=values.name,
        form=values.form,
        phase_hint=values.phase_hint.value,
        functions=values.functions,
        density=number(values.density_g_ml),
        use_low=number(values.use_low),
        use_high=number(values.use_high),
        ph_min=number(values.ph_min),
        ph_max=number(values.ph_max),
        max_temp=number(values.max_temp_c),
        cautions=values.cautions,
        notes=values.notes,
        source=values.source,
        supplier=values.supplier,
        library_key=values.library_key or "",
        parts=tuple(part_as_typed(row.part, row.source) for row in values.parts),
    )


def _range(
    reader: Reader, typed: TypedMaterial, low_field: str, high_field: str, least: Decimal, most: Decimal
) -> tuple[Decimal | None, Decimal | None]:
    low = reader.take(maybe_number, getattr(typed, low_field), low_field, low=least, high=most)
    high = reader.take(maybe_number, getattr(typed, high_field), high_field, low=least, high=most)
    if low is not None and high is not None and low > high:
        reader.fail(high_field, f"Write {plain(low)} or more here: the range starts at {plain(low)}.")
    return low, high


def _form(text: str) -> str:
    if text not in FORMS:
        raise Invalid("form", "Choose liquid, solid or powder.")
    return text


def _phase_hint(text: str) -> PhaseHint:
    try:
        return PhaseHint(text)
    except ValueError as error:
        raise Invalid("phase_hint", "Choose where this material usually goes.") from error


def _density(text: str) -> Decimal | None:
    return check_density(parse_number(text, "density"), "density") if text.strip() else None


def usual_cautions(parts: tuple[ReadPart, ...], form: str) -> str:
    """Give the usual cautions for what is in a material, a line each; empty when none is known."""
    plain_parts = tuple(row.part for row in parts)
    return "\n".join(c.text for c in cautions_for(Subject(plain_parts, known(plain_parts), form)))


def remarks(parts: tuple[Part, ...]) -> tuple[str, ...]:
    """Say what is worth a second look in a composition; none of it keeps the material from being saved."""
    total = sum((part.percent for part in parts), ZERO)
    found = [cas_remark(part.cas or "") for part in parts]
    found += [_name_remark(part) for part in parts]
    if total < HUNDRED:
        found.append(
            f"{plain(HUNDRED - total)} % of this material is not accounted for; labels and limits leave it out."
        )
    return tuple(dict.fromkeys(text for text in found if text))


def _name_remark(part: Part) -> str:
    if find_substance(part.inci) or inci_key(part.inci) in inci_names():
        return ""
    return (
        f"{part.inci} is not in the list of INCI names here (state of 2020); compare the spelling with the data sheet."
    )
