import csv
import io
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from app.store.engine import Store, sqlite_url
from app.store.material_queries import all_materials
from app.store.materials import PackagingRow, PriceRow
from app.work.csv_text import LONGEST_CELL, Unreadable, decode, guarded, read_table, unguarded, write_table
from app.work.equipment import PACKAGING, PackagingForm
from app.work.materials import shelf, transfer, transfer_prices
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.prices import PriceForm, add_price

EXTRACT = MaterialForm(
    name="=cmd|' /C calc'!A0",
    form="liquid",
    phase_hint="cool-down",
    density="1.18",
    ph_min="-0.5",
    ph_max="7",
    cautions="Wear gloves.\nKeep cool.",
    notes='"quoted", and a line\nmore; 100 % of it',
    supplier="@someone",
    parts=(
        PartForm("Glycerin", "60-80 (75)", "56-81-5", source="-sheet"),
        PartForm("CI 77891", "5", kind="colourant", nano="yes", may_contain="yes"),
        PartForm("Parfum", "2", kind="perfume", allergens="Limonene 4.2\nLinalool 1.1"),
    ),
)
RETIRED = MaterialForm(name="Old water", parts=(PartForm("Aqua", "100"),))


def fill(store: Store) -> None:
    first = shelf.add_material(store, EXTRACT)
    shelf.retire(store, shelf.add_material(store, RETIRED))
    shelf.add_material(store, RETIRED)
    shelf.put_on_shelf(store, "glycerin")
    add_price(store, first, PriceForm("12.40", "8 oz", "2026-03-05", "=evil()", note="+1"))
    add_price(store, first, PriceForm("3", "500 mL", "2026-03-06", kind="offered"))


def state(store: Store) -> list[object]:
    with store.reading() as session:
        found = all_materials(session)
        return sorted(
            (repr(MaterialForm.of(m)), m.retired_at is None, [PriceForm.of(p) for p in m.prices]) for m in found
        )


def test_what_goes_out_comes_in_the_same(store: Store, another_store: Callable[[], Store]) -> None:
    fill(store)
    other = another_store()
    assert transfer.import_materials(other, transfer.export_materials(store), update=False) == 4
    assert transfer_prices.import_prices(other, transfer_prices.export_prices(store)) == 2
    assert state(other) == state(store)


@pytest.fixture
def another_store(migrated_file: Path, tmp_path: Path) -> Iterator[Callable[[], Store]]:
    with ExitStack() as stack:

        def copy() -> Store:
            other = Store(sqlite_url(Path(shutil.copy(migrated_file, tmp_path / "other.db"))))
            stack.callback(other.close)
            return other

        yield copy


def test_no_cell_can_run_as_a_formula(store: Store) -> None:
    fill(store)
    for text, numbers in (
        (transfer.export_materials(store), transfer.NUMBERS),
        (transfer_prices.export_prices(store), transfer_prices.NUMBERS),
    ):
        for row in csv.DictReader(io.StringIO(text, newline="")):
            cells = [cell for column, cell in row.items() if column not in numbers]
            assert not [
                cell
                for cell in cells
                if cell.startswith(("=", "+", "-", "@", "\t", "\r", "\x00", "＝", "＋", "－", "＠"))
            ]


def test_numbers_stay_numbers(store: Store) -> None:
    fill(store)
    row = next(csv.DictReader(io.StringIO(transfer.export_materials(store), newline="")))
    assert (row["ph from"], row["percent"], row["low"], row["high"]) == ("-0.5", "75", "60", "80")


CELLS = st.text(alphabet=st.sampled_from("a'=+-@＝＋－＠\t\r\x00,;\"\n é漢"), max_size=8)


