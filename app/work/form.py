"""A form declared once: text in, values out, every fault at its field; comparing and files follow from the fields.

    class ScaleForm(Form):
        name = Name("Name", "Give the scale a name, such as Bench scale.")
        readability = Grams("Smallest step it shows", column="readability_g")

`ScaleForm.sent(request.form)` keeps what was typed and never fails; ``form.text["name"]`` is the text as typed and
``form.name`` the value that was read. `Form.checked` reads every field and raises all faults together. The kinds of
field stand in `app.work.form_fields`.
"""

import copy
import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Generic, ParamSpec, Self, TypeVar, overload

from app.science.errors import Invalid
from app.store.errors import Conflict

P = ParamSpec("P")
T = TypeVar("T")
F = TypeVar("F", bound="Form")
Rule = Callable[[Any], None]


class Faults(ValueError):
    """Everything that keeps a form from being taken, in the order of its fields."""

    def __init__(self, faults: Sequence[Invalid]) -> None:
        super().__init__("; ".join(str(fault) for fault in faults))
        self.faults = tuple(faults)

    @property
    def by_field(self) -> dict[str, str]:
        """The first fault of each field, in the order of the form."""
        found: dict[str, str] = {}
        for fault in self.faults:
            found.setdefault(fault.field, fault.message)
        return found


