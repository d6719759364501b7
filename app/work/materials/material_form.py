"""A material and its parts as typed: the one declaration of their fields for pages, files, differences and storing."""

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from rapidfuzz.distance import OSA
from rapidfuzz.process import extractOne

from app.reference.allergens import allergen_entries, allergen_index
from app.reference.cautions import CautionSubject, cautions_for
from app.reference.material import LibraryMaterial, known
from app.reference.solvents import proposed_solvent
from app.science.composition import AllergenShare, Part, PartKind
from app.science.errors import Invalid
from app.science.names import inci_key
from app.science.numbers import parse_number, plain, plain_or_empty
from app.science.percent_range import HUNDRED, PercentRange, parse_range
from app.science.quantities import check_density
from app.science.rules.certificates import read_certificate, write_certificate
from app.store.materials import PhaseHint, Solvent
from app.work.form import Choice, Field, Form, Rows, rule
from app.work.form_fields import Listed, LongText, MaybeGrams, MaybeNumber, Name, OneOf, ShortText, TickBox
from app.work.typed_text import one_line

ZERO = Decimal(0)
MOST_PARTS = 200
MOST_ALLERGENS = 150
FORMS = tuple(Choice(word, word or "not stated") for word in ("", "liquid", "solid", "powder"))
SOLVENTS = {Solvent.NONE: "nothing (a powder that stays one)", Solvent.UNKNOWN: "not known"}

_ALLERGEN = re.compile(r'(?P<inci>"[^"]+"|.+?)[\s:;=|]+(?P<percent>[0-9.,]+) ?%?', re.ASCII)


class ShareField(Field[PercentRange]):
    """The percent of a part, one figure or a range; a part that stands alone needs none."""

    def read(self, text: str, at: str, form: Form) -> PercentRange:
        """Return the share, % w/w of the material."""
        if text.strip():
            return parse_range(text, at)
        if form.filled_rows == 1:
            return PercentRange(HUNDRED)
        raise Invalid(at, "Enter the percent of this row, such as 40 or 30-50.")

    def write(self, value: PercentRange) -> str:
        """Return the figure or the range as it would be typed."""
        return value.text

    def stored(self, row: Any) -> str:
        """Return the stored share with its range."""
        return PercentRange(row.percent, row.low, row.high).text

    def columns(self, value: PercentRange) -> dict[str, object]:
        """Return the figure that is used and the ends of its range."""
        return {"percent": value.typical, "low": value.low, "high": value.high}


class Allergens(Field[tuple[AllergenShare, ...]]):
    """An allergen sheet: a line each, the name and then the percent of the part (``Limonene 4.2``).

    Tabs, colons and a percent sign are allowed. A name that no law lists is refused with the nearest one that is,
    because it would never be declared; in quotation marks it is kept as it is.
    """

    control = "area"
    lines = 3

    def read(self, text: str, at: str, form: Form) -> tuple[AllergenShare, ...]:
        """Return the allergens, % w/w of the part."""
        return read_allergens(text, at)

    def write(self, value: tuple[AllergenShare, ...]) -> str:
        """Return the sheet, a line each."""
        return sheet_text(value)

    def stored(self, row: Any) -> str:
        """Return the stored sheet."""
        return sheet_text(AllergenShare(a.inci, a.percent) for a in row.allergens)

    def columns(self, value: tuple[AllergenShare, ...]) -> dict[str, object]:
        """Return nothing: who stores the part stores its allergens."""
        return {}


def read_allergens(text: str, field: str) -> tuple[AllergenShare, ...]:
    """Return the lines of an allergen sheet; empty ones are passed over.

    Raises:
        Invalid: with every line that cannot be read, is not a known name, or names one twice; or when the
            percentages pass 100.
    """
    lines = [(place, line.strip()) for place, line in enumerate(text.splitlines(), start=1) if line.strip()]
    if len(lines) > MOST_ALLERGENS:
        raise Invalid(field, f"An allergen sheet can have {MOST_ALLERGENS} lines; this one has {len(lines)}.")
    shares: list[AllergenShare] = []
    wrong: list[str] = []
    first: dict[str, int] = {}
    for place, line in lines:
        try:
            share = _allergen(line, field)
        except Invalid as fault:
            wrong.append(f"Line {place}: {fault.message}")
            continue
        entry = allergen_index("EU").find(share.inci)
        name = entry.label_name if entry and not entry.is_natural else inci_key(share.inci)
        if inci_key(share.inci) in first or name in first:
            seen = first.get(inci_key(share.inci)) or first[name]
            wrong.append(f"Line {place}: {share.inci} is in line {seen} already; add the two up.")
        first.setdefault(inci_key(share.inci), place)
        shares.append(share)
    total = sum((share.percent for share in shares), ZERO)
    if total > HUNDRED:
        wrong.append(f"The allergens add up to {plain(total)} %, more than the whole part.")
    if wrong:
        raise Invalid(field, " ".join(wrong[:8]))
    return tuple(shares)


