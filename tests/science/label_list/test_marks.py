"""What stands on a name without belonging to it: signs, percentages, footnotes, brackets, slashes."""

from dataclasses import replace
from decimal import Decimal as D

import pytest

from app.reference.label_names import LabelNames
from app.science.errors import Invalid
from app.science.label_list.footnotes import without_footnotes
from app.science.label_list.marks import bare
from app.science.label_list.naming import (
    blend_parts,
    bracketed_names,
    comma_parts,
    first_known,
    known,
    known_as,
    plain,
    spellings,
)
from app.science.label_list.reading import MOST_CHARACTERS, plain_keeping_places, read_list, read_name
from app.science.label_list.values import Certainty, Match, Piece


class Book:
    """A few names, and one likely misspelling."""

    names = {name: name for name in ("AQUA", "UREA", "TALC", "MICA", "PARFUM", "LIMONENE", "PEG-8", "SALT, SEA")} | {
        "WATER": "AQUA", "EAU": "AQUA", "A-B": "A-B", "OIL / FAT": "OIL", "BLUE AND WHITE": "BLUE AND WHITE",
    }  # fmt: skip

    def find(self, text: str) -> Match | None:
        key = self.names.get(" ".join(text.upper().split()))
        return Match(key, key.title(), Certainty.EXACT) if key else None

    def guess(self, text: str) -> Match | None:
        return Match("UREA", "Urea", Certainty.SPELLING) if text.upper() == "URAE" else None


BOOK = Book()

BARE = [
    ("Urea*", "Urea", None, False, "*"), ("*Urea", "Urea", None, False, "*"), ("* † Urea", "Urea", None, False, "*†"),
    ("Urea ** †", "Urea", None, False, "**†"), ("Oil* Seed", "Oil Seed", None, False, "*"),
    ("Urea (*)", "Urea", None, False, "*"),
    ("Urea (1)", "Urea", None, False, "1"), ("Urea (a)", "Urea", None, False, "a"),
    ("Urea (12)", "Urea (12)", None, False, ""), ("Zinc Oxide [nano]", "Zinc Oxide", None, True, ""),
    ("Zinc Oxide nano", "Zinc Oxide", None, True, ""), ("Nanocrystal", "Nanocrystal", None, False, ""),
    ("Urea 10 %", "Urea", "10", False, ""),
    ("Urea (2,5%)", "Urea", "2.5", False, ""), ("ca. 5 % Urea", "Urea", "5", False, ""),
    ("Urea 100 %", "Urea", "100", False, ""),
    ("Urea 100.1 %", "Urea", None, False, ""), ("Urea 101 %", "Urea", None, False, ""),
    ("Urea 3 % w/w", "Urea", "3", False, ""), ("Urea (100 ppm)", "Urea", "0.01", False, ""),
    ("Urea 1,000 ppm", "Urea", "0.1", False, ""), ("Urea 25 000 ppm*", "Urea", "2.5", False, "*"),
    ("10 %", "10 %", None, False, ""),
    ("Alcohol denat", "Alcohol denat.", None, False, ""), ("Urea .", "Urea", None, False, ""),
]  # fmt: skip


@pytest.mark.parametrize(("text", "name", "percent", "nano", "marks"), BARE)
def test_marks_are_taken_off_and_kept(text: str, name: str, percent: str | None, nano: bool, marks: str) -> None:
    found = bare(text)
    assert (found.text, found.percent, found.nano, found.marks) == (
        name, None if percent is None else D(percent), nano, marks,
    )  # fmt: skip


def parted(*texts: str) -> tuple[list[str], list[str]]:
    kept, notes = without_footnotes([Piece(text, 10, 10 + len(text)) for text in texts], BOOK)
    for piece in kept:
        assert (piece.start, piece.end) == (10, 10 + len(piece.text))
    return [piece.text for piece in kept], notes


