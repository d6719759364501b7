"""the law a version is made under, the usual yield of a batch, and what a decided batch became stay with them

Revision ID: 0023
Revises: 0022

What was not kept is taken from the workshop on the day of the migration. What a batch that is decided already became
is not written down: it is worked out as before.
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None

YIELDS = (("yield_low_percent", 0, 100), ("yield_high_percent", 100, 200))


def upgrade() -> None:
    """Add the columns, and fill in what the workshop says."""
    for name, low, high in YIELDS:
        op.execute(
            f"ALTER TABLE batch ADD COLUMN {name} TEXT CONSTRAINT ck_batch_{name}_in_range "
            f"CHECK (CAST({name} AS REAL) >= {low} AND CAST({name} AS REAL) <= {high})"
        )
    op.add_column("batch", sa.Column("as_made", sa.Text()))
    bind = op.get_bind()
    with _let_be_written("batch", "batch_decided_update"):
        limits = ", ".join(f"{name} = (SELECT {name} FROM workshop)" for name, *_ in YIELDS)
        op.execute(f"UPDATE batch SET {limits}")
    law = bind.execute(sa.text("SELECT jurisdiction FROM workshop")).scalar()
    with _let_be_written("formula_version", "formula_version_kept"):
        for version_id, value in bind.execute(sa.text("SELECT id, value FROM formula_version")).all():
            whole = json.dumps({"jurisdiction": law, **json.loads(value)}, ensure_ascii=False, separators=(",", ":"))
            change = sa.text("UPDATE formula_version SET value = :value WHERE id = :id")
            bind.execute(change, {"value": whole, "id": version_id})


def downgrade() -> None:
    """Take the columns away; an earlier program passes over the law of a version."""
    op.drop_column("batch", "as_made")
    for name, *_ in reversed(YIELDS):
        op.execute(f"ALTER TABLE batch DROP COLUMN {name}")


@contextmanager
def _let_be_written(table: str, trigger: str) -> Iterator[None]:
    """Hold the trigger that refuses any change of what is kept."""
    bind = op.get_bind()
    if bind.dialect.name != "sqlite":
        op.execute(f"ALTER TABLE {table} DISABLE TRIGGER {trigger}")
        yield
        op.execute(f"ALTER TABLE {table} ENABLE TRIGGER {trigger}")
        return
    found = sa.text("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = :name")
    sql = bind.execute(found, {"name": trigger}).scalar_one()
    op.execute(f"DROP TRIGGER {trigger}")
    yield
    bind.execute(sa.text(sql))
