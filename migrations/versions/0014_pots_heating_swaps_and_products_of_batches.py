"""vessels, water lost while heating, the product of a batch, materials swapped in a batch

Revision ID: 0014
Revises: 0015
"""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0015"
branch_labels = None
depends_on = None

MESSAGE = "batch_heating is kept as it is"
DECIDED = (
    "(SELECT b.state FROM batch b JOIN batch_line l ON l.batch_id = b.id WHERE l.id = {row}.line_id)"
    " IN ('released', 'rejected', 'cancelled')"
)
# A heating is begun with the first weight and ended once with the second; a correction is a row of its own.
GUARDS = (
    ("INSERT", DECIDED.format(row="NEW")),
    (
        "UPDATE",
        "OLD.after_g IS NOT NULL OR NEW.before_g <> OLD.before_g OR NEW.line_id <> OLD.line_id OR "
        + DECIDED.format(row="OLD"),
    ),
    ("DELETE", "1 = 1"),
)


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _guard(change: str, when: str) -> None:
    name = f"batch_heating_{change.lower()}"
    if _on_sqlite():
        op.execute(
            f"CREATE TRIGGER {name} BEFORE {change} ON batch_heating WHEN {when} "
            f"BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"
        )
        return
    result = "OLD" if change == "DELETE" else "NEW"
    op.execute(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {when} THEN "
        f"RAISE EXCEPTION '{MESSAGE}'; END IF; RETURN {result}; END $$"
    )
    op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON batch_heating FOR EACH ROW EXECUTE FUNCTION {name}()")


def upgrade() -> None:
    op.create_table(
        "vessel",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("tare_g", sa.Text(), nullable=False),
        sa.Column("holds_ml", sa.Text(), nullable=True),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_vessel_name_not_blank")),
        sa.CheckConstraint("CAST(tare_g AS REAL) > 0", name=op.f("ck_vessel_tare_g_above_zero")),
        sa.CheckConstraint("CAST(holds_ml AS REAL) > 0", name=op.f("ck_vessel_holds_ml_above_zero")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vessel")),
        sa.UniqueConstraint("name", name=op.f("uq_vessel_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "batch_heating",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("phase", sa.Text(), nullable=False),
        sa.Column("vessel", sa.Text(), nullable=False),
        sa.Column("scale", sa.Text(), nullable=False),
        sa.Column("before_g", sa.Text(), nullable=False),
        sa.Column("before_by", sa.Text(), nullable=False),
        sa.Column("before_at", sa.Text(), nullable=False),
        sa.Column("after_g", sa.Text(), nullable=True),
        sa.Column("after_by", sa.Text(), nullable=False),
        sa.Column("after_at", sa.Text(), nullable=True),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint("CAST(before_g AS REAL) > 0", name=op.f("ck_batch_heating_before_g_above_zero")),
        sa.CheckConstraint(
            "CAST(after_g AS REAL) <= CAST(before_g AS REAL)", name=op.f("ck_batch_heating_nothing_gained")
        ),
        sa.CheckConstraint("(after_g IS NULL) = (after_at IS NULL)", name=op.f("ck_batch_heating_after_is_dated")),
        sa.CheckConstraint(
            "replaces_id IS NULL OR length(trim(reason)) > 0", name=op.f("ck_batch_heating_correction_has_reason")
        ),
        sa.ForeignKeyConstraint(
            ["line_id"], ["batch_line.id"], name=op.f("fk_batch_heating_line_id_batch_line"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["replaces_id"],
            ["batch_heating.id"],
            name=op.f("fk_batch_heating_replaces_id_batch_heating"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch_heating")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_batch_heating_line_id"), "batch_heating", ["line_id"])
    op.create_index(op.f("ix_batch_heating_replaces_id"), "batch_heating", ["replaces_id"])
    for guard in GUARDS:
        _guard(*guard)
    for table, column, target in (
        ("batch", "product_id", "product"),
        ("batch_line", "planned_material_id", "material"),
        ("batch_weighing", "heating_id", "batch_heating"),
    ):
        op.execute(
            f"ALTER TABLE {table} ADD COLUMN {column} INTEGER CONSTRAINT fk_{table}_{column}_{target} "
            f"REFERENCES {target} (id)"
        )
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column])
    op.execute("ALTER TABLE batch_line ADD COLUMN planned_name TEXT DEFAULT '' NOT NULL")


def downgrade() -> None:
    op.execute("ALTER TABLE batch_line DROP COLUMN planned_name")
    for table, column in (
        ("batch_weighing", "heating_id"),
        ("batch_line", "planned_material_id"),
        ("batch", "product_id"),
    ):
        op.drop_index(op.f(f"ix_{table}_{column}"), table)
        op.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
    op.drop_table("batch_heating")
    if not _on_sqlite():
        for change, _when in GUARDS:
            op.execute(f"DROP FUNCTION batch_heating_{change.lower()}()")
    op.drop_table("vessel")