PARTED = [
    (("Aqua", "Urea"), ["Aqua", "Urea"], []),
    (("Aqua", "* organic"), ["Aqua"], ["* organic"]),
    (("Aqua", "organic"), ["Aqua", "organic"], []),  # one telling word without its sign may be a name
    (("Aqua", "from organic farming"), ["Aqua"], ["from organic farming"]),
    (("Urea *from organic farming",), ["Urea"], ["*from organic farming"]),
    (("Urea\nMade in our workshop by hand",), ["Urea"], ["Made in our workshop by hand"]),
    (("Urea\nMade By Hand",), ["Urea\nMade By Hand"], []),
    (("* organic", "Talc", "and more of it"), ["Talc"], ["* organic", "and more of it"]),
    (("Aqua", "and more of it"), ["Aqua", "and more of it"], []),
    (("Urea (from organic farming)",), ["Urea"], []),
    (("Thing (from organic farming)",), [], ["Thing (from organic farming)"]),
    (("Urea (see the wide world of)",), ["Urea"], []),  # one telling word in a sentence of four and more
    (("see the wide world",), [], ["see the wide world"]),
    (("see the World",), ["see the World"], []),
    (("See The wide World Of",), ["See The wide World Of"], []),
    (("see this one Two Three Four",), ["see this one Two Three Four"], []),
    (("***",), ["***"], []),
]  # fmt: skip


@pytest.mark.parametrize(("texts", "names", "notes"), PARTED)
def test_a_footnote_is_parted_from_the_name_before_it(texts: tuple, names: list, notes: list) -> None:
    assert parted(*texts) == (names, notes)


KNOWN = [
    ("Aqua", "AQUA", Certainty.EXACT),
    ("Aqua (Water)", "AQUA", Certainty.SYNONYM), ("Thing (Water)", "AQUA", Certainty.SYNONYM),
    ("Thing (Water, Urea)", None, None),
    ("Thing (Water, Eau)", "AQUA", Certainty.SYNONYM), ("Water/Aqua/Eau", "AQUA", Certainty.SYNONYM),
    ("Water/Urea", None, None), ("Water/Thing", "AQUA", Certainty.SYNONYM), ("Oil / Fat", "OIL", Certainty.EXACT),
    ("A- B", "A-B", Certainty.EXACT), ("A -B", "A-B", Certainty.EXACT),
    ("A B", None, None), ("Aqua (Water", "AQUA", Certainty.SYNONYM),
    ("CI 77891", "CI 77891", Certainty.EXACT),
    ("C.I. 77891", "CI 77891", Certainty.SYNONYM), ("77891", "CI 77891", Certainty.SYNONYM),
    ("Red (CI 77491)", "CI 77491", Certainty.SYNONYM),
    ("CI 77491 CI 77492", None, None), ("E 171", "CI 77891", Certainty.SYNONYM),
    ("Ure\na", "UREA", Certainty.EXACT), ("PEG-\n8", "PEG-8", Certainty.EXACT), ("Nothing", None, None),
]  # fmt: skip


@pytest.mark.parametrize(("text", "key", "certainty"), KNOWN)
def test_one_substance_is_found_through_brackets_slashes_and_line_breaks(text: str, key, certainty) -> None:
    found = known(text, BOOK)
    assert (found and found.key, found and found.certainty) == (key, certainty)


def test_a_cut_name_has_its_ways_of_being_meant_and_the_one_that_tells_is_kept() -> None:
    assert list(spellings("Glyc\nerin")) == ["Glyc erin", "Glycerin"]
    assert list(spellings("Glyc  erin")) == ["Glyc erin"]
    assert list(spellings("PEG-\n40")) == ["PEG-40", "PEG40", "PEG- 40"]
    assert known_as("Ure\na", BOOK)[0] == "Urea"
    assert known_as("Not\nknown", BOOK) == ("Not known", None)
    assert plain("a\u00adb\u2019c\u2013d\\e") == "ab'c-d/e"
    assert plain_keeping_places("a\u00adb") == "a b"  # no place moves
    assert plain_keeping_places("a\u2013b") == "a-b"
    assert first_known(["Nothing", "Urae"], BOOK) == Match("UREA", "Urea", Certainty.SPELLING)
    assert first_known(["Nothing"], BOOK) is None


def test_brackets_are_followed_no_deeper_than_a_name_goes() -> None:
    deep = "Aqua " + "(" * 12 + "Water" + ")" * 12
    assert known(deep, BOOK) is not None
    assert known("Aqua " + "(" * 13 + "Water" + ")" * 13, BOOK) is None