@given(CELLS)
def test_the_apostrophe_goes_on_and_off_again(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r", "\x00", "＝", "＋", "－", "＠"))


@settings(max_examples=60)
@given(st.lists(CELLS.map(lambda text: {"a": text, "b": "x"}), min_size=1, max_size=5))
def test_any_table_comes_back_cell_by_cell(rows: list[dict[str, str]]) -> None:
    assert [dict(record.cells) for record in read_table(write_table(("a", "b"), rows), ("a",), ("a", "b"))] == rows


def test_taking_the_same_file_again_changes_nothing(store: Store) -> None:
    fill(store)
    seen = transfer.preview(store, transfer.export_materials(store))
    assert (seen.new, seen.changed, len(seen.same)) == ((), (), 4)
    before = state(store)
    assert transfer.import_materials(store, transfer.export_materials(store), update=False) == 0
    prices = transfer_prices.export_prices(store)
    assert transfer_prices.preview_prices(store, prices).new == ()
    assert transfer_prices.import_prices(store, prices) == 0
    assert state(store) == before


def test_figures_of_the_file_are_taken_only_when_asked_for(store: Store) -> None:
    material_id = shelf.add_material(store, EXTRACT.but(name="Extract"))
    text = transfer.export_materials(store).replace("1.18", "1.20")
    assert transfer.preview(store, text).changed == ("Extract",)
    assert transfer.import_materials(store, text, update=False) == 0
    assert str(shelf.load_material(store, material_id).density_g_ml) == "1.18"
    assert transfer.import_materials(store, text, update=True, key="k") == 1
    assert str(shelf.load_material(store, material_id).density_g_ml) == "1.2"
    assert transfer.import_materials(store, text, update=True, key="k") == 1


FILES = [
    ("", 0, "The file is empty"),
    ("name,inci\n", 0, "no material"),
    ("name,percent\nA,5\n", 1, "the column inci is missing"),
    ("name,inci,colour\nA,Aqua,red\n", 1, "“colour” is not known"),
    ("name,inci,name\nA,Aqua,A\n", 1, "name is there twice"),
    ("name,inci\nA,Aqua\nB\n", 3, "1 cells, but the heading has 2"),
    ("name,inci,percent\nA,Aqua,100\nB,Aqua,nan\n", 3, "not a number"),
    ("name,inci,percent\nA,Aqua,60\nA,Glycerin,1e400\n", 3, "without the letter e"),
    ("name,inci\nA,Aqua\nB,Aqua\nA,Glycerin\n", 4, "A is in line 2 already"),
    ("name,inci\n,Aqua\n", 2, "Enter a name for the material"),
    ('name,inci\nA,"Aqua\n', 2, "opened here and never closed"),
    ('name,inci\nA,"Aq"ua\n', 2, "quotation marks do not fit"),
    ("name,inci\nA," + "x" * (LONGEST_CELL + 1) + "\n", 2, "one cell is longer"),
    ("name,inci\nA," + "x" * 200_000 + "\n", 2, "one cell is longer"),
    ("name,inci,density g/ml\n" + "A\n,Aqua,1\n", 2, "1 cells"),
]


@pytest.mark.parametrize(("text", "line", "words"), FILES, ids=range(len(FILES)))
def test_a_file_that_cannot_be_taken_says_where(store: Store, text: str, line: int, words: str) -> None:
    with pytest.raises(Unreadable) as refused:
        transfer.import_materials(store, text, update=False)
    assert refused.value.faults[0].line == line
    assert words in refused.value.faults[0].message
    assert state(store) == []


def test_one_bad_line_keeps_every_line_out(store: Store) -> None:
    good = "".join(f"M{n},Aqua,100\n" for n in range(50))
    with pytest.raises(Unreadable) as refused:
        transfer.import_materials(store, f"name,inci,percent\n{good}Bad,Aqua,101\n", update=False)
    assert [fault.line for fault in refused.value.faults] == [52]
    assert state(store) == []


PRICE_FILES = [
    ("material,price,amount\nNobody,1,1 kg\n", "Nobody is not on the shelf"),
    ("material,price,amount\nOld water,x,1 kg\n", "Price: x is not a number"),
    ("material,price,amount\nOld water,1,1 fl oz\n", "enter the density"),
    ("material,price,amount,currency\nOld water,1,1 kg,ZZ\n", "Currency: Enter the three letters"),
    ("material,price,amount,date\nOld water,1,1 kg,tomorrow\n", "When: Enter the date"),
]


@pytest.mark.parametrize(("text", "words"), PRICE_FILES, ids=range(len(PRICE_FILES)))
def test_a_price_that_cannot_be_taken_says_why(store: Store, text: str, words: str) -> None:
    shelf.add_material(store, RETIRED)
    with pytest.raises(Unreadable) as refused:
        transfer_prices.import_prices(store, text)
    assert refused.value.faults[0].line == 2
    assert words in refused.value.faults[0].message


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_commas_semicolons_and_tabs_part_cells(mark: str, end: str) -> None:
    records = read_table(f"name{mark}inci{end}{end}A{mark}Aqua{end}", ("name",), ("name", "inci"))
    assert [(r.line, dict(r.cells)) for r in records] == [(3, {"name": "A", "inci": "Aqua"})]


ENCODED = [
    ("é".encode(), "utf-8"),
    (b"\xef\xbb\xbf\xc3\xa9", "utf-8"),
    ("é".encode("utf-16"), "utf-8"),
    (b"\xe9", "cp1252"),
]


@pytest.mark.parametrize(("data", "encoding"), ENCODED)
def test_files_are_read_with_and_without_a_mark(data: bytes, encoding: str) -> None:
    assert decode(data, encoding) == "é"


@pytest.mark.parametrize(
    ("data", "encoding", "words"),
    [(b"a\nb\xe9\n", "utf-8", "Line 2: this is not UTF-8"), (b"a", "rot13", "Choose one"), (b"a", "", "Choose one")],
)
def test_other_encodings_are_named(data: bytes, encoding: str, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        decode(data, encoding)


BASE = "name,inci,percent,low,high,density g/ml,allergens\nA,Aqua,60,50,70,1.0,\n"
BASE += "A,Parfum,2,,,,Limonene 4.2; Linalool 1\nB,Mel,100,,,,\n"


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_damaged_file_is_read_or_refused_and_nothing_else(data: st.DataObject) -> None:
    text = list(BASE)
    for _ in range(data.draw(st.integers(1, 6))):
        place = data.draw(st.integers(0, len(text) - 1))
        text[place] = data.draw(st.sampled_from(["", '"', ",", "\n", "\x00", "-", "9", "é", "\ud800", "'", "=", "\r"]))
    with suppress(Unreadable):
        assert transfer.read_file("".join(text))


def test_a_heading_of_a_hundred_thousand_columns_is_refused_at_once() -> None:
    for heading in ("," * 100_000, ",".join(f"c{n}" for n in range(100_000))):
        with pytest.raises(Unreadable, match="a table can have 200 columns"):
            transfer.read_file(f"{heading}\nA,Aqua\n")


def test_a_long_file_is_written_in_pieces_that_can_be_taken_up_again(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(transfer, "PIECE", 2)
    turns: list[list[str]] = []
    monkeypatch.setattr(transfer, "sleep", lambda _seconds: turns.append(names_on(store)))
    text = "name,inci\n" + "".join(f"M{n},Aqua\n" for n in range(5))
    assert transfer.import_materials(store, text, update=False, key="k") == 5
    assert turns == [["M0", "M1"], ["M0", "M1", "M2", "M3"]]
    assert transfer.import_materials(store, text, update=False, key="k") == 5
    assert transfer.import_materials(store, text + "M9,Mel\n", update=False, key="other") == 1
    assert names_on(store) == ["M0", "M1", "M2", "M3", "M4", "M9"]


def test_a_long_file_of_prices_is_written_in_pieces_too(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(transfer_prices, "PIECE", 2)
    turns: list[int] = []
    material_id = shelf.add_material(store, RETIRED)

    def count() -> int:
        return len(shelf.load_material(store, material_id).prices)

    monkeypatch.setattr(transfer_prices, "sleep", lambda _seconds: turns.append(count()))
    text = "material,price,amount,date\n" + "".join(f"Old water,{n},1 kg,2026-01-0{n}\n" for n in range(1, 6))
    assert transfer_prices.import_prices(store, text, key="k") == 5
    assert turns == [2, 4]
    assert transfer_prices.import_prices(store, text, key="k") == 0
    assert count() == 5


def test_prices_broken_off_are_taken_up_with_the_same_key(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(transfer_prices, "PIECE", 2)
    material_id = shelf.add_material(store, RETIRED)

    def stop(_seconds: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(transfer_prices, "sleep", stop)
    text = "material,price,amount,date\n" + "".join(f"Old water,{n},1 kg,2026-01-0{n}\n" for n in range(1, 6))
    with pytest.raises(KeyboardInterrupt):
        transfer_prices.import_prices(store, text, key="k")
    monkeypatch.setattr(transfer_prices, "sleep", lambda _seconds: None)
    assert transfer_prices.import_prices(store, text, key="k") == 3
    assert sorted(price.amount for price in shelf.load_material(store, material_id).prices) == [1, 2, 3, 4, 5]


def names_on(store: Store) -> list[str]:
    with store.reading() as session:
        return [material.name for material in all_materials(session)]


def test_a_hundred_thousand_lines_are_too_many() -> None:
    with pytest.raises(Unreadable, match="20,000 lines"):
        transfer.read_file("name,inci\n" + "A,Aqua\n" * 100_000)


def test_prices_of_packaging_go_out_and_come_in_beside_those_of_materials(store: Store) -> None:
    material_id = shelf.add_material(store, RETIRED)
    PACKAGING.add(store, PackagingForm(name="Jar 60 ml", units_per_pack="48"))
    with store.reading() as session:
        jar = session.scalars(select(PackagingRow.id)).one()
    text = (
        "material,packaging,price,amount,date,currency\nOld water,,2.50,1 kg,2026-01-02,\n"
        ',jar 60 ML,52.80,48 pieces,2026-02-03,USD\n,Jar 60 ml,200,"200",2026-02-04,\n'
    )
    assert transfer_prices.import_prices(store, text, key="k") == 3
    with store.reading() as session:
        prices = session.scalars(select(PriceRow).order_by(PriceRow.priced_on)).all()
        told = [(one.material_id, one.packaging_id, one.amount, one.quantity_g, one.currency) for one in prices]
    assert told[0] == (material_id, None, Decimal("2.50"), Decimal(1000), "EUR")
    assert told[1:] == [
        (None, jar, Decimal("52.80"), Decimal(48), "USD"),
        (None, jar, Decimal(200), Decimal(200), "EUR"),
    ]
    went = transfer_prices.export_prices(store)
    assert went.splitlines()[0].startswith("material,packaging,price,amount,grams")
    preview = transfer_prices.preview_prices(store, went)
    assert (preview.new, len(preview.same)) == ((), 3)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("Old water,Jar 60 ml,2,1 kg", "one of the two"),
        (",,2,1 kg", "one of the two"),
        (",Tin,2,10", "not among the packaging"),
        (",Jar 60 ml,2,1 kg", "number"),
    ],
)
def test_a_price_names_a_material_or_a_packaging_that_there_is(store: Store, row: str, words: str) -> None:
    shelf.add_material(store, RETIRED)
    PACKAGING.add(store, PackagingForm(name="Jar 60 ml", units_per_pack="48"))
    with pytest.raises(Unreadable, match=words):
        transfer_prices.import_prices(store, f"material,packaging,price,amount\n{row}\n")
