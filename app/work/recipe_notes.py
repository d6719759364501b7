"""What a maker adds to a recipe before handing it on: own words, equipment, substitutes, and pictures."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.errors import NotFound
from app.store.formulas import FormulaRow
from app.store.recipes import RecipeNotes, RecipePicture, notes_of, pictures_of
from app.store.workshop import the_workshop
from app.work.action import action
from app.work.clock import now
from app.work.form import Faults, Form, rule
from app.work.form_fields import LongText, Name
from app.work.pictures import read_picture
from app.work.stock.documents import content_of_hash, files_folder, keep_file
from app.work.typed_text import LONGEST_TEXT

MOST_PICTURES = 4
MOST_LINES = 40
LONGEST_ALT = 300


class RecipeForm(Form):
    """What stands on a recipe besides the formula."""

    words = LongText("Your own words", lines=5, hint="What it is like, what to watch, where a film of it is.")
    equipment = LongText(
        "Equipment", lines=4, longest=LONGEST_TEXT, hint="One thing a line; empty for what the method needs."
    )
    substitutes = LongText(
        "Substitutes", lines=4, longest=LONGEST_TEXT, hint="One a line: what it replaces, what to take, what changes."
    )

    @rule
    def lines_are_few(self) -> None:
        """Refuse lists nobody reads."""
        for name in ("equipment", "substitutes"):
            if len(lines_of(getattr(self, name))) > MOST_LINES:
                raise Invalid(name, f"Enter at most {MOST_LINES} lines.")


class PictureForm(Form):
    """A picture that is added."""

    alt = Name(
        "What the picture shows",
        "Enter what is to be seen, for readers who cannot see it: such as Two jars of cream beside a spatula.",
        longest=LONGEST_ALT,
        width="w20",
    )


@dataclass(frozen=True, slots=True)
class KeptPicture:
    """A picture of a recipe as it is kept."""

    id: int
    alt: str
    width: int
    height: int
    content: bytes


def lines_of(text: str) -> tuple[str, ...]:
    """Return the lines of a text that hold something."""
    return tuple(line.strip() for line in text.splitlines() if line.strip())


def recipe_form(session: Session, formula_id: int) -> RecipeForm:
    """Return what was written on the recipe of a formula, as a form."""
    row = notes_of(session, formula_id)
    return RecipeForm.of(row) if row else RecipeForm()


@action()
def save_recipe_notes(session: Session, formula_id: int, typed: RecipeForm, seen: str) -> None:
    """Save what stands on a recipe; ``seen`` is the fingerprint of the form as it was read.

    Raises:
        Faults: with everything that is wrong, each at its field.
        Conflict: when it changed since it was read.
        NotFound: when there is no such formula.
    """
    if session.get(FormulaRow, formula_id) is None:
        raise NotFound("There is no such formula.")
    shop, words = the_workshop(session), "The words on this recipe were changed in the meantime."
    typed.refuse_overtaken(recipe_form(session, formula_id), seen, words, given=shop)
    checked = typed.checked(shop)
    row = notes_of(session, formula_id) or RecipeNotes(formula_id=formula_id)
    for column, value in checked.columns().items():
        setattr(row, column, value)
    session.add(row)


def add_picture(store: Store, formula_id: int, typed: PictureForm, data: bytes, *, key: str = "") -> int:
    """Keep a picture for a recipe and return its id; the same form sent twice keeps it once.

    Raises:
        Faults: at ``alt`` and ``picture``, with everything that is wrong.
        NotFound: when there is no such formula.
        Unusable: when the workshop has no folder for files, or it cannot be written.
    """
    faults = typed.faults()
    try:
        picture = read_picture(data)
    except Invalid as fault:
        raise Faults([*faults, fault]) from fault
    if faults:
        raise Faults(faults)
    sha256 = keep_file(files_folder(store), picture.content)
    row: dict[str, str | int] = {
        "sha256": sha256,
        "width": picture.width,
        "height": picture.height,
        "alt": typed.checked().alt,
    }
    return _add_picture(store, formula_id, row, key=key)


@action(once="picture of {formula_id}")
def _add_picture(session: Session, formula_id: int, row: dict[str, str | int], *, key: str) -> int:
    if session.get(FormulaRow, formula_id) is None:
        raise NotFound("There is no such formula.")
    if len(pictures_of(session, formula_id)) >= MOST_PICTURES:
        raise Faults([Invalid("picture", f"A recipe has at most {MOST_PICTURES} pictures; take one off first.")])
    picture = RecipePicture(formula_id=formula_id, added_at=now(), **row)
    session.add(picture)
    session.flush()
    return picture.id


@action()
def remove_picture(session: Session, formula_id: int, picture_id: int) -> str:
    """Take a picture off a recipe and return what was to be seen on it; its file stays with the documents.

    Raises:
        NotFound: when there is none.
    """
    picture = _picture(session, formula_id, picture_id)
    alt = picture.alt
    session.delete(picture)
    return alt


def _picture(session: Session, formula_id: int, picture_id: int) -> RecipePicture:
    picture = session.get(RecipePicture, picture_id)
    if picture is None or picture.formula_id != formula_id:
        raise NotFound("There is no such picture.")
    return picture


def kept_picture(store: Store, formula_id: int, picture_id: int) -> KeptPicture:
    """Return one picture of a recipe.

    Raises:
        NotFound: when there is none.
        Unusable: when its file is gone or damaged.
    """
    with store.reading() as session:
        return _kept(store, _picture(session, formula_id, picture_id))


def kept_pictures(store: Store, formula_id: int) -> tuple[KeptPicture, ...]:
    """Return the pictures of a recipe in the order they were added.

    Raises:
        Unusable: when a file is gone or damaged.
    """
    with store.reading() as session:
        return tuple(_kept(store, row) for row in pictures_of(session, formula_id))


def _kept(store: Store, row: RecipePicture) -> KeptPicture:
    content = content_of_hash(store, row.sha256, f"picture {row.alt[:40]}")
    return KeptPicture(row.id, row.alt, row.width, row.height, content)