def _allergen(line: str, field: str) -> AllergenShare:
    match = _ALLERGEN.fullmatch(line) if len(line) <= 200 else None
    if match is None:
        raise Invalid(field, "enter the name and the percent, such as Limonene 4.2.")
    name = one_line(match["inci"], field)
    quoted = name.startswith('"')
    if not quoted and allergen_index("EU").find(name) is None:
        near = nearest_allergen(name)
        meant = f"did you mean {near}? If not, " if near else ""
        raise Invalid(
            field,
            f"{name} is not an allergen of the EU list, so it would not be declared; {meant}"
            "put the name in quotation marks to keep it.",
        )
    return AllergenShare(name.strip('" '), parse_number(match["percent"], field, low=ZERO, high=HUNDRED))


def nearest_allergen(name: str) -> str:
    """Return the label name of the listed allergen whose spelling is nearest; empty when none is near."""
    spellings = {spelling: entry.label_name for entry in allergen_entries() for spelling in entry.names}
    slips = max(1, len(name) // 4)
    found = extractOne(inci_key(name), spellings.keys(), scorer=OSA.distance, processor=inci_key, score_cutoff=slips)
    return spellings[found[0]] if found else ""


def sheet_text(allergens: Iterable[AllergenShare]) -> str:
    """Return an allergen sheet as it would be typed; names that no law lists stand in quotation marks."""
    known_names = allergen_index("EU")
    return "\n".join(
        f"{a.inci} {plain(a.percent)}" if known_names.find(a.inci) else f'"{a.inci}" {plain(a.percent)}'
        for a in allergens
    )


class PartForm(Form):
    """A row of the composition; blank when nothing was typed that names or measures a substance."""

    filled_by = ("inci", "percent", "cas", "allergens")

    inci = ShortText("INCI name", csv="inci", width="w20")
    percent = ShareField("Percent or range", csv="percent", width="w8")
    cas = ShortText("CAS number", csv="cas", longest=40, width="w8")
    kind = OneOf("For", PartKind, "Choose what this substance is for.", csv="kind", default=PartKind.INGREDIENT.value)
    nano = TickBox("nano", csv="nano")
    may_contain = TickBox("may contain", csv="may contain")
    allergens = Allergens("Allergen sheet, a line each, % of this row", csv="allergens")
    source = ShortText("Where this row comes from", csv="part source", longest=500, width="wide")

    @rule
    def named(self) -> None:
        """Ask for the name of a row that has something else."""
        if not self.inci:
            raise Invalid(f"{self.at}inci", "Enter the INCI name of this row, or empty the row.")

    @property
    def part(self) -> Part:
        """The part that was read."""
        share = self.percent
        return Part(
            inci=self.inci,
            percent=share.typical,
            kind=self.kind,
            nano=self.nano,
            cas=self.cas or None,
            may_contain=self.may_contain,
            allergens=self.allergens,
            low=share.low,
            high=share.high,
        )

    @property
    def line(self) -> str:
        """The row in one line, for comparing two states."""
        text = self.text
        extras = ("nano" if text["nano"] else "", "may contain" if text["may_contain"] else "")
        kind = "" if text["kind"] == PartKind.INGREDIENT else text["kind"]
        allergens = ", ".join(line.strip() for line in text["allergens"].splitlines() if line.strip())
        pieces = (f"{text['inci']} {text['percent']}", text["cas"], kind, *extras, allergens, text["source"])
        return "; ".join(piece.strip() for piece in pieces if piece.strip())


class Density(MaybeNumber):
    """A density in g/mL that a material can have."""

    def read(self, text: str, at: str, form: Form) -> Decimal | None:
        """Return the density; None for an empty field."""
        return check_density(parse_number(text, at), at) if text.strip() else None


class Cautions(LongText):
    """Cautions, a line each; left empty they become the usual ones for what is in the material."""

    def read(self, text: str, at: str, form: Any) -> str:
        """Return the cautions."""
        return super().read(text, at, form) or usual_cautions(tuple(row.part for row in form.parts), form.form)


class Certificate(LongText):
    """The limits of a perfume certificate by category, kept in the order of the categories."""

    def read(self, text: str, at: str, form: Any) -> str:
        """Return the limits as one line; empty for an empty field."""
        return write_certificate(read_certificate(super().read(text, at, form), at))


def usual_cautions(parts: Sequence[Part], form: str) -> str:
    """Return the usual cautions for what is in a material, a line each; empty when none is known."""
    return "\n".join(c.text for c in cautions_for(CautionSubject(tuple(parts), known(parts), form)))


class LibraryKey(Field[str | None]):
    """The row of the library that a material began as; it travels with the form and is never seen."""

    def read(self, text: str, at: str, form: Form) -> str | None:
        """Return the key; None for a material of one's own."""
        return text or None


class MaterialForm(Form):
    """Everything that is typed on the page of one material."""

    name = Name("Name", "Enter a name for the material.", csv="name", hint="As you call it at the bench.", width="w20")
    form = Listed("Form", lambda: FORMS, "Choose liquid, solid or powder.", csv="form")
    phase_hint = OneOf(
        "Usual phase", PhaseHint, "Choose where this material usually goes.", csv="phase", default=PhaseHint.ANY.value
    )
    dissolves_in = OneOf(
        "Dissolves in",
        Solvent,
        "Choose what this material dissolves in.",
        csv="dissolves in",
        default=Solvent.UNKNOWN.value,
        shown=SOLVENTS,
        hint="A stock solution is offered only in this.",
    )
    functions = ShortText(
        "Functions", csv="functions", longest=1000, hint="Separate several with semicolons.", width="wide"
    )
    density = Density("Density, g/mL", column="density_g_ml", csv="density g/ml", high=25)
    use_low = MaybeNumber("Use from, %", high=100, csv="use from %")
    use_high = MaybeNumber("Use up to, %", high=100, csv="use to %")
    ph_min = MaybeNumber("pH from", low=-1, high=15, csv="ph from")
    ph_max = MaybeNumber("pH up to", low=-1, high=15, csv="ph to")
    max_temp = MaybeNumber(
        "Highest temperature, °C", column="max_temp_c", low=-50, high=400, csv="highest temperature c"
    )
    cautions = Cautions(
        "Cautions, a line each",
        csv="cautions",
        lines=4,
        hint="They are shown wherever this material is weighed. Left empty, the usual cautions for what is in it "
        "are taken.",
    )
    certificate = Certificate(
        "Limits of its perfume certificate, % by category",
        csv="certificate",
        lines=2,
        hint="For a perfume or essential oil, as its certificate states them: 4: 12.5; 5A: 1.2; 9: 3.",
    )
    notes = LongText("Notes", csv="notes")
    source = ShortText(
        "Source of the figures",
        csv="source",
        longest=500,
        hint="For example the data sheet and its date.",
        width="wide",
    )
    supplier = ShortText("Usual supplier", csv="supplier")
    reorder = MaybeGrams(
        "Order when below",
        column="reorder_g",
        csv="order when below",
        low=Decimal(0),
        hint="Such as 500 g; leave empty for none.",
    )
    drawn_here = TickBox("Drawn or made here: a lot a day, made at its first use", csv="drawn here")
    library_key = LibraryKey("", csv="library")
    parts = Rows(
        "Composition",
        PartForm,
        "part",
        most=MOST_PARTS,
        too_many="A material can have {most} rows; this one has {count}.",
    )

    @rule
    def ranges_in_order(self) -> None:
        """Refuse a use range whose upper end is below its lower end."""
        _in_order("use_high", self.use_low, self.use_high)

    @rule
    def ph_in_order(self) -> None:
        """Refuse a pH range whose upper end is below its lower end."""
        _in_order("ph_max", self.ph_min, self.ph_max)

    @rule
    def composed(self) -> None:
        """Ask for at least one part, and refuse more than 100 % in all."""
        if not self.parts:
            raise Invalid("part-0-inci", "Enter at least one INCI name: without it no label can be written.")
        total = sum((row.percent.typical for row in self.parts), ZERO)
        if total > HUNDRED:
            raise Invalid(
                f"{self.parts[-1].at}percent",
                f"The rows add up to {plain(total)} %; take {plain(total - HUNDRED)} away.",
            )


def _in_order(field: str, low: Decimal | None, high: Decimal | None) -> None:
    if low is not None and high is not None and low > high:
        raise Invalid(field, f"Enter {plain(low)} or more here: the range starts at {plain(low)}.")


def from_library(shipped: LibraryMaterial) -> MaterialForm:
    """Return a shipped material as it would be typed."""
    return MaterialForm(
        name=shipped.name,
        form=shipped.form,
        phase_hint=shipped.phase_hint,
        dissolves_in=proposed_solvent(shipped.parts),
        functions="; ".join(shipped.functions),
        density=plain_or_empty(shipped.density.g_ml if shipped.density else None),
        use_low=plain_or_empty(shipped.use_low),
        use_high=plain_or_empty(shipped.use_high),
        ph_min=plain_or_empty(shipped.ph_min),
        ph_max=plain_or_empty(shipped.ph_max),
        max_temp=plain_or_empty(shipped.max_temp_c),
        cautions="\n".join(caution.text for caution in shipped.cautions),
        notes="\n".join(text for text in (shipped.assumption, shipped.notes) if text),
        library_key=shipped.key,
        parts=tuple(part_form(part) for part in shipped.parts),
    )


def part_form(part: Part) -> PartForm:
    """Return a part as it would be typed."""
    return PartForm(
        inci=part.inci,
        percent=PercentRange(part.percent, part.low, part.high).text,
        cas=part.cas or "",
        kind=part.kind.value,
        nano="yes" if part.nano else "",
        may_contain="yes" if part.may_contain else "",
        allergens=sheet_text(part.allergens),
    )
