"""people, deviations, checklists and steps of a batch; a decided batch refuses any change

Revision ID: 0010
Revises: 0009
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

START_UP = (
    "The batch record, its method and its labels are here",
    "Every lot is accepted and in date",
    "Area and equipment are clean and fit for use",
    "Nothing of an earlier product, and none of its labels, is left",
)
COLUMNS = (
    ("two_people", "INTEGER DEFAULT 0 NOT NULL"),
    ("tight_percent", "TEXT DEFAULT '1' NOT NULL", 0, 50),
    ("band_percent", "TEXT DEFAULT '2' NOT NULL", 0, 50),
    ("yield_low_percent", "TEXT DEFAULT '90' NOT NULL", 0, 100),
    ("yield_high_percent", "TEXT DEFAULT '102' NOT NULL", 100, 200),
    ("start_up", "TEXT DEFAULT '' NOT NULL"),
)
DECIDED = "('released', 'rejected', 'cancelled')"
MESSAGE = "a decided batch is kept as it is"
OF_BATCH = "(SELECT state FROM batch WHERE id = {row}.batch_id)"
OF_LINE = "(SELECT b.state FROM batch b JOIN batch_line l ON l.batch_id = b.id WHERE l.id = {row}.line_id)"
# What a decided batch refuses: (table, change, condition). Corrections of a weighing are dated, signed additions.
GUARDS = (
    ("batch", "UPDATE", f"OLD.state IN {DECIDED}"),
    ("batch", "DELETE", f"OLD.state IN {DECIDED}"),
    *(
        (table, change, f"{OF_BATCH.format(row='NEW' if change == 'INSERT' else 'OLD')} IN {DECIDED}")
        for table in ("batch_line", "batch_reading", "batch_tick", "ph_session")
        for change in ("INSERT", "UPDATE", "DELETE")
        if (table, change) != ("batch_reading", "UPDATE")
    ),
    (
        "batch_weighing",
        "INSERT",
        f"{OF_LINE.format(row='NEW')} IN {DECIDED} AND (NEW.replaces_id IS NULL OR length(trim(NEW.by)) = 0)",
    ),
    ("batch_deviation", "UPDATE", "OLD.decided_at IS NOT NULL"),
    ("batch_deviation", "DELETE", "OLD.decided_at IS NOT NULL"),
)


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _guard(table: str, change: str, when: str) -> None:
    name = f"{table}_decided_{change.lower()}"
    if _on_sqlite():
        op.execute(
            f"CREATE TRIGGER {name} BEFORE {change} ON {table} WHEN {when} BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"
        )
        return
    condition = when.replace("NEW.by", 'NEW."by"')
    result = "OLD" if change == "DELETE" else "NEW"
    op.execute(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {condition} THEN "
        f"RAISE EXCEPTION '{MESSAGE}'; END IF; RETURN {result}; END $$"
    )
    op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")


def _unguard(table: str, change: str) -> None:
    name = f"{table}_decided_{change.lower()}"
    op.execute(f"DROP TRIGGER {name}" + ("" if _on_sqlite() else f" ON {table}"))
    if not _on_sqlite():
        op.execute(f"DROP FUNCTION {name}()")


def upgrade() -> None:
    for name, kind, *limits in COLUMNS:
        check = (
            f" CONSTRAINT ck_workshop_{name}_in_range"
            f" CHECK (CAST({name} AS REAL) >= {limits[0]} AND CAST({name} AS REAL) <= {limits[1]})"
            if limits
            else ""
        )
        op.execute(f"ALTER TABLE workshop ADD COLUMN {name} {kind}{check}")
    op.get_bind().execute(sa.text("UPDATE workshop SET start_up = :words"), {"words": "\n".join(START_UP)})
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("initials", sa.Text(), nullable=False),
        sa.Column("left_at", sa.Text(), nullable=True),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_person_name_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("name", name=op.f("uq_person_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "batch_deviation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("found_at", sa.Text(), nullable=False),
        sa.Column("found_by", sa.Text(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("effect", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("decided_at", sa.Text(), nullable=True),
        sa.Column("decided_by", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(what)) > 0", name=op.f("ck_batch_deviation_what_not_blank")),
        sa.CheckConstraint(
            "(decided_at IS NULL) = (length(trim(decided_by)) = 0)", name=op.f("ck_batch_deviation_decision_is_signed")
        ),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_batch_deviation_batch_id_batch"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch_deviation")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_batch_deviation_batch_id"), "batch_deviation", ["batch_id"])
    op.create_table(
        "batch_tick",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("phase", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("done_at", sa.Text(), nullable=True),
        sa.Column("done_by", sa.Text(), nullable=False),
        sa.Column("temperature_c", sa.Text(), nullable=True),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('start-up', 'step')", name=op.f("ck_batch_tick_kind_known")),
        sa.CheckConstraint("length(trim(words)) > 0", name=op.f("ck_batch_tick_words_not_blank")),
        sa.CheckConstraint(
            "(done_at IS NULL) = (length(trim(done_by)) = 0)", name=op.f("ck_batch_tick_tick_is_signed")
        ),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_batch_tick_batch_id_batch"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch_tick")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_batch_tick_batch_id"), "batch_tick", ["batch_id"])
    for guard in GUARDS:
        _guard(*guard)


def downgrade() -> None:
    for table, change, _when in reversed(GUARDS):
        _unguard(table, change)
    op.drop_index(op.f("ix_batch_tick_batch_id"), "batch_tick")
    op.drop_table("batch_tick")
    op.drop_index(op.f("ix_batch_deviation_batch_id"), "batch_deviation")
    op.drop_table("batch_deviation")
    op.drop_table("person")
    for name, *_rest in reversed(COLUMNS):
        op.execute(f"ALTER TABLE workshop DROP COLUMN {name}")
