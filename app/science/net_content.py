"""Net content on a label: its words in both systems, the height of its figures, and whether fills keep what it says.

Sources: Regulation (EC) 1223/2009 Art. 19(1)(b) (under 5 g or 5 ml exempt); Directive 76/211/EEC Annex I (heights 3.1,
tolerable negative errors, the packer's three rules); 21 CFR 701.10 and 701.13 (panel, heights, ounces first, common
order of units); 15 USC 1453(a)(2) (both systems); NIST Handbook 133 table 2-5 (allowable variation, from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from enum import StrEnum

from app.science.errors import Invalid
from app.science.jurisdiction import Jurisdiction
from app.science.numbers import exact_arithmetic, plain, to_places
from app.science.quantities import Quantity, convert
from app.science.units import Measure, find_unit

MM_IN = Decimal("25.4")
SQUARE_INCH = MM_IN * MM_IN
EXEMPT_BELOW = Decimal(5)  # g or ml
SHARE_SHORT = Decimal("0.025")  # of a lot, short by more than the tolerable negative error (from memory)
# Nominal g or ml up to which figures need so many mm (76/211/EEC Annex I 3.1, from memory).
EU_HEIGHTS = ((Decimal(50), Decimal(2)), (Decimal(200), Decimal(3)), (Decimal(1000), Decimal(4)))
EU_TALLEST = Decimal(6)
# Panel in square inches up to which letters need so many sixteenths of an inch (21 CFR 701.13(i)).
US_HEIGHTS = ((Decimal(5), 1), (Decimal(25), 2), (Decimal(100), 3), (Decimal(400), 4))
US_TALLEST = 8
# Nominal g or ml up to which a pack may lack so much: % of it, or g or ml (76/211/EEC Annex I 2.4).
EU_ERRORS = (
    (Decimal(50), Decimal(9), True), (Decimal(100), Decimal("4.5"), False), (Decimal(200), Decimal("4.5"), True),
    (Decimal(300), Decimal(9), False), (Decimal(500), Decimal(3), True), (Decimal(1000), Decimal(15), False),
    (Decimal(10_000), Decimal("1.5"), True),
)  # fmt: skip
# Label weight in grams up to which a package may lack so many grams (NIST Handbook 133 table 2-5, from memory).
US_VARIATIONS = (
    (Decimal(54), Decimal("3.6")), (Decimal(81), Decimal("5.4")), (Decimal(117), Decimal("7.2")),
    (Decimal(154), Decimal(9)), (Decimal(208), Decimal("10.8")), (Decimal(263), Decimal("12.7")),
    (Decimal(317), Decimal("14.5")), (Decimal(381), Decimal("16.3")), (Decimal(426), Decimal("18.1")),
)  # fmt: skip
US_TENTH_TO = Decimal(36)


class PanelShape(StrEnum):
    """What the panel is: a rectangle, a cylinder by its diameter, a wrap by its length, a round face, or a surface."""

    RECTANGLE = "rectangle"
    CYLINDER = "cylinder"
    WRAP = "wrap"
    ROUND = "round"
    OTHER = "other"


PI = Decimal("3.14159265358979")


@dataclass(frozen=True, slots=True)
class Panel:
    """The side that is seen when it is sold, in millimetres.

    ``width_mm`` is the diameter of a cylinder or a round face, and the length of a label that is wrapped all round.
    """

    shape: PanelShape
    width_mm: Decimal
    height_mm: Decimal

    @property
    def area_mm2(self) -> Decimal:
        """The principal display panel by 21 CFR 701.10: 40 % of a cylinder's side or of another shape's surface."""
        if self.shape is PanelShape.CYLINDER:
            return Decimal("0.4") * PI * self.width_mm * self.height_mm
        if self.shape in (PanelShape.WRAP, PanelShape.OTHER):
            return Decimal("0.4") * self.width_mm * self.height_mm
        return (PI / 4 if self.shape is PanelShape.ROUND else 1) * self.width_mm * self.height_mm


@dataclass(frozen=True, slots=True)
class Judged:
    """Fills against the packer's rules: whether they pass, and the sentences that say why."""

    passes: bool
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NetContent:
    """A net content statement; heights in mm, the tolerance in grams or millilitres (None where no table says it)."""

    text: str
    min_type_mm: Decimal
    exempt: bool
    tolerance: Decimal | None
    why: tuple[str, ...]


def net_content(nominal: Quantity, panel: Panel, law: Jurisdiction) -> NetContent:
    """Return what a label must say of its content, and how large.

    Raises:
        Invalid: at ``nominal``, when it is a rough measure or nothing.
    """
    if nominal.rough or nominal.unit.rough or not nominal.amount:
        raise Invalid("nominal", "Enter a weight or a volume above 0, such as 50 ml or 2 oz.")
    with exact_arithmetic():
        base = nominal.base
        if law is Jurisdiction.EU:
            height = next((h for most, h in EU_HEIGHTS if base <= most), EU_TALLEST)
            exempt = base < EXEMPT_BELOW
            why = [f"Figures at least {plain(height)} mm high (76/211/EEC Annex I 3.1)."]
            if exempt:
                why.append("Under 5 g or 5 ml no content need be stated (1223/2009 Art. 19(1)(b)).")
            return NetContent(metric_words(nominal), height, exempt, tolerance_of(nominal, law), tuple(why))
        square_inches = panel.area_mm2 / SQUARE_INCH
        sixteenths = next((n for most, n in US_HEIGHTS if square_inches <= most), US_TALLEST)
        height = MM_IN * sixteenths / 16
        why = [
            f"The panel has {float(square_inches):.1f} square inches, so letters at least {sixteenths}/16 in "
            f"({float(height):.1f} mm) high; in mixed case the lower-case o is measured (21 CFR 701.13(h), (i)).",
            "In the lowest 30 % of the panel, with clear space around it (21 CFR 701.13(f)).",
        ]
        return NetContent(us_words(nominal), height, False, tolerance_of(nominal, law), tuple(why))


