"""How alembic meets the database: one transaction, references checked before it is kept."""

from alembic import context
from sqlalchemy import Connection, create_engine, event
from sqlalchemy.pool import NullPool
from sqlalchemy.types import TypeDecorator

from app.store.engine import APPLICATION_ID
from app.store.models import Base


def _prepare(connection, _record):
    connection.isolation_level = None
    # A batch operation drops the old table; with enforcement on, that would empty its children.
    connection.execute("PRAGMA foreign_keys=OFF")


def _plain_type(kind, item, _context):
    # A migration must not change its meaning when a column type of the program changes.
    if kind == "type" and isinstance(item, TypeDecorator):
        return f"sa.{type(item.impl_instance).__name__}()"
    return False


def _migrate(connection: Connection) -> None:
    sqlite = connection.dialect.name == "sqlite"
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=sqlite,
        render_item=_plain_type,
        transactional_ddl=True,
    )
    with context.begin_transaction():
        context.run_migrations()
        if sqlite:
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise RuntimeError(f"the migration left broken references: {broken[:3]}")
            connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")


def _run() -> None:
    # A connection whose transaction is open already: the migration becomes a part of it.
    if joined := context.config.attributes.get("connection"):
        _migrate(joined)
        return
    engine = create_engine(context.config.attributes["url"], poolclass=NullPool, hide_parameters=True)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _prepare)
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN IMMEDIATE"))
    with engine.connect() as connection:
        _migrate(connection)


_run()
