"""Names by jurisdiction: water, plants, perfume, colours. The tables come in as values."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from app.science.declaration.values import Role
from app.science.jurisdiction import Jurisdiction
from app.science.names import inci_key


@dataclass(frozen=True, slots=True)
class NameRow:
    """One thing with its names; ``names`` are keys of every spelling met, an empty name means there is none.

    ``note`` is ``certified`` where the US name is that of a certificate, ``mixed`` where one word stands for several
    Colour Index numbers.
    """

    kind: str
    names: tuple[str, ...]
    eu_name: str
    us_name: str
    cas: tuple[str, ...] = ()
    note: str = ""

    def on(self, jurisdiction: Jurisdiction) -> str:
        """Return the name for a jurisdiction, empty where there is none."""
        return self.eu_name if jurisdiction is Jurisdiction.EU else self.us_name


@dataclass(frozen=True, slots=True)
class LabelName:
    """A name for the label; ``key`` is under what it is summed, ``row`` where it was found in the tables."""

    text: str
    key: str
    row: NameRow | None = None


@dataclass(frozen=True, slots=True)
class NameBook:
    """The tables of names, by key."""

    plain: Mapping[str, NameRow] = field(default_factory=dict)
    plants: Mapping[str, NameRow] = field(default_factory=dict)
    colours: Mapping[str, NameRow] = field(default_factory=dict)
    colours_by_cas: Mapping[str, NameRow] = field(default_factory=dict)

    @classmethod
    def of(cls, rows: Iterable[NameRow]) -> "NameBook":
        """Sort the rows of the table by what they name."""
        plain: dict[str, NameRow] = {}
        plants: dict[str, NameRow] = {}
        colours: dict[str, NameRow] = {}
        tables = {"plant": plants, "colour": colours}
        for row in rows:
            tables.get(row.kind, plain).update(dict.fromkeys(row.names, row))
        return cls(plain, plants, colours, {number: row for row in colours.values() for number in row.cas})


_COLOUR_INDEX = re.compile(r"\bC\.?\s?I\.?\s*(?:NO\.?\s*)?(\d{5}(?::\d)?)(?!\d)")
_BARE_INDEX = re.compile(r"(\d{5}(?::\d)?)")
_LAKE = re.compile(r"\s*\(?(?:(?:ALUMIN(?:I?)UM|CALCIUM|BARIUM|STRONTIUM|ZIRCONIUM|AL|CA|BA)\s+)?LAKE\)?$")
_CERTIFIED_PREFIX = re.compile(r"^(EXT\.?\s+)?(?:FD&C|D&C|FDC|DC)\s+")
_PLANT_PARTS = (
    "ACID BARK BEAN BERRY BRAN BUD BULB BUTTER CERA CONE CUTICLE EXTRACT FERMENT FIBER FLOUR FLOWER FRUIT GEL GERM "
    "GRAIN GUM HERB HUSK JUICE KERNEL LEAF LEES LIPIDS MEAL MILK NECTAR NEEDLE NUT OIL PEEL PETAL POD POLLEN POWDER "
    "PROTEIN PULP RESIN RHIZOME ROOT SAP SEED SEEDCAKE SHELL SHOOT SKIN SPROUT STALK STARCH STEM STEROLS TUBER "
    "UNSAPONIFIABLES WATER WAX WOOD"
)
_PART_WORDS = frozenset(_PLANT_PARTS.split())
_IN_BRACKETS = re.compile(r"^(?P<latin>[A-Za-z-]+(?: [A-Za-z-]+){1,2}) \((?P<english>[A-Za-z' -]+)\) (?P<part>\S.*)$")
_LONGEST_LATIN = 4


def clean(name: str) -> str:
    """Return a name as one run of words, without line ends or other control characters."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in name).split())


def has_colour_index(name: str) -> bool:
    """Return whether a name carries a Colour Index number; then it can be nothing but a colour."""
    return bool(_COLOUR_INDEX.search(inci_key(name)))