class FaultList:
    """What was wrong so far, so that who reads one thing after another is told everything at once.

    A form keeps its own; what reads the rows of a record or a draft, which no form declares, keeps one beside it.
    """

    def __init__(self) -> None:
        self._found: dict[tuple[str, str], Invalid] = {}

    def read(self, of: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T | None:
        """Return what a reading gives; None when it could not be read, and its faults are kept, each once."""
        try:
            return of(*args, **kwargs)
        except Invalid as fault:
            self._keep(fault)
        except Faults as wrong:
            for one in wrong.faults:
                self._keep(one)
        return None

    def refuse(self, field: str, message: str) -> None:
        """Keep a fault that concerns a field."""
        self._keep(Invalid(field, message))

    def _keep(self, fault: Invalid) -> None:
        self._found.setdefault((fault.field, fault.message), fault)

    @property
    def faults(self) -> list[Invalid]:
        """The faults in the order they were found."""
        return list(self._found.values())

    def finish(self) -> None:
        """Raise every fault that was kept.

        Raises:
            Faults: when there is any.
        """
        if self._found:
            raise Faults(self.faults)


@dataclass(frozen=True, slots=True)
class Difference:
    """A field that two people typed differently."""

    label: str
    mine: str
    theirs: str


class Overtaken(Conflict):
    """Somebody else saved meanwhile, and nothing was written.

    Attributes:
        differences: the fields in which what was typed differs from what is kept now.
        mark: what tells the state that is kept now from others: its fingerprint, or its row version.
    """

    def __init__(self, words: str, differences: tuple[Difference, ...], mark: str | int) -> None:
        super().__init__(words)
        self.differences = differences
        self.mark = mark


@dataclass(frozen=True, slots=True)
class Choice:
    """A value that can be chosen, with its words."""

    value: str
    words: str


def normalise_whitespace(text: str) -> str:
    """Return a text without what a form may change by itself: line ends and blanks around lines."""
    return "\n".join(line.strip() for line in text.strip().splitlines())


class Field(Generic[T]):
    """One field of a form: its label, how its text is read, and how a value is written as it would be typed.

    Attributes:
        column: the attribute of the stored row; the field's own name when nothing else is said.
        csv: the heading of its column in files; empty when it does not stand in one.
        default: what a new form holds.
        control: what the page draws: ``line``, ``decimal``, ``area``, ``choice``, ``date`` or ``tick``.
    """

    control = "line"
    numeric = False
    name = ""

    def __init__(
        self, label: str, *, column: str = "", csv: str = "", default: str = "", hint: str = "", width: str = "w12"
    ) -> None:
        self.label, self.column, self.csv, self.default, self.hint, self.width = (
            label, column, csv, default, hint, width,
        )  # fmt: skip

    def __set_name__(self, owner: type, name: str) -> None:
        self.name = name
        self.column = self.column or name

    @overload
    def __get__(self, form: None, owner: type) -> Self: ...
    @overload
    def __get__(self, form: "Form", owner: type) -> T: ...
    def __get__(self, form: "Form | None", owner: type) -> Self | T:
        return self if form is None else form.value_of(self)

    def read(self, text: Any, at: str, form: Any) -> T:
        """Return the value of a text; ``at`` names the field in faults.

        Raises:
            Invalid: at ``at``, when the text cannot be read.
        """
        raise NotImplementedError

    def write(self, value: T) -> Any:
        """Return a value as it would be typed."""
        return "" if value is None else str(value)

    def sent(self, posted: Mapping[str, str], prefix: str) -> Any:
        """Return what a page posted for this field; what it did not send is empty."""
        return posted.get(prefix + self.name, "")

    def stored(self, row: Any) -> Any:
        """Return what a stored row holds, as it would be typed."""
        return self.write(getattr(row, self.column))

    def columns(self, value: T) -> dict[str, object]:
        """Return the columns of the stored row that a value fills."""
        return {self.column: value}

    def choices(self) -> Sequence[Choice]:
        """Return what can be chosen; empty where anything can be typed."""
        return ()


class Rows(Field[tuple[F, ...]], Generic[F]):
    """Rows of a form of their own; those left blank are no rows. Fields are named ``<prefix>-<place>-<name>``."""

    control = "rows"

    def __init__(self, label: str, form: type[F], prefix: str, *, most: int, too_many: str) -> None:
        super().__init__(label)
        self.form, self.prefix, self.most, self.too_many = form, prefix, most, too_many

    def read(self, text: tuple[F, ...], at: str, form: Any) -> tuple[F, ...]:
        """Return the rows that are filled, each read; raise the faults of all of them."""
        filled = [row for row in text if not row.blank]
        if len(filled) > self.most:
            raise Invalid(at, self.too_many.format(most=self.most, count=len(filled)))
        faults = [fault for row in filled for fault in row.faults()]
        if faults:
            raise Faults(faults)
        return tuple(filled)

    def placed(self, rows: Iterable[F]) -> tuple[F, ...]:
        """Return the rows with their places, each knowing how many are filled."""
        listed = tuple(rows)
        filled = sum(not row.blank for row in listed)
        return tuple(row.at_place(f"{self.prefix}-{place}-", filled) for place, row in enumerate(listed))

    def stored(self, row: Any) -> tuple[F, ...]:
        """Return the stored rows, as they would be typed."""
        return tuple(self.form.of(one) for one in getattr(row, self.column))

    def write(self, value: tuple[F, ...]) -> Any:
        """Return the rows as they would be typed."""
        return tuple(row.as_read() for row in value)

    def columns(self, value: tuple[F, ...]) -> dict[str, object]:
        """Return nothing: who stores the form stores its rows."""
        return {}

    def sent(self, posted: Mapping[str, str], prefix: str) -> tuple[F, ...]:
        """Return the rows of a form as posted, in the order of their numbers; far too many are cut off."""
        numbers = {name.split("-")[1] for name in posted if name.startswith(f"{self.prefix}-") and name.count("-") > 1}
        places = sorted(int(number) for number in numbers if number.isascii() and number.isdigit() and len(number) < 5)
        return tuple(self.form.sent(posted, f"{self.prefix}-{place}-") for place in places[: 2 * self.most])


def rule(method: Rule) -> Rule:
    """Mark a method of a form that checks fields against each other; it raises `Invalid` at the field to change."""
    method.is_rule = True  # type: ignore[attr-defined]
    return method


class Form:
    """What was typed into the fields that a subclass declares; nothing in it changes once it is made."""

    fields: ClassVar[Mapping[str, Field[Any]]] = {}
    rules: ClassVar[tuple[Rule, ...]] = ()
    filled_by: ClassVar[tuple[str, ...]] = ()

    def __init_subclass__(cls) -> None:
        """Collect the fields and rules, those of the parents first."""
        everything = [item for parent in reversed(cls.__mro__) for item in vars(parent).items()]
        cls.fields = {name: field for name, field in everything if isinstance(field, Field)}
        cls.rules = tuple(one for _, one in everything if getattr(one, "is_rule", False))

    def __init__(self, *in_order: Any, **texts: Any) -> None:
        """Make a form from texts, in the order of the fields or by name; the other fields hold their defaults."""
        texts |= dict(zip(self.fields, in_order, strict=False))
        strange = texts.keys() - self.fields.keys()
        if strange:
            raise TypeError(f"{type(self).__name__} has no field {', '.join(sorted(strange))}")
        self.text: dict[str, Any] = {}
        for name, field in self.fields.items():
            if isinstance(field, Rows):
                self.text[name] = field.placed(texts.get(name, ()))
            else:
                self.text[name] = texts.get(name, field.default)
        self.given: Any = None
        self.at = ""
        self.filled_rows = 1
        self._known: dict[str, tuple[Any, Exception | None]] = {}

    @classmethod
    def sent(cls, posted: Mapping[str, str], prefix: str = "") -> Self:
        """Return the form as a page posted it; what was not sent is empty."""
        return cls(**{name: field.sent(posted, prefix) for name, field in cls.fields.items()})

    @classmethod
    def of(cls, row: Any) -> Self:
        """Return a stored row as it would be typed."""
        return cls(**{name: field.stored(row) for name, field in cls.fields.items()})

    def but(self, **texts: Any) -> Self:
        """Return the form with some texts changed."""
        return type(self)(**{**self.text, **texts})

    def at_place(self, at: str, filled_rows: int) -> Self:
        """Return the form as a row of another one."""
        row = copy.copy(self)
        row.at, row.filled_rows, row._known = at, filled_rows, {}
        return row

    def posted_name(self, name: str) -> str:
        """Return what a field is called on the page, which is where its fault is shown."""
        return self.at + name

    def value_of(self, field: Field[T]) -> T:
        """Return the value of a field; a fault is raised as the same object each time.

        Raises:
            Invalid, Faults: when it cannot be read.
        """
        if field.name not in self._known:
            try:
                self._known[field.name] = field.read(self.text[field.name], self.posted_name(field.name), self), None
            except (Invalid, Faults) as wrong:
                self._known[field.name] = None, wrong
        value, fault = self._known[field.name]
        if fault is not None:
            raise fault
        return value  # type: ignore[no-any-return]

    def faults(self) -> list[Invalid]:
        """Return everything that is wrong: fields first, then rules whose fields could be read."""
        found = FaultList()
        for field in self.fields.values():
            found.read(self.value_of, field)
        for one in self.rules:
            found.read(one, self)
        return found.faults

    def checked(self, given: Any = None, *, also: Iterable[Invalid] = ()) -> Self:
        """Return the form with every field read.

        Args:
            given: what its fields need to know besides the text; the session, where one of them asks the store.
            also: what else stands against it, found by who takes the form.

        Raises:
            Faults: with everything that is wrong, each at the name of its field.
        """
        form = copy.copy(self)
        form.given, form._known = given, {}
        faults = [*form.faults(), *also]
        if faults:
            raise Faults(faults)
        return form

    def columns(self) -> dict[str, object]:
        """Return the columns of the stored row with the values read, rows of rows left out."""
        return {
            column: value
            for field in self.fields.values()
            for column, value in field.columns(self.value_of(field)).items()
        }

    def as_read(self) -> Self:
        """Return the form with every value written anew, so that ``1,50`` and ``1.5`` are the same."""
        return type(self)(**{name: field.write(self.value_of(field)) for name, field in self.fields.items()})

    @property
    def blank(self) -> bool:
        """Whether none of the fields that make a row a row was filled."""
        return not any(self.text[name].strip() for name in self.filled_by or self.fields)

    @property
    def line(self) -> str:
        """The form in one line, for comparing two states."""
        return "; ".join(text.strip() for text in self.text.values() if isinstance(text, str) and text.strip())

    def shown(self, name: str) -> str:
        """Return what stands in a field, rows as a line each."""
        text = self.text[name]
        return text if isinstance(text, str) else "\n".join(row.line for row in text if not row.blank)

    def differences(self, theirs: Self) -> tuple[Difference, ...]:
        """Return what differs from another state of the same form, in the order of the fields."""
        pairs = [(field.label, self.shown(name), theirs.shown(name)) for name, field in self.fields.items()]
        return tuple(
            Difference(label, a, b)
            for label, a, b in pairs
            if label and normalise_whitespace(a) != normalise_whitespace(b)
        )

    def refuse_overtaken(
        self, stored: Self, seen: str | int, words: str, *, given: Any = None, now: int | None = None
    ) -> bool:
        """Refuse a form that was filled in on an earlier state of what it changes; its own faults are told first.

        Return whether it says just what is kept by now, as it does when it is sent twice.

        Args:
            stored: what is kept now.
            seen: the mark of what was kept when the page was opened: its fingerprint, or its row version.
            words: what to say.
            given: what the form is checked with.
            now: the row version of what is kept now, where that is the mark.

        Raises:
            Faults: with everything that is wrong with the form.
            Overtaken: when something else is kept by now.
        """
        mark = stored.fingerprint if now is None else now
        if mark == seen:
            return False
        self.checked(given)
        differences = self.differences(stored)
        if differences:
            raise Overtaken(words, differences, mark)
        return True

    @property
    def fingerprint(self) -> str:
        """A short text that tells one state of a form from another; it travels with the form."""
        return hashlib.blake2b(repr(self).encode("utf-8", "surrogatepass"), digest_size=12).hexdigest()

    @classmethod
    def labels(cls) -> dict[str, str]:
        """Return the label of every field that has one."""
        return {name: field.label for name, field in cls.fields.items() if field.label}

    @classmethod
    def csv_columns(cls) -> dict[str, Field[Any]]:
        """Return the fields that stand in files by the headings of their columns."""
        return {field.csv: field for field in cls.fields.values() if field.csv}

    @classmethod
    def from_cells(cls, cells: Mapping[str, str], **more: Any) -> Self:
        """Return the form that a line of a file holds; empty cells leave the defaults, ``more`` is set besides."""
        texts = {field.name: cells.get(column, "") for column, field in cls.csv_columns().items()}
        return cls(**{name: text for name, text in texts.items() if text.strip()} | more)

    @property
    def cells(self) -> dict[str, str]:
        """The form as a line of a file."""
        return {column: self.text[field.name] for column, field in self.csv_columns().items()}

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and self.text == other.text

    def __hash__(self) -> int:
        return hash(self.fingerprint)

    def __repr__(self) -> str:
        return f"{type(self).__name__}({', '.join(f'{name}={text!r}' for name, text in self.text.items())})"
