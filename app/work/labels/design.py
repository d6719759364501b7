"""What stands on each label of a product: its form, adding, changing and taking off."""

from collections.abc import Sequence
from decimal import Decimal
from typing import ClassVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.science.lengths import parse_mm
from app.science.numbers import plain
from app.science.pack_shapes import Wrap
from app.store.errors import NotFound
from app.store.labels import LabelDesign, LabelSheet, PanelKind
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.form import Choice, Faults, Field, Form, rule
from app.work.form_fields import LongText, Name, OneOf, ShortText, TickBox
from app.work.labels.label_sheets import LONGEST_MM
from app.work.products.products import load_product

# What can stand on a label, in the order it stands there, with its words on the form.
ELEMENTS = {
    "identity": "Name of the product",
    "front": "Front label text of the product",
    "directions": "What it is for, and directions",
    "warnings": "Warnings the law asks for, and your own cautions",
    "ingredients": "Ingredient list",
    "responsible": "Responsible person with address",
    "origin": "Country of origin",
    "keeping": "Best before, or period after opening",
    "batch": "Batch number",
    "price": "Price",
    "content": "Net content",
    "barcode": "Bar code",
    "qr": "QR code",
}
# What stands on the back of a wrap unless the design says otherwise.
USUAL_BACK = frozenset(ELEMENTS) - {"identity", "front", "content"}
MOST_DESIGNS = 6
WRAP_SLACK_MM = 1.0  # a sheet may be so much longer or shorter than the way round


class BackElements(Field[str]):
    """The elements of the back of a wrap, by their names parted by commas; empty is what is no matter of the front."""

    def read(self, text: str, at: str, form: Form) -> str:
        """Return the names, in the order of the elements."""
        named = {word.strip().casefold() for word in text.split(",") if word.strip()}
        unknown = sorted(named - set(ELEMENTS))
        if unknown:
            raise Invalid(at, f"{unknown[0]} is no element; enter some of {', '.join(ELEMENTS)}.")
        return ", ".join(element for element in ELEMENTS if element in named)


class SheetChoice(Field[int]):
    """A sheet of labels by its row."""

    control = "choice"

    def read(self, text: str, at: str, form: Form) -> int:
        """Return the id."""
        if not (text.isascii() and text.isdigit() and len(text) < 10):
            raise Invalid(at, "Choose the sheet of labels it is cut from.")
        return int(text)


def _tick(element: str) -> TickBox:
    default = "" if element in ("price", "qr", "origin") else "yes"
    return TickBox(ELEMENTS[element], column=f"shows_{element}", default=default)


class MaybeLength(Field[Decimal | None]):
    """A length in mm, typed with any unit, or nothing."""

    def read(self, text: str, at: str, form: Form) -> Decimal | None:
        """Return the length."""
        return parse_mm(text, at, low=Decimal(0), high=LONGEST_MM) if text.strip() else None

    def write(self, value: Decimal | None) -> str:
        """Return the length with its unit."""
        return "" if value is None else f"{plain(value)} mm"


class DesignForm(Form):
    """One label of a product."""

    name = Name("Which label", "Enter which label it is, such as Front or Whole label.", default="Whole label")
    sheet = SheetChoice("Label sheet", column="sheet_id")
    panel = OneOf("Where it is stuck", PanelKind, "Choose where it is stuck.", default=PanelKind.WHOLE.value)
    diameter = MaybeLength("Diameter it goes round", column="diameter_mm", hint="Of a wrap only, such as 60 mm.")
    overlap = MaybeLength("Overlap of the wrap", column="overlap_mm", hint="3 to 5 mm is usual.")
    on_back = BackElements("On the back of a wrap", width="w20")
    function_words = ShortText("What it is for", hint="Unless the name says it, such as Hand cream.", width="w20")
    directions = LongText("Directions", lines=2)
    cautions = LongText("Cautions of your own, and the warnings in the other languages of sale", lines=3)
    qr_text = ShortText("Address or text in the QR code", longest=200, width="w20")
    identity = _tick("identity")
    front = _tick("front")
    shows_directions = _tick("directions")
    warnings = _tick("warnings")
    ingredients = _tick("ingredients")
    responsible = _tick("responsible")
    origin = _tick("origin")
    keeping = _tick("keeping")
    batch = _tick("batch")
    price = _tick("price")
    content = _tick("content")
    barcode = _tick("barcode")
    qr = _tick("qr")

    ticks: ClassVar[tuple[str, ...]] = tuple(
        "shows_directions" if element == "directions" else element for element in ELEMENTS
    )

    @rule
    def something_stands_on_it(self) -> None:
        """Refuse an empty label."""
        if not any(getattr(self, name) for name in self.ticks):
            raise Invalid("identity", "Tick what stands on this label.")

    @rule
    def wrap_has_a_diameter(self) -> None:
        """Ask for the diameter of a wrap, and for none otherwise."""
        if self.panel is PanelKind.WRAP and not self.diameter:
            raise Invalid("diameter", "Enter the diameter of what the wrap goes round, such as 60 mm.")
        if self.panel is not PanelKind.WRAP and self.diameter:
            raise Invalid("diameter", "Only a wrap has a diameter: choose wrap above, or leave this empty.")

    @rule
    def qr_has_a_text(self) -> None:
        """Ask for the text of a QR code."""
        if self.qr and not self.qr_text:
            raise Invalid("qr_text", "Enter the address or text that the QR code holds.")