def role_by_name(name: str, book: NameBook) -> Role | None:
    """Return the role a name alone settles: perfume and flavour by their words, a colour by its number."""
    row = book.plain.get(inci_key(name))
    if row is not None and row.kind in (Role.PERFUME, Role.FLAVOUR):
        return Role(row.kind)
    return Role.COLOUR if has_colour_index(name) else None


def ingredient_name(name: str, jurisdiction: Jurisdiction, book: NameBook) -> LabelName:
    """Name an ingredient that is no colour: water, trivial names and plants by jurisdiction, all else as written."""
    text = clean(name)
    row = book.plain.get(inci_key(text))
    if row is not None:
        return LabelName(row.on(jurisdiction), inci_key(row.eu_name), row)
    latin = _without_english(text)
    found = _plant(latin, book)
    if found is None:
        return LabelName(latin if jurisdiction is Jurisdiction.EU else text, inci_key(latin))
    row, rest = found
    return LabelName(
        _plant_name(row, rest, jurisdiction, capitals=text.isupper()), re.sub(r"\bWAX\b", "CERA", inci_key(latin)), row
    )


def _without_english(text: str) -> str:
    """Take the English word in brackets out of a plant name: ``Olea Europaea (Olive) Fruit Oil``."""
    match = _IN_BRACKETS.match(text)
    if match is None or not set(re.split(r"[ /]", match["part"].upper())) & _PART_WORDS:
        return text
    return f"{match['latin']} {match['part']}"


def _plant(latin: str, book: NameBook) -> tuple[NameRow, str] | None:
    """Find the plant a name begins with, the longest first, and what follows it."""
    words = latin.split()
    for size in range(min(_LONGEST_LATIN, len(words) - 1), 1, -1):
        row = book.plants.get(inci_key(" ".join(words[:size])))
        if row is not None:
            return row, " ".join(words[size:])
    return None


def _plant_name(row: NameRow, rest: str, jurisdiction: Jurisdiction, *, capitals: bool) -> str:
    latin = f"{row.eu_name} ({row.us_name})" if jurisdiction is Jurisdiction.US else row.eu_name
    wax = {"Cera": "Wax", "CERA": "WAX"} if jurisdiction is Jurisdiction.US else {"Wax": "Cera", "WAX": "CERA"}
    text = " ".join([latin, *(wax.get(word, word) for word in rest.split())])
    return text.upper() if capitals else text


def colour_name(name: str, cas: str | None, jurisdiction: Jurisdiction, book: NameBook) -> LabelName:
    """Name a colourant: Colour Index number in the EU, the listed name in the US; as written where none is known."""
    row, lake = find_colour(name, cas, book)
    text = row.on(jurisdiction) if row is not None else ""
    index = colour_index(name)
    if index and (not text or (jurisdiction is Jurisdiction.EU and row is not None and row.note != "mixed")):
        text = f"CI {index}"
    if text and lake and jurisdiction is Jurisdiction.US:
        text = f"{text} Lake"
    text = text or clean(name)
    return LabelName(text, inci_key(text), row)


def colour_index(name: str) -> str:
    """Return the Colour Index number in a name, such as 77891 or 15850:1; empty where there is none."""
    key = inci_key(name)
    match = _COLOUR_INDEX.search(key) or _BARE_INDEX.fullmatch(key)
    return match[1] if match else ""


def find_colour(name: str, cas: str | None, book: NameBook) -> tuple[NameRow | None, bool]:
    """Find a colour by number, name or CAS number, and tell whether its lake is meant."""
    key = inci_key(clean(name))
    index = colour_index(key)
    if index and key not in book.colours:
        found = book.colours.get(f"CI {index}") or book.colours.get(f"CI {index.partition(':')[0]}")
        return found, bool(_LAKE.search(key))
    word = re.sub(r"\bNO\.? ?", "", _CERTIFIED_PREFIX.sub(lambda m: "EXT. " if m[1] else "", key))
    row = book.colours.get(word) or book.colours.get(_LAKE.sub("", word))
    by_cas = book.colours_by_cas.get(cas or "")
    if by_cas is not None and (row is None or row.note == "mixed"):
        row = by_cas
    return row, word not in book.colours and bool(_LAKE.search(word))
