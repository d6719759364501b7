"""records that came in with a file: known as such, never changed, and gone again when the import is undone

Revision ID: 0020
Revises: 0019
"""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None

IMPORTED = "EXISTS (SELECT 1 FROM imported_record r WHERE r.kind = '{kind}' AND r.record_id = {row})"
TAKEN_BACK = (
    "EXISTS (SELECT 1 FROM imported_record r JOIN formula_import i ON i.id = r.import_id "
    "WHERE r.kind = '{kind}' AND r.record_id = {row} AND i.undone_at IS NOT NULL)"
)
DECIDED = "('released', 'rejected', 'cancelled')"
OF_BATCH = f"(SELECT state FROM batch WHERE id = OLD.batch_id) IN {DECIDED}"
LINE = "(SELECT batch_id FROM batch_line WHERE id = {row}.line_id)"
OF_LINE = "(SELECT b.state FROM batch b JOIN batch_line l ON l.batch_id = b.id WHERE l.id = NEW.line_id)"
KEPT, CLOSED = "{table} is kept as it is", "a decided batch is kept as it is"
# What refuses to be deleted unless its import is undone: (table, kind of record, its id, condition that stood, message).
FOR_GOOD = (
    ("formula_version", "formula_version", "OLD.id"),
    ("version_line", "formula_version", "OLD.version_id"),
    ("batch_event", "batch", "OLD.batch_id"),
    ("stock_move", "lot", "OLD.lot_id"),
    ("lot_event", "lot", "OLD.lot_id"),
)
# (trigger, table, the batch, condition that stood, message)
OF_A_BATCH = (
    ("batch_decided_delete", "batch", "OLD.id", f"OLD.state IN {DECIDED}", CLOSED),
    *(
        (f"{table}_decided_delete", table, "OLD.batch_id", OF_BATCH, CLOSED)
        for table in ("batch_line", "batch_reading", "batch_tick", "ph_session")
    ),
    ("batch_deviation_decided_delete", "batch_deviation", "OLD.batch_id", "OLD.decided_at IS NOT NULL", CLOSED),
    ("batch_weighing_delete", "batch_weighing", LINE.format(row="OLD"), "1 = 1", KEPT.format(table="batch_weighing")),
    ("batch_heating_delete", "batch_heating", LINE.format(row="OLD"), "1 = 1", KEPT.format(table="batch_heating")),
)
CORRECTION = f"{OF_LINE} IN {DECIDED} AND (NEW.replaces_id IS NULL OR length(trim(NEW.by)) = 0{{more}})"


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _lay(name: str, table: str, change: str, when: str, message: str) -> None:
    """Lay a trigger of this name anew; on a server its function of the same name is written over."""
    if _on_sqlite():
        op.execute(f"DROP TRIGGER IF EXISTS {name}")
        op.execute(
            f"CREATE TRIGGER {name} BEFORE {change} ON {table} WHEN {when} BEGIN SELECT RAISE(ABORT, '{message}'); END"
        )
        return
    result = "OLD" if change == "DELETE" else "NEW"
    condition = when.replace("NEW.by", 'NEW."by"')
    op.execute(
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {condition} THEN "
        f"RAISE EXCEPTION '{message}'; END IF; RETURN {result}; END $$"
    )
    op.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}")
    op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")


def _keep_whole(table: str) -> None:
    """Lay the trigger again that lets nothing of a table be deleted, as it stood before this revision."""
    if _on_sqlite():
        op.execute(f"DROP TRIGGER {table}_stays")
        op.execute(
            f"CREATE TRIGGER {table}_stays BEFORE DELETE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{KEPT.format(table=table)}'); END"
        )
        return
    op.execute(f"DROP TRIGGER {table}_stays ON {table}")
    op.execute(f"DROP FUNCTION {table}_stays()")
    if table in ("stock_move", "lot_event"):
        _guard_on_server(table, "UPDATE OR DELETE")
    else:
        op.execute(
            f"CREATE TRIGGER {table}_stays BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_kept()"
        )


def _guard_on_server(table: str, changes: str) -> None:
    op.execute(f"DROP TRIGGER {table}_kept ON {table}")
    op.execute(f"CREATE TRIGGER {table}_kept BEFORE {changes} ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_kept()")


def upgrade() -> None:
    op.create_table(
        "imported_record",
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("record_id", sa.Integer(), nullable=False),
        sa.Column("import_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("length(trim(kind)) > 0", name=op.f("ck_imported_record_kind_not_blank")),
        sa.ForeignKeyConstraint(
            ["import_id"],
            ["formula_import.id"],
            name=op.f("fk_imported_record_import_id_formula_import"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("kind", "record_id", name=op.f("pk_imported_record")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_imported_record_import_id"), "imported_record", ["import_id"])
    for table, kind, row in FOR_GOOD:
        if not _on_sqlite() and table in ("stock_move", "lot_event"):
            _guard_on_server(table, "UPDATE")
        taken_back = TAKEN_BACK.format(kind=kind, row=row)
        _lay(f"{table}_stays", table, "DELETE", f"NOT {taken_back}", KEPT.format(table=table))
    for name, table, row, when, message in OF_A_BATCH:
        taken_back = TAKEN_BACK.format(kind="batch", row=row)
        _lay(name, table, "DELETE", f"{when} AND NOT {taken_back}", message)
    imported = IMPORTED.format(kind="batch", row=LINE.format(row="NEW"))
    _lay(
        "batch_weighing_decided_insert",
        "batch_weighing",
        "INSERT",
        CORRECTION.format(more=f" OR {imported}"),
        CLOSED,
    )


def downgrade() -> None:
    _lay("batch_weighing_decided_insert", "batch_weighing", "INSERT", CORRECTION.format(more=""), CLOSED)
    for name, table, _row, when, message in OF_A_BATCH:
        _lay(name, table, "DELETE", when, message)
    for table, _kind, _row in FOR_GOOD:
        _keep_whole(table)
    op.drop_index(op.f("ix_imported_record_import_id"), "imported_record")
    op.drop_table("imported_record")