def metric_words(nominal: Quantity) -> str:
    """Return the content in grams or millilitres, kilograms or litres; what was typed in ounces is rounded down."""
    mass = nominal.unit.measure is Measure.MASS
    base, small, large = nominal.base, "g" if mass else "ml", "kg" if mass else "l"
    typed_metric = nominal.unit.symbol in ("g", "kg", "mg", "mL", "L", "cL", "dL")
    third_figure = Decimal(1).scaleb(base.adjusted() - 2)
    shown = base if typed_metric else base.quantize(third_figure, rounding=ROUND_FLOOR)
    return f"{plain(shown / 1000)} {large}" if shown >= 1000 else f"{plain(shown)} {small}"


def us_words(nominal: Quantity) -> str:
    """Return the content as a US label states it: ounces first, larger units in brackets, then the metric figure.

    Nothing is rounded up; two decimals at the most (21 CFR 701.13(d), (j); 15 USC 1453(a)).
    """
    mass = nominal.unit.measure is Measure.MASS
    exact = convert(nominal, find_unit("oz" if mass else "fl oz")).value
    ounces = exact.quantize(Decimal("0.01"), rounding=ROUND_FLOOR)
    metric = metric_words(nominal).replace(" ml", " mL").replace(" l", " L")
    name, lead = ("oz", "Net Wt ") if mass else ("fl oz", "")
    words = f"{lead}{plain(ounces)} {name}"
    if ounces >= 16:
        words += f" ({_larger(ounces, mass)})"
    return f"{words} ({metric})" if "(" not in words else f"{words} {metric}"


def _larger(ounces: Decimal, mass: bool) -> str:
    """Write 17.63 oz as 1 lb 1.63 oz, and 40 fl oz as 1 qt 8 fl oz."""
    units = (("lb", 16),) if mass else (("gal", 128), ("qt", 32), ("pt", 16))
    parts, rest = [], ounces
    for name, size in units:
        count = int(rest // size)
        if count:
            parts.append(f"{count} {name}")
            rest -= count * size
    if rest:
        parts.append(f"{plain(rest)} {'oz' if mass else 'fl oz'}")
    return " ".join(parts)


def tolerance_of(nominal: Quantity, law: Jurisdiction) -> Decimal | None:
    """Return by how much one pack may fall short, g or ml: the EU's tolerable negative error, the US's variation.

    The EU's percentages are rounded up to the next 0.1 g or ml. None below 5 or above 10 000 g or ml, and in the US
    for volumes and above 426 g, which the tables here do not hold.
    """
    base = nominal.base
    if law is Jurisdiction.EU:
        row = next((r for r in EU_ERRORS if base <= r[0]), None)
        if row is None or base < EXEMPT_BELOW:
            return None
        _, amount, is_share = row
        return (base * amount / 100).quantize(Decimal("0.1"), rounding=ROUND_CEILING) if is_share else amount
    if nominal.unit.measure is not Measure.MASS:
        return None
    return base / 10 if base <= US_TENTH_TO else next((v for most, v in US_VARIATIONS if base <= most), None)


def judge_fills(nominal: Quantity, fills: Sequence[Decimal], law: Jurisdiction) -> Judged | None:
    """Judge net fills, in g or ml as the nominal content, by the packer's rules.

    Where no tolerance is known, a mean below the nominal content fails all the same, and else nothing is said (None).

    EU: the mean is not below the nominal content, at most 2.5 % of the packs (one in a sample of 20 to 79) lack more
    than the tolerable negative error, none lacks twice that. US: the mean is not below, none lacks more than allowed.
    """
    if not fills:
        return None
    tolerance, base = tolerance_of(nominal, law), nominal.base
    mean = sum(fills, Decimal(0)) / len(fills)
    unit = "g" if nominal.unit.measure is Measure.MASS else "ml"
    about_mean = (
        f"Mean {plain(to_places(mean, 2))} {unit} of {len(fills)}, nominal {plain(to_places(base, 2))} {unit}: "
        f"{'kept' if mean >= base else 'short'}."
    )
    if tolerance is None:
        return Judged(False, (about_mean,)) if mean < base else None
    short = sum(fill < base - tolerance for fill in fills)
    allowed = max(int(SHARE_SHORT * len(fills)), 1 if len(fills) >= 20 else 0) if law is Jurisdiction.EU else 0
    worst = sum(fill < base - 2 * tolerance for fill in fills) if law is Jurisdiction.EU else 0
    why = (
        about_mean,
        f"{short} short by more than {plain(tolerance)} {unit}; {allowed} allowed.",
        *((f"{worst} short by more than twice that; none may be.",) if law is Jurisdiction.EU else ()),
    )
    return Judged(mean >= base and short <= allowed and not worst, why)
