"""Migrations walk up and down on a filled database and lose nothing that survives."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from alembic.util.exc import CommandError
from sqlalchemy import inspect, text
from sqlalchemy.exc import DBAPIError

from app.store import migrate
from app.store.backup import examine
from app.store.engine import Store, sqlite_url
from app.store.migrate import (
    alembic_config,
    back_to,
    current,
    head,
    known_revisions,
    to_revision,
    walked_revisions,
    written_down,
)
from app.store.schema import schema_at, walked_schema
from app.work.batches.loading import load_batch
from app.work.batches.planning import Plan, plan_batch
from app.work.demo import load_demo

SCHEMA = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY type, name"


@pytest.fixture(scope="module")
def filled(demo_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copy(demo_file, tmp_path_factory.mktemp("filled")))


def rows(path: Path) -> dict[str, int]:
    with closing(sqlite3.connect(path)) as connection, connection:
        names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in names}  # noqa: S608


def schema(path: Path) -> dict[tuple[str, str], set[str]]:
    """Read every object with its clauses; a table that was rebuilt lists its constraints in another order."""
    with closing(sqlite3.connect(path)) as connection, connection:
        found = connection.execute(SCHEMA).fetchall()
    return {(kind, name): {part.strip(" \t\n,()") for part in sql.splitlines()} for kind, name, sql in found}


def test_each_revision_goes_down_and_up_again_on_a_filled_database(filled: Path) -> None:
    before, shape = rows(filled), schema(filled)
    # Below 0018 the prices of packaging go back into its own row.
    with closing(sqlite3.connect(filled)) as connection, connection:
        of_packaging = connection.execute("SELECT count(packaging_id) FROM price").fetchone()[0]
    for revision in known_revisions()[1:]:
        back_to(sqlite_url(filled), revision)
        before["price"] -= of_packaging if revision == "0017" else 0
        below = rows(filled)
        shared = (set(before) & set(below)) - {"alembic_version"}
        assert {name: below[name] for name in shared} == {name: before[name] for name in shared}
        with closing(sqlite3.connect(filled)) as connection, connection:
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    to_revision(sqlite_url(filled))
    assert schema(filled) == shape
    assert examine(filled, thorough=True) == head()
    survived = rows(filled)
    assert survived["batch_line"] == before["batch_line"] > 0
    assert survived["draft_step"] == before["draft_step"] > 0


def test_the_way_down_ends_in_an_empty_database(tmp_path: Path) -> None:
    url = sqlite_url(tmp_path / "tarebook.db")
    to_revision(url)
    back_to(url, "base")
    assert set(rows(tmp_path / "tarebook.db")) == {"alembic_version"}
    assert current(url) is None


def test_models_and_migrations_agree(tmp_path: Path) -> None:
    url = sqlite_url(tmp_path / "tarebook.db")
    to_revision(url)
    command.check(alembic_config(url))
    assert current(url) == head()


def test_what_is_written_down_of_the_migrations_is_what_they_make() -> None:
    again = 'after a migration write it down: python -c "from app.store.schema import write_down; write_down()"'
    assert written_down() is not None, again
    assert known_revisions() == walked_revisions(), again
    assert schema_at(head()) == walked_schema(head()), again


def test_what_is_written_down_of_other_migrations_is_not_believed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "newest.json").write_text('{"files": ["0001.py"], "revisions": ["0001"], "schema": []}')
    monkeypatch.setattr(migrate, "WRITTEN", tmp_path / "newest.json")
    written_down.cache_clear()
    schema_at.cache_clear()
    try:
        assert known_revisions() == walked_revisions()
        assert schema_at("0001") == walked_schema("0001")
    finally:
        written_down.cache_clear()
        schema_at.cache_clear()


def test_a_revision_nobody_knows_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CommandError):
        to_revision(sqlite_url(tmp_path / "tarebook.db"), "9999")


def test_a_migration_that_leaves_broken_references_is_taken_back(filled: Path) -> None:
    back_to(sqlite_url(filled), "0001")
    with closing(sqlite3.connect(filled)) as connection, connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        connection.execute(
            "INSERT INTO price (material_id, kind, amount, quantity_text, quantity_g, priced_on, supplier, note)"
            " VALUES (99999, 'paid', '1', '1 kg', '1000', '2026-01-01', '', '')"
        )
    with pytest.raises(RuntimeError, match="broken references"):
        to_revision(sqlite_url(filled))
    assert current(sqlite_url(filled)) == "0001"
    with closing(sqlite3.connect(filled)) as connection, connection:
        connection.execute("DELETE FROM price WHERE material_id = 99999")
    to_revision(sqlite_url(filled))


@pytest.mark.postgresql
def test_the_same_migrations_and_the_demo_stand_on_a_server(empty_server: str) -> None:
    to_revision(empty_server)
    command.check(alembic_config(empty_server))
    store = Store(empty_server)
    load_demo(store)
    with store.reading() as session:
        counts = {t: session.scalar(text(f"SELECT count(*) FROM {t}")) for t in ("batch", "formula")}  # noqa: S608
    assert counts == {"batch": 6, "formula": 9}
    batch_id = plan_batch(store, Plan(1, None, "300 g", planned_on="2026-11-30", made_by="Ines"))
    with store.reading() as session:
        assert load_batch(session, batch_id).number == "HG-2026-002"
    for change in ("UPDATE batch_event SET what = 'other'", "DELETE FROM batch_event"):
        with pytest.raises(DBAPIError, match="kept as it is"), store.transaction() as session:
            session.execute(text(change))
    store.close()
    back_to(empty_server, "0001")
    to_revision(empty_server)
    back_to(empty_server, "base")
    store = Store(empty_server)
    assert inspect(store.engine).get_table_names() == ["alembic_version"]
    store.close()
