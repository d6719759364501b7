"""time that people worked on a batch or a packing run; an order in the currency of its supplier

Revision ID: 0022
Revises: 0021
"""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None

KEPT = "worked_time is kept as it is"
WORKED = "batch_id, run_id, worked_on, minutes, worked_by, note, created_at"
# (name, change, when)
GUARDS = (
    ("worked_time_kept_batch_id", f"UPDATE OF {WORKED}", "1 = 1"),
    ("worked_time_kept_cancelled_at", "UPDATE OF cancelled_at, cancelled_by, cancelled_why", "OLD.cancelled_at IS NOT NULL"),
    ("worked_time_kept_delete", "DELETE", "1 = 1"),
)  # fmt: skip


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    """Make the table, and give each order the currency its prices were typed in: the workshop's."""
    op.create_table(
        "worked_time",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("worked_on", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("worked_by", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("cancelled_at", sa.Text(), nullable=True),
        sa.Column("cancelled_by", sa.Text(), nullable=False),
        sa.Column("cancelled_why", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(worked_by)) > 0", name=op.f("ck_worked_time_worked_by_not_blank")),
        sa.CheckConstraint("minutes >= 1", name=op.f("ck_worked_time_minutes_from_one")),
        sa.CheckConstraint(
            "(cancelled_at IS NULL) = (length(trim(cancelled_why)) = 0)",
            name=op.f("ck_worked_time_cancelled_with_reason"),
        ),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_worked_time_batch_id_batch"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["run_id"], ["packing_run.id"], name=op.f("fk_worked_time_run_id_packing_run"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_worked_time")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_worked_time_batch_id"), "worked_time", ["batch_id"])
    op.create_index(op.f("ix_worked_time_run_id"), "worked_time", ["run_id"])
    for name, change, when in GUARDS:
        if _on_sqlite():
            op.execute(
                f"CREATE TRIGGER {name} BEFORE {change} ON worked_time WHEN {when}"
                f" BEGIN SELECT RAISE(ABORT, '{KEPT}'); END"
            )
            continue
        result = "OLD" if change == "DELETE" else "NEW"
        op.execute(
            f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {when} THEN "
            f"RAISE EXCEPTION '{KEPT}'; END IF; RETURN {result}; END $$"
        )
        op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON worked_time FOR EACH ROW EXECUTE FUNCTION {name}()")
    with op.batch_alter_table("purchase", schema=None) as purchase:
        purchase.add_column(sa.Column("currency", sa.Text(), nullable=False, server_default=""))
    with op.batch_alter_table("purchase", schema=None) as purchase:
        purchase.alter_column("currency", server_default=None)
    op.execute("UPDATE purchase SET currency = coalesce((SELECT currency FROM workshop), '')")


def downgrade() -> None:
    """Take the table away, and leave orders in the workshop's currency."""
    for name, _change, _when in reversed(GUARDS):
        op.execute(f"DROP TRIGGER {name}" + ("" if _on_sqlite() else " ON worked_time"))
        if not _on_sqlite():
            op.execute(f"DROP FUNCTION {name}()")
    op.drop_table("worked_time")
    with op.batch_alter_table("purchase", schema=None) as purchase:
        purchase.drop_column("currency")
