"""what of the bulk is usually accounted for stays with each packing run

Revision ID: 0025
Revises: 0024

Runs that are there already get what the workshop says on the day of the migration.
"""

import sqlalchemy as sa
from alembic import op

revision = "0025"
down_revision = "0024"
branch_labels = None
depends_on = None

BANDS = (("bulk_low_percent", 97, 0, 100), ("bulk_high_percent", 102, 100, 200))
TRIGGER = "packing_run_closed_update"


def upgrade() -> None:
    """Add the columns, and fill in what the workshop says."""
    for name, usual, low, high in BANDS:
        op.execute(
            f"ALTER TABLE packing_run ADD COLUMN {name} TEXT DEFAULT '{usual}' NOT NULL "
            f"CONSTRAINT ck_packing_run_{name}_in_range CHECK (CAST({name} AS REAL) >= {low} AND CAST({name} AS REAL) <= {high})"
        )
    limits = ", ".join(f"{name} = (SELECT {name} FROM workshop)" for name, *_ in BANDS)
    bind = op.get_bind()
    # A closed run refuses any change; its trigger is held while the columns are filled.
    if bind.dialect.name != "sqlite":
        op.execute(f"ALTER TABLE packing_run DISABLE TRIGGER {TRIGGER}")
        op.execute(f"UPDATE packing_run SET {limits}")
        op.execute(f"ALTER TABLE packing_run ENABLE TRIGGER {TRIGGER}")
        return
    found = sa.text("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = :name")
    sql = bind.execute(found, {"name": TRIGGER}).scalar_one()
    op.execute(f"DROP TRIGGER {TRIGGER}")
    op.execute(f"UPDATE packing_run SET {limits}")
    bind.execute(sa.text(sql))


def downgrade() -> None:
    """Take the columns away."""
    for name, *_ in reversed(BANDS):
        op.execute(f"ALTER TABLE packing_run DROP COLUMN {name}")
