"""What the store refuses by itself, whatever a form lets through."""

import subprocess
import sys
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError, StatementError

from app.store.engine import Store, sqlite_url
from app.store.errors import Conflict, Unusable
from app.store.materials import MaterialPart, MaterialRow
from app.store.types import plain_text
from app.store.workshop import ScaleRow, Workshop, next_in_series

ROOT = Path(__file__).resolve().parents[2]


def material(name: str = "Water", **values: object) -> MaterialRow:
    return MaterialRow(name=name, name_key=name.upper(), created_at=datetime.now(UTC), **values)


@pytest.mark.sqlite
def test_references_are_enforced_and_every_save_reaches_the_disk(store: Store) -> None:
    with store.reading() as session:
        found = {
            name: session.scalar(text(f"PRAGMA {name}")) for name in ("foreign_keys", "journal_mode", "synchronous")
        }
    assert found == {"foreign_keys": 1, "journal_mode": "wal", "synchronous": 2}


@pytest.mark.parametrize("bad", [Decimal("NaN"), Decimal("Infinity"), Decimal("-Infinity")])
def test_no_number_that_is_none_is_stored(store: Store, bad: Decimal) -> None:
    with pytest.raises(StatementError), store.transaction() as session:
        session.add(material(density_g_ml=bad))


@pytest.mark.parametrize(
    "values",
    [
        {"density_g_ml": Decimal(0)},
        {"use_low": Decimal(5), "use_high": Decimal(4)},
        {"use_high": Decimal(101)},
        {"ph_min": Decimal(16)},
        {"name": " "},
    ],
    ids=str,
)
def test_a_material_out_of_range_is_refused(store: Store, values: dict[str, object]) -> None:
    with pytest.raises(IntegrityError), store.transaction() as session:
        session.add(material(**({"name": "Water"} | values)))  # type: ignore[arg-type]


def test_a_part_over_a_hundred_is_refused(store: Store) -> None:
    with pytest.raises(IntegrityError), store.transaction() as session:
        session.add(material(parts=[MaterialPart(position=0, inci="Aqua", percent=Decimal("100.01"))]))


def test_two_live_materials_cannot_share_a_name_but_a_retired_one_may(store: Store) -> None:
    with store.transaction() as session:
        session.add(material(retired_at=datetime.now(UTC)))
        session.add(material())
    with pytest.raises(IntegrityError), store.transaction() as session:
        session.add(material())


def test_there_is_one_workshop(store: Store) -> None:
    with pytest.raises(IntegrityError), store.transaction() as session:
        session.add(Workshop(id=2, name="Another"))


def test_a_scale_holds_at_least_a_step(store: Store) -> None:
    with pytest.raises(IntegrityError), store.transaction() as session:
        session.add(ScaleRow(name="Odd", readability_g=Decimal(1), capacity_g=Decimal("0.5")))


def test_a_fault_in_the_middle_of_an_action_leaves_nothing(store: Store) -> None:
    def action() -> None:
        with store.transaction() as session:
            session.add(material("First"))
            session.flush()
            raise ArithmeticError

    with pytest.raises(ArithmeticError):
        action()
    with store.reading() as session:
        assert session.scalar(text("SELECT count(*) FROM material")) == 0


def test_the_later_of_two_saves_of_one_record_is_told(store: Store) -> None:
    with store.reading() as session:
        stale = session.get_one(Workshop, 1)
    with store.transaction() as session:
        session.get_one(Workshop, 1).name = "First"
    stale.name = "Second"
    with pytest.raises(Conflict), store.transaction() as session:
        session.merge(stale)


@pytest.mark.sqlite
def test_a_database_that_cannot_be_written_says_so(store: Store) -> None:
    with store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA query_only=ON")
    with pytest.raises(Unusable, match="cannot be written"), store.transaction() as session:
        session.add(material())


def test_numbers_of_a_series_go_up_by_one(store: Store) -> None:
    for wanted in (1, 2, 3):
        with store.transaction() as session:
            assert next_in_series(session, "HC-2026") == wanted


@given(st.decimals(allow_nan=False, allow_infinity=False, places=12, min_value=-(10**9), max_value=10**9))
def test_a_decimal_comes_back_digit_for_digit(value: Decimal) -> None:
    assert Decimal(plain_text(value)) == value
    assert "E" not in plain_text(value)


WRITER = """
import sys
from app.store.engine import Store
from app.store.workshop import next_in_series
store = Store(sys.argv[1])
while True:
    with store.transaction() as session:
        number = next_in_series(session, "kept")
        for turn in range(20):
            next_in_series(session, f"row {turn}")
    print(number, flush=True)
"""


@pytest.mark.sqlite
def test_a_save_that_was_acknowledged_outlives_a_kill(store: Store, tmp_path: Path) -> None:
    url = sqlite_url(tmp_path / "tarebook.db")
    for _ in range(3):
        writer = subprocess.Popen([sys.executable, "-c", WRITER, url], cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert writer.stdout
        lines = [writer.stdout.readline() for _ in range(12)]
        writer.kill()
        lines += writer.communicate(timeout=20)[0].splitlines()
        acknowledged = int([line for line in lines if line.strip()][-1])
        with store.reading() as session:
            last = dict(session.execute(text("SELECT series, last FROM number_series")).all())
            assert session.scalar(text("PRAGMA integrity_check")) == "ok"
        assert last["kept"] >= acknowledged
        assert {count for series, count in last.items() if series.startswith("row")} == {last["kept"]}
