"""What the words 'free of' on a pack mean of the names of a list: the table ``inference_free_of.csv``."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from app.reference.tables import read_table
from app.science.inference.values import ListedName

COLUMNS = ["word", "words", "meaning", "pattern", "classes", "mark"]
LISTED = r"(?P<list>[^.;:!?\n]{2,120})"
BEFORE = re.compile(
    rf"\b(?:free (?:of|from)|without(?: any)?|no|zero|0 ?%|sans|ohne|frei von)\s+{LISTED}", re.IGNORECASE
)
AFTER = re.compile(r"\b(?P<list>[a-z]+(?: [a-z]+)?)[- ]?(?:free\b(?! (?:of|from))|frei\b)", re.IGNORECASE)
NOTHING = re.compile(r"(?!)")


@dataclass(frozen=True, slots=True)
class FreeOf:
    """A thing that a pack says it is free of; ``meaning`` says what counts."""

    word: str
    meaning: str
    pack: re.Pattern[str]
    names: re.Pattern[str]
    classes: frozenset[str]

    def counts(self, name: ListedName) -> bool:
        """Return whether a printed name is one of those meant."""
        return name.class_name in self.classes or self.names.search(name.key) is not None


@cache
def things_to_be_free_of() -> tuple[FreeOf, ...]:
    """Return the table, in its order: of two rows whose words fit, the first wins."""
    return tuple(
        FreeOf(
            row["word"],
            row["meaning"],
            re.compile(rf"\b(?:{row['words'].replace(';', '|')})\b", re.IGNORECASE),
            re.compile(row["pattern"]) if row["pattern"] else NOTHING,
            frozenset(row["classes"].split()),
        )
        for row in read_table("inference_free_of", COLUMNS)
    )


@cache
def free_of(word: str) -> FreeOf:
    """Return the row of a word.

    Raises:
        KeyError: when there is none.
    """
    return {one.word: one for one in things_to_be_free_of()}[word]


def said_free_of(text: str) -> tuple[str, ...]:
    """Return what a pack says it is free of, each by its word of the table.

    >>> said_free_of("Alcohol-free, without parabens and mineral oil")
    ('alcohol', 'mineral oil', 'parabens')
    """
    found = set()
    for words in (match["list"] for shape in (BEFORE, AFTER) for match in shape.finditer(text)):
        left = words
        for one in things_to_be_free_of():
            if one.pack.search(left):
                left = one.pack.sub(" ", left)  # what one row has taken, 'mineral oil', is no longer 'oil'
                found.add(one.word)
    return tuple(one.word for one in things_to_be_free_of() if one.word in found)


def free_of_notes(words: Sequence[str], names: Sequence[ListedName]) -> Iterator[str]:
    """Say how each claim was read, and what is printed all the same."""
    for word in words:
        one = free_of(word)
        printed = [name.name for name in names if one.counts(name)]
        if printed:
            yield (
                f"The pack says free of {word}, yet {', '.join(printed)} stands in the list: taken as no more than "
                f"another material carries in. It means {one.meaning}."
            )
        else:
            yield f"Free of {word}, read as {one.meaning}: nothing of the kind is printed."
