"""what is kept stays: no version and no line of a history can be deleted

Revision ID: 0003
Revises: 0002
"""

from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

# A reading that was typed wrongly can be taken back while the batch is open; its history keeps both.
KEPT_FOR_GOOD = ("formula_version", "version_line", "batch_event")


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _hold(table: str) -> str:
    if _on_sqlite():
        return (
            f"CREATE TRIGGER {table}_stays BEFORE DELETE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is kept as it is'); END"
        )
    # The function came with the trigger that refuses changes.
    return f"CREATE TRIGGER {table}_stays BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_kept()"


def upgrade() -> None:
    for table in KEPT_FOR_GOOD:
        op.execute(_hold(table))


def downgrade() -> None:
    for table in KEPT_FOR_GOOD:
        op.execute(f"DROP TRIGGER {table}_stays" + ("" if _on_sqlite() else f" ON {table}"))
