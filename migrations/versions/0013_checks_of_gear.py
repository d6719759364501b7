"""checks of scales, pH meters and thermometers

Revision ID: 0013
Revises: 0012
"""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    op.create_table(
        "gear_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("gear", sa.Text(), nullable=False),
        sa.Column("checked_on", sa.Text(), nullable=False),
        sa.Column("reference", sa.Text(), nullable=False),
        sa.Column("reading", sa.Text(), nullable=False),
        sa.Column("limit_text", sa.Text(), nullable=False),
        sa.Column("passed", sa.Integer(), nullable=False),
        sa.Column("next_due", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(gear)) > 0", name=op.f("ck_gear_check_gear_not_blank")),
        sa.CheckConstraint("length(trim(reading)) > 0", name=op.f("ck_gear_check_reading_not_blank")),
        sa.CheckConstraint("length(trim(reference)) > 0", name=op.f("ck_gear_check_reference_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gear_check")),
        sqlite_strict=True,
    )
    for change in ("UPDATE", "DELETE"):
        name = f"gear_check_{change.lower()}"
        if _on_sqlite():
            op.execute(
                f"CREATE TRIGGER {name} BEFORE {change} ON gear_check "
                "BEGIN SELECT RAISE(ABORT, 'gear_check is kept as it is'); END"
            )
            continue
        op.execute(
            f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'gear_check is kept as it is'; END $$"
        )
        op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON gear_check FOR EACH ROW EXECUTE FUNCTION {name}()")


def downgrade() -> None:
    op.drop_table("gear_check")
    if not _on_sqlite():
        for change in ("update", "delete"):
            op.execute(f"DROP FUNCTION gear_check_{change}()")