SPLIT = [
    (blend_parts, "Aqua (and) Thing", ["Aqua", "Thing"]), (blend_parts, "Aqua and Urea", ["Aqua", "Urea"]),
    (blend_parts, "Aqua and Thing", ["Aqua and Thing"]), (blend_parts, "Aqua / Urea", ["Aqua", "Urea"]),
    (blend_parts, "Aqua/Thing", ["Aqua/Thing"]), (blend_parts, "Aqua & Urea + Talc", ["Aqua", "Urea", "Talc"]),
    (blend_parts, "Aqua", ["Aqua"]), (comma_parts, "PEG-8,Urea", ["PEG-8", "Urea"]),
    (comma_parts, "PEG-8,Thing", ["PEG-8,Thing"]), (comma_parts, "Thing,Urea", ["Thing,Urea"]),
    (comma_parts, "Salt, Sea,Urea", ["Salt, Sea", "Urea"]),
    (bracketed_names, "Parfum (Limonene, Urea)", ("Parfum", ["Limonene", "Urea"])),
    (bracketed_names, "Parfum (Limonene)", ("Parfum", ["Limonene"])), (bracketed_names, "Talc (Limonene)", None),
    (bracketed_names, "Talc (Limonene, Thing)", ("Talc", ["Limonene", "Thing"])),
    (bracketed_names, "Aqua (Water, Eau)", None),
    (bracketed_names, "Thing (Limonene, Urea)", None), (bracketed_names, "Parfum", None),
    (bracketed_names, "Irons (CI 77491, CI 77492)", ("", ["CI 77491", "CI 77492"])),
    (bracketed_names, "Irons (CI 77491)", None),
    (bracketed_names, "Irons (CI 77491, Urea)", None), (bracketed_names, "Talc (Thing, Other)", None),
]  # fmt: skip


@pytest.mark.parametrize(("split", "text", "expected"), SPLIT)
def test_a_piece_of_several_names_is_split_where_that_makes_names(split, text: str, expected) -> None:
    assert split(text, BOOK) == expected


def test_a_read_name_knows_its_place_its_blend_and_what_it_stands_in() -> None:
    text = "Aqua, Talc (and) Mica, Parfum (Limonene, Urea), Urea 2 %, Thing"
    found = {name.key: name for name in read_list(text, BOOK).names}
    assert {key: text[name.start : name.end] for key, name in found.items()} == {
        "AQUA": "Aqua", "TALC": "Talc", "MICA": "Mica", "PARFUM": "Parfum", "LIMONENE": "Limonene", "UREA": "Urea",
        "THING": "Thing",
    }  # fmt: skip
    assert [name.blend for name in found.values()] == [None, 1, 1, None, None, None, None]
    assert [name.within for name in found.values()] == [None, None, None, None, "Parfum", "Parfum", None]
    assert found["UREA"].again == ((48, 56),)
    assert found["THING"].certainty is Certainty.UNKNOWN
    twice = "Urea and Urea, Aqua"
    assert [twice[name.start : name.end] for name in read_list(twice, BOOK).names] == ["Urea", "Aqua"]
    assert read_list(twice, BOOK).names[0].again == ((9, 13),)
    assert read_name("Urae* 5 %", BOOK) == replace(
        read_name("Urae", BOOK), marks="*", percent=D(5), end=9, printed="Urae"
    )  # fmt: skip


def test_a_text_may_be_twenty_thousand_characters_long() -> None:
    book = LabelNames()
    assert read_list("Aqua".ljust(MOST_CHARACTERS), book).names[0].key == "AQUA"
    assert MOST_CHARACTERS == 20_000
    with pytest.raises(Invalid):
        read_list("Aqua".ljust(20_001), book)


def test_long_runs_of_blanks_are_read_past_at_once_and_every_name_keeps_its_place() -> None:
    """A page copied with its mark-up leaves thousands of blanks, of which a pattern would try every part."""
    gap = " " * 9_000
    text = f"Aqua,{gap}\n{gap}Urea (and) Talc, may  contain:\t\t\tMica"
    names = read_list(text, BOOK).names
    assert [text[name.start : name.end] for name in names] == ["Aqua", "Urea", "Talc", "Mica"]
    assert [name.may_contain for name in names] == [False, False, False, True]
    lines = f"Aqua{gap}\nUrea\n\n\nTalc"
    assert [text_of.key for text_of in read_list(lines, BOOK).names] == ["AQUA", "UREA", "TALC"]
    assert [name.key for name in read_list("Aqua\t\t\t\tUrea", BOOK).names] == ["AQUA", "UREA"]
