"""The table of names by jurisdiction is sound."""

import re
from collections import Counter

from app.reference.declaration_names import name_book, name_rows
from app.science.names import inci_key


def test_every_spelling_means_one_thing() -> None:
    kinds = {"plant": "plant", "colour": "colour"}
    spellings = Counter((kinds.get(row.kind, "plain"), name) for row in name_rows() for name in row.names)
    assert [spelling for spelling, times in spellings.items() if times > 1] == []


def test_colours_carry_an_index_number_or_a_name_of_annex_iv() -> None:
    for row in name_rows():
        if row.kind == "colour" and row.eu_name and row.note != "mixed":
            assert re.fullmatch(r"CI \d{5}(:\d)?", row.eu_name) or inci_key(row.eu_name) in row.names


def test_a_cas_number_has_its_check_digit() -> None:
    numbers = [number for row in name_rows() for number in row.cas]
    assert len(numbers) > 15
    for number in numbers:
        *digits, check = (int(sign) for sign in number.replace("-", ""))
        assert sum(place * digit for place, digit in enumerate(reversed(digits), start=1)) % 10 == check, number


def test_the_book_holds_every_row() -> None:
    book = name_book()
    held = {*book.plain.values(), *book.plants.values(), *book.colours.values()}
    assert held == set(name_rows())
    assert len(book.plants) > 100
    assert len(book.colours) > 150
