"""the balance of finished units, kept by triggers; indexes for large workshops

Revision ID: 0019
Revises: 0018
"""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None

HELD = sa.text("on_hand > 0")
LEFT = sa.text("units <> 0")
ADD = (
    "INSERT INTO finished_balance (product_id, batch_id, units) {rows} "
    "ON CONFLICT (product_id, batch_id) DO UPDATE SET units = finished_balance.units + excluded.units"
)
PACKED = "units_filled - units_spoilt - units_sampled"
OUT = "CASE WHEN {row}.kind = 'returned' THEN {row}.units ELSE -{row}.units END"
OF_RUN = "SELECT product_id, batch_id, NEW.units FROM packing_run WHERE id = NEW.run_id"
# What changes the balance: (trigger, table, change, condition, the rows it adds).
KEEPERS = (
    (
        "finished_balance_packed", "packing_run", "UPDATE OF state", "NEW.state = 'closed' AND OLD.state <> 'closed'",
        "VALUES (NEW.product_id, NEW.batch_id, NEW.units_filled - NEW.units_spoilt - NEW.units_sampled)",
    ),
    ("finished_balance_moved", "finished_move", "INSERT", "1 = 1", OF_RUN),
    (
        "finished_balance_sent", "dispatch", "INSERT", "NEW.cancelled_at IS NULL",
        f"VALUES (NEW.product_id, NEW.batch_id, {OUT.format(row='NEW')})",
    ),
    (
        "finished_balance_cancelled", "dispatch", "UPDATE OF cancelled_at",
        "OLD.cancelled_at IS NULL AND NEW.cancelled_at IS NOT NULL",
        f"VALUES (NEW.product_id, NEW.batch_id, -({OUT.format(row='NEW')}))",
    ),
)  # fmt: skip
FILL = f"""
INSERT INTO finished_balance (product_id, batch_id, units)
SELECT product_id, batch_id, sum(units) FROM (
    SELECT product_id, batch_id, {PACKED} AS units FROM packing_run WHERE state = 'closed'
    UNION ALL SELECT r.product_id, r.batch_id, m.units FROM finished_move m JOIN packing_run r ON r.id = m.run_id
    UNION ALL SELECT product_id, batch_id, CASE WHEN kind = 'returned' THEN units ELSE -units END
    FROM dispatch WHERE cancelled_at IS NULL
) AS moved GROUP BY product_id, batch_id
"""


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _keep(name: str, table: str, change: str, when: str, rows: str) -> None:
    # SQLite takes ON CONFLICT after a SELECT for a join unless a WHERE stands before it.
    add = ADD.format(rows=rows)
    if _on_sqlite():
        op.execute(f"CREATE TRIGGER {name} AFTER {change} ON {table} WHEN {when} BEGIN {add}; END")
        return
    op.execute(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {when} THEN {add}; END IF; "
        f"RETURN NEW; END $$"
    )
    op.execute(f"CREATE TRIGGER {name} AFTER {change} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")


def upgrade() -> None:
    op.create_table(
        "finished_balance",
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("units", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_finished_balance_batch_id_batch"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["product_id"], ["product.id"], name=op.f("fk_finished_balance_product_id_product"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("product_id", "batch_id", name=op.f("pk_finished_balance")),
        sqlite_strict=True,
    )
    op.create_index(
        "ix_finished_balance_left", "finished_balance", ["product_id", "batch_id"],
        sqlite_where=LEFT, postgresql_where=LEFT,
    )  # fmt: skip
    op.execute(FILL)
    for keeper in KEEPERS:
        _keep(*keeper)
    op.create_index("ix_batch_newest", "batch", ["planned_on", "id"])
    op.create_index("ix_batch_state_newest", "batch", ["state", "planned_on", "id"])
    op.create_index("ix_lot_held", "lot", ["material_id", "packaging_id"], sqlite_where=HELD, postgresql_where=HELD)
    op.create_index(
        "ix_lot_held_due", "lot", ["state", "expires_on", "retest_on"], sqlite_where=HELD, postgresql_where=HELD
    )
    op.create_index("ix_lot_supplier_lot", "lot", ["supplier_lot"])
    op.create_index("ix_packing_run_best_before", "packing_run", ["best_before"])
    op.create_index("ix_packing_run_code_printed", "packing_run", ["code_printed"])
    op.create_index("ix_packing_run_state_newest", "packing_run", ["state", "packed_on", "id"])
    op.create_index("ix_formula_changed", "formula", ["changed_at"])


def downgrade() -> None:
    for name, table, *_rest in KEEPERS:
        op.execute(f"DROP TRIGGER {name}" + ("" if _on_sqlite() else f" ON {table}"))
        if not _on_sqlite():
            op.execute(f"DROP FUNCTION {name}()")
    op.drop_index("ix_finished_balance_left", "finished_balance")
    op.drop_table("finished_balance")
    op.drop_index("ix_formula_changed", "formula")
    op.drop_index("ix_packing_run_state_newest", "packing_run")
    op.drop_index("ix_packing_run_code_printed", "packing_run")
    op.drop_index("ix_packing_run_best_before", "packing_run")
    op.drop_index("ix_lot_supplier_lot", "lot")
    op.drop_index("ix_lot_held_due", "lot")
    op.drop_index("ix_lot_held", "lot")
    op.drop_index("ix_batch_state_newest", "batch")
    op.drop_index("ix_batch_newest", "batch")
