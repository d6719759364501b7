"""lots, their ledger, suppliers, orders and documents

Revision ID: 0007
Revises: 0006
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

AMOUNT = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
COLUMNS = (
    "ALTER TABLE material ADD COLUMN reorder_g TEXT "
    "CONSTRAINT ck_material_reorder_g_in_range CHECK (CAST(reorder_g AS REAL) >= 0)",
    "ALTER TABLE material ADD COLUMN drawn_here INTEGER DEFAULT 0 NOT NULL",
    "ALTER TABLE packaging ADD COLUMN reorder TEXT "
    "CONSTRAINT ck_packaging_reorder_in_range CHECK (CAST(reorder AS REAL) >= 0)",
)
# The names that prices, materials and packaging were bought under become suppliers; the texts stay where they are.
SUPPLIERS = """
INSERT INTO supplier (name, contact, address, notes)
SELECT DISTINCT trim(supplier), '', '', '' FROM (
    SELECT supplier FROM price UNION SELECT supplier FROM material UNION SELECT supplier FROM packaging
) AS bought WHERE trim(supplier) <> '' ORDER BY 1
"""
LEDGER_SQLITE = (
    """CREATE TRIGGER stock_move_counts AFTER INSERT ON stock_move
    BEGIN UPDATE lot SET on_hand = on_hand + NEW.amount WHERE id = NEW.lot_id; END""",
    *(
        f"CREATE TRIGGER {table}_{name} BEFORE {change} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is kept as it is'); END"
        for table in ("stock_move", "lot_event")
        for name, change in (("kept", "UPDATE"), ("stays", "DELETE"))
    ),
)
LEDGER_SERVER = (
    """CREATE FUNCTION stock_move_counts() RETURNS trigger LANGUAGE plpgsql AS
    $$ BEGIN UPDATE lot SET on_hand = on_hand + NEW.amount WHERE id = NEW.lot_id; RETURN NEW; END $$""",
    """CREATE TRIGGER stock_move_counts AFTER INSERT ON stock_move
    FOR EACH ROW EXECUTE FUNCTION stock_move_counts()""",
    *(
        statement
        for table in ("stock_move", "lot_event")
        for statement in (
            f"CREATE FUNCTION {table}_kept() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{table} is kept as it is'; END $$",
            f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {table}_kept()",
        )
    ),
)
LEDGER_GONE_SQLITE = (
    "DROP TRIGGER stock_move_counts",
    *(f"DROP TRIGGER {table}_{name}" for table in ("stock_move", "lot_event") for name in ("kept", "stays")),
)
LEDGER_GONE_SERVER = (
    "DROP TRIGGER stock_move_counts ON stock_move",
    "DROP FUNCTION stock_move_counts()",
    *(
        statement
        for table in ("stock_move", "lot_event")
        for statement in (f"DROP TRIGGER {table}_kept ON {table}", f"DROP FUNCTION {table}_kept()")
    ),
)


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def upgrade() -> None:
    op.create_table(
        "document",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("dated_on", sa.Text(), nullable=True),
        sa.Column("valid_until", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("added_by", sa.Text(), nullable=False),
        sa.Column("added_at", sa.Text(), nullable=False),
        sa.Column("retired_at", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "kind IN ('safety data sheet', 'certificate of analysis', 'allergen sheet', 'specification', 'composition', 'artwork', 'test report', 'order or invoice', 'other')",
            name=op.f("ck_document_kind_known"),
        ),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_document_sha256_whole")),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_document_name_not_blank")),
        sa.CheckConstraint("size >= 0", name=op.f("ck_document_size_not_negative")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_document")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("document", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_document_sha256"), ["sha256"], unique=False)

    op.create_table(
        "supplier",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("delivery_days", sa.Text(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("retired_at", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "CAST(delivery_days AS REAL) >= 0 AND CAST(delivery_days AS REAL) <= 3650",
            name=op.f("ck_supplier_delivery_days_in_range"),
        ),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_supplier_name_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_supplier")),
        sa.UniqueConstraint("name", name=op.f("uq_supplier_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "purchase",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("supplier_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("ordered_on", sa.Text(), nullable=False),
        sa.Column("expected_on", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("state IN ('open', 'received', 'cancelled')", name=op.f("ck_purchase_state_known")),
        sa.CheckConstraint("length(trim(number)) > 0", name=op.f("ck_purchase_number_not_blank")),
        sa.ForeignKeyConstraint(
            ["supplier_id"], ["supplier.id"], name=op.f("fk_purchase_supplier_id_supplier"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_purchase")),
        sa.UniqueConstraint("number", name=op.f("uq_purchase_number")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("purchase", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_purchase_supplier_id"), ["supplier_id"], unique=False)

    op.create_table(
        "lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=True),
        sa.Column("packaging_id", sa.Integer(), nullable=True),
        sa.Column("from_batch_id", sa.Integer(), nullable=True),
        sa.Column("supplier_id", sa.Integer(), nullable=True),
        sa.Column("supplier_lot", sa.Text(), nullable=False),
        sa.Column("received_on", sa.Text(), nullable=False),
        sa.Column("amount_text", sa.Text(), nullable=False),
        sa.Column("paid", sa.Text(), nullable=True),
        sa.Column("currency", sa.Text(), nullable=False),
        sa.Column("opened_on", sa.Text(), nullable=True),
        sa.Column("expires_on", sa.Text(), nullable=True),
        sa.Column("retest_on", sa.Text(), nullable=True),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("composition", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("decided_by", sa.Text(), nullable=False),
        sa.Column("decided_at", sa.Text(), nullable=True),
        sa.Column("decided_why", sa.Text(), nullable=False),
        sa.Column("on_hand", AMOUNT, nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("(state = 'quarantine') = (decided_at IS NULL)", name=op.f("ck_lot_decision_is_dated")),
        sa.CheckConstraint("state IN ('quarantine', 'accepted', 'refused')", name=op.f("ck_lot_state_known")),
        sa.CheckConstraint(
            "(packaging_id IS NOT NULL AND material_id IS NULL AND from_batch_id IS NULL) OR (packaging_id IS NULL AND (material_id IS NOT NULL OR from_batch_id IS NOT NULL))",
            name=op.f("ck_lot_of_one_thing"),
        ),
        sa.CheckConstraint(
            "CAST(paid AS REAL) >= 0 AND CAST(paid AS REAL) <= 1000000000000.0", name=op.f("ck_lot_paid_in_range")
        ),
        sa.CheckConstraint("length(trim(code)) > 0", name=op.f("ck_lot_code_not_blank")),
        sa.CheckConstraint("on_hand >= 0", name=op.f("ck_lot_on_hand_not_negative")),
        sa.ForeignKeyConstraint(
            ["from_batch_id"], ["batch.id"], name=op.f("fk_lot_from_batch_id_batch"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_lot_material_id_material"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["packaging_id"], ["packaging.id"], name=op.f("fk_lot_packaging_id_packaging"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["supplier_id"], ["supplier.id"], name=op.f("fk_lot_supplier_id_supplier"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot")),
        sa.UniqueConstraint("code", name=op.f("uq_lot_code")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("lot", schema=None) as batch_op:
        batch_op.create_index("ix_lot_due", ["expires_on", "retest_on"], unique=False)
        batch_op.create_index(batch_op.f("ix_lot_from_batch_id"), ["from_batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_lot_material_id"), ["material_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_lot_packaging_id"), ["packaging_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_lot_supplier_id"), ["supplier_id"], unique=False)

    op.create_table(
        "lot_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(what)) > 0", name=op.f("ck_lot_event_what_not_blank")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_lot_event_lot_id_lot"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot_event")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("lot_event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_lot_event_lot_id"), ["lot_id"], unique=False)

    op.create_table(
        "document_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("document_id", sa.Integer(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=True),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("supplier_id", sa.Integer(), nullable=True),
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("product_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "(CASE WHEN material_id IS NULL THEN 0 ELSE 1 END) + (CASE WHEN lot_id IS NULL THEN 0 ELSE 1 END) + (CASE WHEN supplier_id IS NULL THEN 0 ELSE 1 END) + (CASE WHEN batch_id IS NULL THEN 0 ELSE 1 END) + (CASE WHEN product_id IS NULL THEN 0 ELSE 1 END) = 1",
            name=op.f("ck_document_link_to_one_thing"),
        ),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_document_link_batch_id_batch"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["document_id"], ["document.id"], name=op.f("fk_document_link_document_id_document"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["product_id"], ["product.id"], name=op.f("fk_document_link_product_id_product"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_document_link_lot_id_lot"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_document_link_material_id_material"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["supplier_id"], ["supplier.id"], name=op.f("fk_document_link_supplier_id_supplier"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_document_link")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("document_link", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_document_link_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_document_link_document_id"), ["document_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_document_link_product_id"), ["product_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_document_link_lot_id"), ["lot_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_document_link_material_id"), ["material_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_document_link_supplier_id"), ["supplier_id"], unique=False)

    op.create_table(
        "purchase_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("purchase_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=True),
        sa.Column("packaging_id", sa.Integer(), nullable=True),
        sa.Column("amount", AMOUNT, nullable=False),
        sa.Column("amount_text", sa.Text(), nullable=False),
        sa.Column("price", sa.Text(), nullable=True),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "(material_id IS NULL) <> (packaging_id IS NULL)", name=op.f("ck_purchase_line_of_one_thing")
        ),
        sa.CheckConstraint(
            "CAST(price AS REAL) >= 0 AND CAST(price AS REAL) <= 1000000000000.0",
            name=op.f("ck_purchase_line_price_in_range"),
        ),
        sa.CheckConstraint("amount > 0", name=op.f("ck_purchase_line_amount_above_zero")),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_purchase_line_lot_id_lot"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_purchase_line_material_id_material"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["packaging_id"],
            ["packaging.id"],
            name=op.f("fk_purchase_line_packaging_id_packaging"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["purchase_id"], ["purchase.id"], name=op.f("fk_purchase_line_purchase_id_purchase"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_purchase_line")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("purchase_line", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_purchase_line_lot_id"), ["lot_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_purchase_line_material_id"), ["material_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_purchase_line_packaging_id"), ["packaging_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_purchase_line_purchase_id"), ["purchase_id"], unique=False)
        batch_op.create_index("uq_purchase_line_place", ["purchase_id", "position"], unique=True)

    op.create_table(
        "stock_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("amount", AMOUNT, nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=True),
        sa.Column("batch_line_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("amount <> 0 OR kind = 'counted'", name=op.f("ck_stock_move_something_moved")),
        sa.CheckConstraint(
            "kind IN ('received', 'made', 'weighed out', 'used', 'returned', 'counted', 'spilled', 'discarded')",
            name=op.f("ck_stock_move_kind_known"),
        ),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_stock_move_batch_id_batch"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["batch_line_id"],
            ["batch_line.id"],
            name=op.f("fk_stock_move_batch_line_id_batch_line"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_stock_move_lot_id_lot"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_move")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("stock_move", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_stock_move_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_stock_move_batch_line_id"), ["batch_line_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_stock_move_lot_id"), ["lot_id"], unique=False)

    for statement in (*COLUMNS, *(LEDGER_SQLITE if _on_sqlite() else LEDGER_SERVER), SUPPLIERS):
        op.execute(statement)


def downgrade() -> None:
    for statement in LEDGER_GONE_SQLITE if _on_sqlite() else LEDGER_GONE_SERVER:
        op.execute(statement)
    op.execute("ALTER TABLE packaging DROP COLUMN reorder")
    op.execute("ALTER TABLE material DROP COLUMN drawn_here")
    op.execute("ALTER TABLE material DROP COLUMN reorder_g")
    with op.batch_alter_table("stock_move", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_stock_move_lot_id"))
        batch_op.drop_index(batch_op.f("ix_stock_move_batch_line_id"))
        batch_op.drop_index(batch_op.f("ix_stock_move_batch_id"))

    op.drop_table("stock_move")
    with op.batch_alter_table("purchase_line", schema=None) as batch_op:
        batch_op.drop_index("uq_purchase_line_place")
        batch_op.drop_index(batch_op.f("ix_purchase_line_purchase_id"))
        batch_op.drop_index(batch_op.f("ix_purchase_line_packaging_id"))
        batch_op.drop_index(batch_op.f("ix_purchase_line_material_id"))
        batch_op.drop_index(batch_op.f("ix_purchase_line_lot_id"))

    op.drop_table("purchase_line")
    with op.batch_alter_table("document_link", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_document_link_supplier_id"))
        batch_op.drop_index(batch_op.f("ix_document_link_material_id"))
        batch_op.drop_index(batch_op.f("ix_document_link_lot_id"))
        batch_op.drop_index(batch_op.f("ix_document_link_product_id"))
        batch_op.drop_index(batch_op.f("ix_document_link_document_id"))
        batch_op.drop_index(batch_op.f("ix_document_link_batch_id"))

    op.drop_table("document_link")
    with op.batch_alter_table("lot_event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_lot_event_lot_id"))

    op.drop_table("lot_event")
    with op.batch_alter_table("lot", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_lot_supplier_id"))
        batch_op.drop_index(batch_op.f("ix_lot_packaging_id"))
        batch_op.drop_index(batch_op.f("ix_lot_material_id"))
        batch_op.drop_index(batch_op.f("ix_lot_from_batch_id"))
        batch_op.drop_index("ix_lot_due")

    op.drop_table("lot")
    with op.batch_alter_table("purchase", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_purchase_supplier_id"))

    op.drop_table("purchase")
    op.drop_table("supplier")
    with op.batch_alter_table("document", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_document_sha256"))

    op.drop_table("document")
