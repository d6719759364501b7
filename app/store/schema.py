"""What the tables, triggers and indexes of a file shall be at a revision, and how a file differs from it.

A file may carry the right mark and revision and still lack a column, or a trigger that keeps records from being
changed, or hold a trigger of somebody else. It is compared with what the migrations make of an empty database.
"""

import json
import re
import sqlite3
from functools import cache
from typing import cast

from sqlalchemy import Connection, inspect, text

from app.store.engine import make_engine
from app.store.migrate import WRITTEN, head, migration_files, to_revision_inside, walked_revisions, written_down
from app.store.models import Base

OBJECTS = "SELECT type, name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite%' ORDER BY type, name"
# A part of a schema: what it is, by kind and name, and how it is made.
Schema = dict[tuple[str, str], str]


def schema_of(connection: sqlite3.Connection) -> Schema:
    """Return every table, column, trigger, index and view of a file, each with how it is made."""
    found: Schema = {}
    for kind, name, sql in connection.execute(OBJECTS).fetchall():
        found[kind, name] = "" if kind == "table" else re.sub(r'[\s"`]+', " ", sql or "").strip()
        if kind == "table":
            for _, column, declared, not_null, default, key, _hidden in connection.execute(
                f"SELECT * FROM pragma_table_xinfo('{name.replace(chr(39), chr(39) * 2)}')"  # noqa: S608
            ):
                found["column", f"{name}.{column}"] = f"{declared} {not_null} {default} {key}"
    return found


@cache
def schema_at(revision: str) -> Schema:
    """Return the schema of a revision; that of the newest is written down, for others the migrations are walked."""
    written = written_down()
    if written and revision == written["revisions"][0]:
        return {(kind, name): how for kind, name, how in written["schema"]}
    return walked_schema(revision)


def walked_schema(revision: str) -> Schema:
    """Return the schema that the migrations make of an empty database up to a revision."""
    engine = make_engine("sqlite://")
    try:
        with engine.begin() as connection:
            to_revision_inside(connection, revision)
            return schema_of(cast(sqlite3.Connection, connection.connection.dbapi_connection))
    finally:
        engine.dispose()


def write_down() -> None:
    """Write down the revisions and the newest schema as the migrations make them, for the starts to come."""
    revisions = walked_revisions()
    schema = [[*part, how] for part, how in walked_schema(revisions[0]).items()]
    written = {"files": migration_files(), "revisions": revisions, "schema": schema}
    WRITTEN.write_text(json.dumps(written, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


# The tables of a server on which a trigger that somebody made still works.
GUARDED = text(
    "SELECT DISTINCT c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
    " WHERE NOT t.tgisinternal AND t.tgenabled <> 'D'"
)


def server_differences(connection: Connection) -> list[str]:
    """Return in words how the tables of a database server differ from the models and triggers of the newest revision.

    Other tables of the same database are left alone; a server writes its triggers in other words than a file, so a
    table that a file guards has to be guarded by some trigger of the server.
    """
    server = inspect(connection)
    tables = set(server.get_table_names())
    found: Schema = {}
    wanted: Schema = {}
    for table in Base.metadata.tables.values():
        wanted |= {("table", table.name): ""} | {("column", f"{table.name}.{c.name}"): "" for c in table.columns}
        if table.name in tables:
            columns = server.get_columns(table.name)
            found |= {("table", table.name): ""} | {("column", f"{table.name}.{c['name']}"): "" for c in columns}
    made = [sql for (kind, _), sql in schema_at(head()).items() if kind == "trigger"]
    guards = {name for sql in made for name in re.findall(r" ON (\w+)", sql)[:1] if name in tables}
    wanted |= {("guard of table", name): "" for name in guards}
    found |= {("guard of table", name): "" for name in guards & set(connection.scalars(GUARDED))}
    return differences(found, wanted)


def differences(found: Schema, wanted: Schema) -> list[str]:
    """Return in words what a schema lacks, has besides, or has otherwise; what follows from it is not repeated."""
    missing = [part for part in wanted if part not in found]
    besides = [part for part in found if part not in wanted]
    changed = [part for part in wanted if part in found and found[part] != wanted[part]]
    return [
        *(f"the {_name(part)} is missing" for part in missing if not _inside(part, missing)),
        *(f"the {_name(part)} is not Tarebook's" for part in besides if not _inside(part, besides)),
        *(f"the {_name(part)} is made otherwise" for part in changed),
    ]


def _name(part: tuple[str, str]) -> str:
    return " ".join(part)


def _inside(part: tuple[str, str], listed: list[tuple[str, str]]) -> bool:
    return part[0] == "column" and ("table", part[1].partition(".")[0]) in listed