def shown_on(design: LabelDesign) -> frozenset[str]:
    """Return the elements that stand on a label."""
    return frozenset(element for element in ELEMENTS if getattr(design, f"shows_{element}"))


def shown_on_back(design: LabelDesign) -> frozenset[str]:
    """Return the elements that stand on the back of a wrap; none of any other label."""
    if design.panel is not PanelKind.WRAP:
        return frozenset()
    named = {word.strip() for word in design.on_back.split(",") if word.strip()}
    return shown_on(design) & (named or USUAL_BACK)


def wrap_of(design: LabelDesign) -> Wrap | None:
    """Return the geometry of a wrap; None for any other label."""
    if design.diameter_mm is None:
        return None
    return Wrap(float(design.diameter_mm), float(design.overlap_mm or 0))


@action(once="label of product {product_id}")
def add_design(session: Session, product_id: int, typed: DesignForm, *, key: str = "") -> int:
    """Add a label to a product and return its id.

    Raises:
        Faults: with everything that is wrong, each at its field.
        NotFound: when there is no such product.
    """
    load_product(session, product_id)
    count = len(session.scalars(select(LabelDesign.id).where(LabelDesign.product_id == product_id)).all())
    if count >= MOST_DESIGNS:
        raise Faults([Invalid("name", f"A product has at most {MOST_DESIGNS} labels.")])
    design = LabelDesign(product_id=product_id)
    _write(session, design, typed)
    session.add(design)
    session.flush()
    return design.id


@action()
def revise_design(session: Session, design_id: int, typed: DesignForm, seen: str) -> None:
    """Change a label; ``seen`` is the fingerprint of its form as it was read.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it changed since it was read.
        NotFound: when there is no such label.
    """
    design = load_design(session, design_id)
    words = f"{design.name} was changed in the meantime."
    typed.refuse_overtaken(DesignForm.of(design), seen, words, given=the_workshop(session))
    _write(session, design, typed)


@action()
def remove_design(session: Session, design_id: int) -> str:
    """Take a label off a product and return its name.

    Raises:
        NotFound: when there is no such label.
    """
    design = load_design(session, design_id)
    name = design.name
    session.delete(design)
    return name


def load_design(session: Session, design_id: int) -> LabelDesign:
    """Read a label.

    Raises:
        NotFound: when there is none.
    """
    design = session.get(LabelDesign, design_id)
    if design is None:
        raise NotFound("There is no such label.")
    return design


def _write(session: Session, design: LabelDesign, typed: DesignForm) -> None:
    checked = typed.checked(the_workshop(session))
    sheet = session.get(LabelSheet, checked.sheet)
    if sheet is None:
        raise Faults([Invalid("sheet", "This sheet of labels is not in the workshop any more.")])
    _check_wrap(checked, sheet)
    for column, value in checked.columns().items():
        setattr(design, column, value)


def _check_wrap(checked: DesignForm, sheet: LabelSheet) -> None:
    """Refuse a wrap on labels of another length than the way round and the overlap."""
    if not checked.diameter:
        return
    wrap = Wrap(float(checked.diameter), float(checked.overlap or 0))
    if abs(wrap.length_mm - float(sheet.label_width_mm)) > WRAP_SLACK_MM:
        words = (
            f"Round {plain(checked.diameter)} mm a wrap is {wrap.length_mm:.1f} mm long with its overlap; "
            f"the labels of this sheet are {plain(sheet.label_width_mm)} mm wide."
        )
        raise Faults([Invalid("sheet", words)])


def sheet_choices(sheets: Sequence[LabelSheet]) -> list[Choice]:
    """Return the sheets of labels as choices."""
    return [Choice(str(sheet.id), sheet.name) for sheet in sheets]
