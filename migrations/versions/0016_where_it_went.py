"""where units went, recalls and cases; indexes for large workshops

Revision ID: 0016
Revises: 0014
"""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0014"
branch_labels = None
depends_on = None

CLOSED = "EXISTS (SELECT 1 FROM recall WHERE id = NEW.recall_id AND closed_at IS NOT NULL)"
TOLD = "kind, batch_id, product_id, run_id, receiver_id, units, sent_on, by, created_at, import_id, recall_id"
# What the database refuses: (table, change, condition). Closed records are kept; what was told of units stays.
GUARDS = (
    *((table, change, "1 = 1") for table in ("recall_event", "case_event") for change in ("UPDATE", "DELETE")),
    *(
        (table, change, "1 = 1")
        for table in ("recall_lot", "recall_batch", "recall_notice")
        for change in ("UPDATE", "DELETE")
    ),
    *((table, "INSERT", CLOSED) for table in ("recall_lot", "recall_batch", "recall_notice", "dispatch")),
    *(
        (table, change, "OLD.closed_at IS NOT NULL")
        for table in ("recall", "case_file")
        for change in ("UPDATE", "DELETE")
    ),
    ("dispatch", f"UPDATE OF {TOLD}", "1 = 1"),
    ("dispatch", "UPDATE OF cancelled_at, cancelled_by, cancelled_why", "OLD.cancelled_at IS NOT NULL"),
    ("dispatch", "UPDATE OF order_number", "NEW.order_number <> ''"),
    ("dispatch", "DELETE", "1 = 1"),
    ("dispatch_import", "DELETE", "1 = 1"),
    ("receiver", "UPDATE", "OLD.forgotten_at IS NOT NULL"),
    ("receiver", "DELETE", "1 = 1"),
)
# What lists, daily pages and traces ask for in a large workshop: (name, table, columns).
INDEXES = (("ix_batch_weighing_lot_text", "batch_weighing", ["lot_text"]),)


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _name(table: str, change: str) -> str:
    return f"{table}_kept_{change.lower().replace('update of ', '').partition(',')[0]}"


def _guard(table: str, change: str, when: str) -> None:
    name, message = _name(table, change), f"{table} is kept as it is"
    if _on_sqlite():
        op.execute(
            f"CREATE TRIGGER {name} BEFORE {change} ON {table} WHEN {when} BEGIN SELECT RAISE(ABORT, '{message}'); END"
        )
        return
    result = "OLD" if change == "DELETE" else "NEW"
    op.execute(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {when} THEN "
        f"RAISE EXCEPTION '{message}'; END IF; RETURN {result}; END $$"
    )
    op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")


def _unguard(table: str, change: str) -> None:
    name = _name(table, change)
    op.execute(f"DROP TRIGGER {name}" + ("" if _on_sqlite() else f" ON {table}"))
    if not _on_sqlite():
        op.execute(f"DROP FUNCTION {name}()")


