"""the name a product had stays with what was made and sold of it, and prices say when they were entered

Revision ID: 0026
Revises: 0025

Records that are there already get the name of today; of prices that are there nobody knows when they were entered.
"""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"
branch_labels = None
depends_on = None

KEPT = "dispatch_kept_product_name"
TABLES = ("batch", "packing_run", "dispatch", "case_file")


def upgrade() -> None:
    """Add the columns, and fill in the names of today."""
    for table in TABLES:
        op.execute(f"ALTER TABLE {table} ADD COLUMN product_name TEXT DEFAULT '' NOT NULL")
        _with_triggers_held(
            table,
            f"UPDATE {table} SET product_name = (SELECT name FROM product WHERE product.id = {table}.product_id)"
            " WHERE product_id IS NOT NULL",
        )
    op.execute("ALTER TABLE price ADD COLUMN noted_at TEXT")
    keeps = "BEFORE UPDATE OF product_name ON dispatch"
    if op.get_bind().dialect.name == "sqlite":
        refuses = "BEGIN SELECT RAISE(ABORT, 'dispatch is kept as it is'); END"
        op.execute(f"CREATE TRIGGER {KEPT} {keeps} WHEN 1 = 1 {refuses}")
    else:
        op.execute(f"CREATE TRIGGER {KEPT} {keeps} FOR EACH ROW EXECUTE FUNCTION dispatch_kept_kind()")


def _with_triggers_held(table: str, statement: str) -> None:
    """Change rows that are closed: their triggers, which refuse any change, are held meanwhile."""
    bind = op.get_bind()
    if bind.dialect.name != "sqlite":
        op.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        op.execute(statement)
        op.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
        return
    asked = sa.text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = :table")
    held = bind.execute(asked, {"table": table}).all()
    for name, _sql in held:
        op.execute(f'DROP TRIGGER "{name}"')
    op.execute(statement)
    for _name, sql in held:
        bind.exec_driver_sql(sql)


def downgrade() -> None:
    """Take the columns away."""
    op.execute(f"DROP TRIGGER {KEPT}" + ("" if op.get_bind().dialect.name == "sqlite" else " ON dispatch"))
    op.execute("ALTER TABLE price DROP COLUMN noted_at")
    for table in reversed(TABLES):
        op.execute(f"ALTER TABLE {table} DROP COLUMN product_name")