def upgrade() -> None:
    op.create_table(
        "dispatch_import",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.Text(), nullable=False),
        sa.Column("taken_by", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("lines", sa.Integer(), nullable=False),
        sa.Column("undone_at", sa.Text(), nullable=True),
        sa.CheckConstraint("lines >= 1", name=op.f("ck_dispatch_import_lines_from_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dispatch_import")),
        sqlite_strict=True,
    )
    op.create_table(
        "recall",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("is_mock", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("scope", sa.Text(), nullable=False),
        sa.Column("to_do", sa.Text(), nullable=False),
        sa.Column("opened_at", sa.Text(), nullable=False),
        sa.Column("opened_by", sa.Text(), nullable=False),
        sa.Column("listed_at", sa.Text(), nullable=True),
        sa.Column("listed_by", sa.Text(), nullable=False),
        sa.Column("closed_at", sa.Text(), nullable=True),
        sa.Column("closed_by", sa.Text(), nullable=False),
        sa.Column("conclusion", sa.Text(), nullable=False),
        sa.Column("units_sent", sa.Integer(), nullable=True),
        sa.Column("units_reached", sa.Integer(), nullable=True),
        sa.Column("units_returned", sa.Integer(), nullable=True),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(closed_at IS NULL) = (length(trim(closed_by)) = 0)", name=op.f("ck_recall_closing_is_signed")
        ),
        sa.CheckConstraint("closed_at IS NULL OR units_sent IS NOT NULL", name=op.f("ck_recall_closed_with_figures")),
        sa.CheckConstraint("length(trim(number)) > 0", name=op.f("ck_recall_number_not_blank")),
        sa.CheckConstraint("length(trim(reason)) > 0", name=op.f("ck_recall_reason_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recall")),
        sa.UniqueConstraint("number", name=op.f("uq_recall_number")),
        sqlite_strict=True,
    )
    op.create_table(
        "recall_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recall_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(what)) > 0", name=op.f("ck_recall_event_what_not_blank")),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_event_recall_id_recall"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recall_event")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("recall_event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recall_event_recall_id"), ["recall_id"], unique=False)

    op.create_table(
        "receiver",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("forgotten_at", sa.Text(), nullable=True),
        sa.Column("import_id", sa.Integer(), nullable=True),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('person', 'shop')", name=op.f("ck_receiver_kind_known")),
        sa.CheckConstraint(
            "(forgotten_at IS NULL AND length(trim(name)) > 0) OR (forgotten_at IS NOT NULL AND length(name) = 0 AND length(contact) = 0)",
            name=op.f("ck_receiver_named_or_forgotten"),
        ),
        sa.ForeignKeyConstraint(
            ["import_id"],
            ["dispatch_import.id"],
            name=op.f("fk_receiver_import_id_dispatch_import"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_receiver")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("receiver", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_receiver_import_id"), ["import_id"], unique=False)
        batch_op.create_index("ix_receiver_name", ["name"], unique=False)

    op.create_table(
        "recall_notice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recall_id", sa.Integer(), nullable=False),
        sa.Column("receiver_id", sa.Integer(), nullable=False),
        sa.Column("how", sa.Text(), nullable=False),
        sa.Column("reached", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "how IN ('e-mail', 'telephone', 'letter', 'in person')", name=op.f("ck_recall_notice_how_known")
        ),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_notice_recall_id_recall"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["receiver_id"], ["receiver.id"], name=op.f("fk_recall_notice_receiver_id_receiver"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recall_notice")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("recall_notice", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recall_notice_recall_id"), ["recall_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_recall_notice_receiver_id"), ["receiver_id"], unique=False)

    op.create_table(
        "case_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("known_on", sa.Text(), nullable=False),
        sa.Column("happened_on", sa.Text(), nullable=True),
        sa.Column("product_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("receiver_id", sa.Integer(), nullable=True),
        sa.Column("market", sa.Text(), nullable=False),
        sa.Column("units", sa.Integer(), nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("person_hurt", sa.Integer(), nullable=False),
        sa.Column("is_serious", sa.Integer(), nullable=False),
        sa.Column("actions", sa.Text(), nullable=False),
        sa.Column("reported_on", sa.Text(), nullable=True),
        sa.Column("opened_at", sa.Text(), nullable=False),
        sa.Column("opened_by", sa.Text(), nullable=False),
        sa.Column("closed_at", sa.Text(), nullable=True),
        sa.Column("closed_by", sa.Text(), nullable=False),
        sa.Column("conclusion", sa.Text(), nullable=False),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('complaint', 'undesirable effect', 'return')", name=op.f("ck_case_file_kind_known")
        ),
        sa.CheckConstraint("market IN ('EU', 'US')", name=op.f("ck_case_file_market_known")),
        sa.CheckConstraint(
            "(closed_at IS NULL) = (length(trim(closed_by)) = 0)", name=op.f("ck_case_file_closing_is_signed")
        ),
        sa.CheckConstraint("length(trim(number)) > 0", name=op.f("ck_case_file_number_not_blank")),
        sa.CheckConstraint("length(trim(what)) > 0", name=op.f("ck_case_file_what_not_blank")),
        sa.CheckConstraint("units IS NULL OR units >= 1", name=op.f("ck_case_file_units_from_one")),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_case_file_batch_id_batch"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["product_id"], ["product.id"], name=op.f("fk_case_file_product_id_product"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["receiver_id"], ["receiver.id"], name=op.f("fk_case_file_receiver_id_receiver"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_case_file")),
        sa.UniqueConstraint("number", name=op.f("uq_case_file_number")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("case_file", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_case_file_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index("ix_case_file_known_on", ["known_on"], unique=False)
        batch_op.create_index(batch_op.f("ix_case_file_product_id"), ["product_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_case_file_receiver_id"), ["receiver_id"], unique=False)

    op.create_table(
        "recall_batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recall_id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("named", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_recall_batch_batch_id_batch"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_batch_recall_id_recall"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recall_batch")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("recall_batch", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recall_batch_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_recall_batch_recall_id"), ["recall_id"], unique=False)
        batch_op.create_index("uq_recall_batch", ["recall_id", "batch_id"], unique=True)

    op.create_table(
        "case_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("case_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(what)) > 0", name=op.f("ck_case_event_what_not_blank")),
        sa.ForeignKeyConstraint(
            ["case_id"], ["case_file.id"], name=op.f("fk_case_event_case_id_case_file"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_case_event")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("case_event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_case_event_case_id"), ["case_id"], unique=False)

    op.create_table(
        "dispatch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("receiver_id", sa.Integer(), nullable=True),
        sa.Column("units", sa.Integer(), nullable=False),
        sa.Column("sent_on", sa.Text(), nullable=False),
        sa.Column("order_number", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("import_id", sa.Integer(), nullable=True),
        sa.Column("recall_id", sa.Integer(), nullable=True),
        sa.Column("cancelled_at", sa.Text(), nullable=True),
        sa.Column("cancelled_by", sa.Text(), nullable=False),
        sa.Column("cancelled_why", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('sale', 'gift', 'sample', 'returned')", name=op.f("ck_dispatch_kind_known")),
        sa.CheckConstraint("recall_id IS NULL OR kind = 'returned'", name=op.f("ck_dispatch_recall_brings_back")),
        sa.CheckConstraint(
            "(cancelled_at IS NULL) = (length(trim(cancelled_why)) = 0)", name=op.f("ck_dispatch_cancelled_with_reason")
        ),
        sa.CheckConstraint("units >= 1", name=op.f("ck_dispatch_units_from_one")),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_dispatch_batch_id_batch"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["import_id"],
            ["dispatch_import.id"],
            name=op.f("fk_dispatch_import_id_dispatch_import"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["product_id"], ["product.id"], name=op.f("fk_dispatch_product_id_product"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_dispatch_recall_id_recall"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["receiver_id"], ["receiver.id"], name=op.f("fk_dispatch_receiver_id_receiver"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["run_id"], ["packing_run.id"], name=op.f("fk_dispatch_run_id_packing_run"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dispatch")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("dispatch", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_dispatch_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_dispatch_import_id"), ["import_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_dispatch_product_id"), ["product_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_dispatch_recall_id"), ["recall_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_dispatch_receiver_id"), ["receiver_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_dispatch_run_id"), ["run_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_dispatch_sent_on"), ["sent_on"], unique=False)

    op.create_table(
        "recall_lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recall_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_recall_lot_lot_id_lot"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_lot_recall_id_recall"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recall_lot")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("recall_lot", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recall_lot_lot_id"), ["lot_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_recall_lot_recall_id"), ["recall_id"], unique=False)
        batch_op.create_index("uq_recall_lot", ["recall_id", "lot_id"], unique=True)

    for guard in GUARDS:
        _guard(*guard)
    for name, table, columns in INDEXES:
        op.create_index(name, table, columns)


def downgrade() -> None:
    for name, table, _columns in reversed(INDEXES):
        op.drop_index(name, table)
    for guard in reversed(GUARDS):
        _unguard(*guard[:2])
    with op.batch_alter_table("recall_lot", schema=None) as batch_op:
        batch_op.drop_index("uq_recall_lot")
        batch_op.drop_index(batch_op.f("ix_recall_lot_recall_id"))
        batch_op.drop_index(batch_op.f("ix_recall_lot_lot_id"))

    op.drop_table("recall_lot")
    with op.batch_alter_table("dispatch", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_dispatch_sent_on"))
        batch_op.drop_index(batch_op.f("ix_dispatch_run_id"))
        batch_op.drop_index(batch_op.f("ix_dispatch_receiver_id"))
        batch_op.drop_index(batch_op.f("ix_dispatch_recall_id"))
        batch_op.drop_index(batch_op.f("ix_dispatch_product_id"))
        batch_op.drop_index(batch_op.f("ix_dispatch_import_id"))
        batch_op.drop_index(batch_op.f("ix_dispatch_batch_id"))

    op.drop_table("dispatch")
    with op.batch_alter_table("case_event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_case_event_case_id"))

    op.drop_table("case_event")
    with op.batch_alter_table("recall_batch", schema=None) as batch_op:
        batch_op.drop_index("uq_recall_batch")
        batch_op.drop_index(batch_op.f("ix_recall_batch_recall_id"))
        batch_op.drop_index(batch_op.f("ix_recall_batch_batch_id"))

    op.drop_table("recall_batch")
    with op.batch_alter_table("case_file", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_case_file_receiver_id"))
        batch_op.drop_index(batch_op.f("ix_case_file_product_id"))
        batch_op.drop_index("ix_case_file_known_on")
        batch_op.drop_index(batch_op.f("ix_case_file_batch_id"))

    op.drop_table("case_file")
    with op.batch_alter_table("recall_notice", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_recall_notice_receiver_id"))
        batch_op.drop_index(batch_op.f("ix_recall_notice_recall_id"))

    op.drop_table("recall_notice")
    with op.batch_alter_table("receiver", schema=None) as batch_op:
        batch_op.drop_index("ix_receiver_name")
        batch_op.drop_index(batch_op.f("ix_receiver_import_id"))

    op.drop_table("receiver")
    with op.batch_alter_table("recall_event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_recall_event_recall_id"))

    op.drop_table("recall_event")
    op.drop_table("recall")
    op.drop_table("dispatch_import")
