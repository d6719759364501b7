"""packing runs with their packaging lots, fill weights, samples and deviations; how costs are chosen

Revision ID: 0015
Revises: 0013
"""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0013"
branch_labels = None
depends_on = None

AMOUNT = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
CLEAR_BEFORE = (
    "No unit, label or packaging of an earlier run is left",
    "Bench, filler and tools are clean and fit for use",
    "Labels and the code printed are those of this batch",
)
CLEAR_AFTER = (
    "Every unit, label and piece of packaging of this run is taken away",
    "What was left over of labels and packaging is counted, and brought back or destroyed",
)
COLUMNS = (
    ("bulk_low_percent", "TEXT DEFAULT '97' NOT NULL", "{real} >= 0 AND {real} <= 100", "in_range"),
    ("bulk_high_percent", "TEXT DEFAULT '102' NOT NULL", "{real} >= 100 AND {real} <= 200", "in_range"),
    ("clear_before", "TEXT DEFAULT '' NOT NULL"),
    ("clear_after", "TEXT DEFAULT '' NOT NULL"),
    (
        "cost_by",
        "TEXT DEFAULT 'last purchase' NOT NULL",
        "cost_by IN ('last purchase', 'average on hand', 'best offer')",
        "known",
    ),
)
OF_RUN = "(SELECT state FROM packing_run WHERE id = {row}.run_id) <> 'open'"
# What is only ever added to: (table, change), whatever the state of the run.
KEPT = tuple(
    (table, change)
    for table in ("packing_event", "sample_look", "finished_move", "fill_weight")
    for change in ("UPDATE", "DELETE")
)
# What a run that is not open refuses: (table, change, condition).
GUARDS = (
    ("packing_run", "UPDATE", "OLD.state <> 'open'"),
    ("packing_run", "DELETE", "OLD.state <> 'open'"),
    *(
        (table, change, OF_RUN.format(row="NEW" if change == "INSERT" else "OLD"))
        for table in ("packing_lot_use", "packing_tick")
        for change in ("INSERT", "UPDATE", "DELETE")
    ),
    ("fill_weight", "INSERT", OF_RUN.format(row="NEW")),
    ("retained_sample", "INSERT", OF_RUN.format(row="NEW")),
    ("retained_sample", "UPDATE", "OLD.discarded_on IS NOT NULL OR NEW.units <> OLD.units OR NEW.run_id <> OLD.run_id"),
    ("retained_sample", "DELETE", OF_RUN.format(row="OLD")),
    ("packing_deviation", "UPDATE", "OLD.decided_at IS NOT NULL"),
    ("packing_deviation", "DELETE", "OLD.decided_at IS NOT NULL"),
)
# The triggers of the ledger as 0007 laid them: rebuilding the table on SQLite takes them away.
LEDGER = (
    "CREATE TRIGGER stock_move_counts AFTER INSERT ON stock_move\n"
    "    BEGIN UPDATE lot SET on_hand = on_hand + NEW.amount WHERE id = NEW.lot_id; END",
    *(
        f"CREATE TRIGGER stock_move_{name} BEFORE {change} ON stock_move "
        "BEGIN SELECT RAISE(ABORT, 'stock_move is kept as it is'); END"
        for name, change in (("kept", "UPDATE"), ("stays", "DELETE"))
    ),
)


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _refuse(name: str, table: str, change: str, message: str, when: str = "") -> None:
    if _on_sqlite():
        condition = f" WHEN {when}" if when else ""
        op.execute(
            f"CREATE TRIGGER {name} BEFORE {change} ON {table}{condition} BEGIN SELECT RAISE(ABORT, '{message}'); END"
        )
        return
    result = "OLD" if change == "DELETE" else "NEW"
    body = f"IF {when or 'true'} THEN RAISE EXCEPTION '{message}'; END IF; RETURN {result};"
    op.execute(f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {body} END $$")
    op.execute(f"CREATE TRIGGER {name} BEFORE {change} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")


def _refusals() -> list[tuple[str, str, str, str, str]]:
    kept = [
        (f"{table}_kept_{change.lower()}", table, change, f"{table} is kept as it is", "") for table, change in KEPT
    ]
    closed = "a closed packing run is kept as it is"
    return kept + [(f"{table}_closed_{change.lower()}", table, change, closed, when) for table, change, when in GUARDS]


def _ledger_again() -> None:
    for statement in LEDGER if _on_sqlite() else ():
        op.execute(statement)


def upgrade() -> None:
    op.create_table(
        "packing_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("packed_on", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("fill_amount", sa.Text(), nullable=False),
        sa.Column("fill_unit", sa.Text(), nullable=False),
        sa.Column("density_g_ml", sa.Text(), nullable=True),
        sa.Column("jurisdiction", sa.Text(), nullable=False),
        sa.Column("units_filled", sa.Integer(), nullable=False),
        sa.Column("units_spoilt", sa.Integer(), nullable=False),
        sa.Column("units_sampled", sa.Integer(), nullable=False),
        sa.Column("bulk_g", sa.Text(), nullable=True),
        sa.Column("rest_g", sa.Text(), nullable=True),
        sa.Column("waste_g", sa.Text(), nullable=True),
        sa.Column("artwork", sa.Text(), nullable=False),
        sa.Column("code_printed", sa.Text(), nullable=False),
        sa.Column("best_before", sa.Text(), nullable=True),
        sa.Column("open_months", sa.Integer(), nullable=True),
        sa.Column("early_why", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("closed_at", sa.Text(), nullable=True),
        sa.Column("closed_by", sa.Text(), nullable=False),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("(state = 'open') = (closed_at IS NULL)", name=op.f("ck_packing_run_closing_is_dated")),
        sa.CheckConstraint("jurisdiction IN ('EU', 'US')", name=op.f("ck_packing_run_jurisdiction_known")),
        sa.CheckConstraint("state IN ('open', 'closed', 'cancelled')", name=op.f("ck_packing_run_state_known")),
        sa.CheckConstraint("CAST(bulk_g AS REAL) > 0", name=op.f("ck_packing_run_bulk_g_above_zero")),
        sa.CheckConstraint("CAST(density_g_ml AS REAL) > 0", name=op.f("ck_packing_run_density_g_ml_above_zero")),
        sa.CheckConstraint("CAST(fill_amount AS REAL) > 0", name=op.f("ck_packing_run_fill_amount_above_zero")),
        sa.CheckConstraint("CAST(rest_g AS REAL) >= 0", name=op.f("ck_packing_run_rest_g_in_range")),
        sa.CheckConstraint("CAST(waste_g AS REAL) >= 0", name=op.f("ck_packing_run_waste_g_in_range")),
        sa.CheckConstraint("length(trim(number)) > 0", name=op.f("ck_packing_run_number_not_blank")),
        sa.CheckConstraint(
            "units_filled >= 0 AND units_spoilt >= 0 AND units_sampled >= 0 AND units_spoilt + units_sampled <= units_filled",
            name=op.f("ck_packing_run_units_add_up"),
        ),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_packing_run_batch_id_batch"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["product_id"], ["product.id"], name=op.f("fk_packing_run_product_id_product"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_packing_run")),
        sa.UniqueConstraint("number", name=op.f("uq_packing_run_number")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_packing_run_batch_id"), "packing_run", ["batch_id"])
    op.create_index(op.f("ix_packing_run_packed_on"), "packing_run", ["packed_on"])
    op.create_index(op.f("ix_packing_run_product_id"), "packing_run", ["product_id"])

    op.create_table(
        "fill_weight",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("n", sa.Integer(), nullable=False),
        sa.Column("grams", sa.Text(), nullable=True),
        sa.Column("tare_g", sa.Text(), nullable=True),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint("CAST(grams AS REAL) > 0", name=op.f("ck_fill_weight_grams_above_zero")),
        sa.CheckConstraint(
            "grams IS NOT NULL OR replaces_id IS NOT NULL", name=op.f("ck_fill_weight_a_weight_or_a_correction")
        ),
        sa.CheckConstraint(
            "replaces_id IS NULL OR length(trim(reason)) > 0", name=op.f("ck_fill_weight_correction_has_reason")
        ),
        sa.ForeignKeyConstraint(
            ["replaces_id"],
            ["fill_weight.id"],
            name=op.f("fk_fill_weight_replaces_id_fill_weight"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["run_id"], ["packing_run.id"], name=op.f("fk_fill_weight_run_id_packing_run"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fill_weight")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_fill_weight_replaces_id"), "fill_weight", ["replaces_id"])
    op.create_index(op.f("ix_fill_weight_run_id"), "fill_weight", ["run_id"])

    op.create_table(
        "finished_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("units", sa.Integer(), nullable=False),
        sa.Column("moved_on", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('counted', 'discarded', 'used here')", name=op.f("ck_finished_move_kind_known")),
        sa.CheckConstraint("length(trim(why)) > 0", name=op.f("ck_finished_move_why_not_blank")),
        sa.ForeignKeyConstraint(
            ["run_id"], ["packing_run.id"], name=op.f("fk_finished_move_run_id_packing_run"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finished_move")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_finished_move_run_id"), "finished_move", ["run_id"])

    op.create_table(
        "packing_deviation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("found_at", sa.Text(), nullable=False),
        sa.Column("found_by", sa.Text(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("effect", sa.Text(), nullable=False),
        sa.Column("action", sa.Text(), nullable=False),
        sa.Column("decided_at", sa.Text(), nullable=True),
        sa.Column("decided_by", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "(decided_at IS NULL) = (length(trim(decided_by)) = 0)",
            name=op.f("ck_packing_deviation_decision_is_signed"),
        ),
        sa.CheckConstraint("length(trim(what)) > 0", name=op.f("ck_packing_deviation_what_not_blank")),
        sa.ForeignKeyConstraint(
            ["run_id"], ["packing_run.id"], name=op.f("fk_packing_deviation_run_id_packing_run"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_packing_deviation")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_packing_deviation_run_id"), "packing_deviation", ["run_id"])

    op.create_table(
        "packing_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(what)) > 0", name=op.f("ck_packing_event_what_not_blank")),
        sa.ForeignKeyConstraint(
            ["run_id"], ["packing_run.id"], name=op.f("fk_packing_event_run_id_packing_run"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_packing_event")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_packing_event_run_id"), "packing_event", ["run_id"])

    op.create_table(
        "packing_lot_use",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("issued", AMOUNT, nullable=False),
        sa.Column("used", AMOUNT, nullable=False),
        sa.Column("spoilt", AMOUNT, nullable=False),
        sa.Column("returned", AMOUNT, nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "issued > 0 AND used >= 0 AND spoilt >= 0 AND returned >= 0", name=op.f("ck_packing_lot_use_not_negative")
        ),
        sa.CheckConstraint("returned <= issued", name=op.f("ck_packing_lot_use_returned_was_issued")),
        sa.ForeignKeyConstraint(
            ["lot_id"], ["lot.id"], name=op.f("fk_packing_lot_use_lot_id_lot"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["run_id"], ["packing_run.id"], name=op.f("fk_packing_lot_use_run_id_packing_run"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_packing_lot_use")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_packing_lot_use_lot_id"), "packing_lot_use", ["lot_id"])
    op.create_index(op.f("ix_packing_lot_use_run_id"), "packing_lot_use", ["run_id"])
    op.create_index("uq_packing_lot_use_lot", "packing_lot_use", ["run_id", "lot_id"], unique=True)

    op.create_table(
        "packing_tick",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("done_at", sa.Text(), nullable=True),
        sa.Column("done_by", sa.Text(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('before', 'after')", name=op.f("ck_packing_tick_kind_known")),
        sa.CheckConstraint(
            "(done_at IS NULL) = (length(trim(done_by)) = 0)", name=op.f("ck_packing_tick_tick_is_signed")
        ),
        sa.CheckConstraint("length(trim(words)) > 0", name=op.f("ck_packing_tick_words_not_blank")),
        sa.ForeignKeyConstraint(
            ["run_id"], ["packing_run.id"], name=op.f("fk_packing_tick_run_id_packing_run"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_packing_tick")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_packing_tick_run_id"), "packing_tick", ["run_id"])

    op.create_table(
        "retained_sample",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("units", sa.Integer(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("kept_on", sa.Text(), nullable=False),
        sa.Column("keep_until", sa.Text(), nullable=False),
        sa.Column("look_months", sa.Integer(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("discarded_on", sa.Text(), nullable=True),
        sa.Column("discarded_by", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "(discarded_on IS NULL) = (length(trim(discarded_by)) = 0)",
            name=op.f("ck_retained_sample_discarding_is_signed"),
        ),
        sa.CheckConstraint("keep_until >= kept_on", name=op.f("ck_retained_sample_kept_for_a_time")),
        sa.CheckConstraint("length(trim(place)) > 0", name=op.f("ck_retained_sample_place_not_blank")),
        sa.CheckConstraint(
            "look_months IS NULL OR look_months >= 1", name=op.f("ck_retained_sample_look_months_from_one")
        ),
        sa.CheckConstraint("units >= 1", name=op.f("ck_retained_sample_at_least_one")),
        sa.ForeignKeyConstraint(
            ["run_id"], ["packing_run.id"], name=op.f("fk_retained_sample_run_id_packing_run"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_retained_sample")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_retained_sample_keep_until"), "retained_sample", ["keep_until"])
    op.create_index(op.f("ix_retained_sample_run_id"), "retained_sample", ["run_id"])

    op.create_table(
        "sample_look",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("looked_on", sa.Text(), nullable=False),
        sa.Column("seen", sa.Text(), nullable=False),
        sa.Column("units_used", sa.Integer(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(seen)) > 0", name=op.f("ck_sample_look_seen_not_blank")),
        sa.CheckConstraint("units_used >= 0", name=op.f("ck_sample_look_units_used_not_negative")),
        sa.ForeignKeyConstraint(
            ["sample_id"],
            ["retained_sample.id"],
            name=op.f("fk_sample_look_sample_id_retained_sample"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sample_look")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_sample_look_sample_id"), "sample_look", ["sample_id"])

    with op.batch_alter_table("stock_move", schema=None, recreate="auto") as batch_op:
        batch_op.add_column(sa.Column("packing_run_id", sa.Integer(), nullable=True))
        batch_op.create_index(op.f("ix_stock_move_packing_run_id"), ["packing_run_id"])
        batch_op.create_foreign_key(
            op.f("fk_stock_move_packing_run_id_packing_run"),
            "packing_run",
            ["packing_run_id"],
            ["id"],
            ondelete="RESTRICT",
        )
    _ledger_again()
    for name, kind, *check in COLUMNS:
        condition = check[0].format(real=f"CAST({name} AS REAL)") if check else ""
        limit = f" CONSTRAINT ck_workshop_{name}_{check[1]} CHECK ({condition})" if check else ""
        op.execute(f"ALTER TABLE workshop ADD COLUMN {name} {kind}{limit}")
    op.get_bind().execute(
        sa.text("UPDATE workshop SET clear_before = :before, clear_after = :after"),
        {"before": "\n".join(CLEAR_BEFORE), "after": "\n".join(CLEAR_AFTER)},
    )
    for refusal in _refusals():
        _refuse(*refusal)


def downgrade() -> None:
    for name, table, *_rest in reversed(_refusals()):
        op.execute(f"DROP TRIGGER {name}" + ("" if _on_sqlite() else f" ON {table}"))
        if not _on_sqlite():
            op.execute(f"DROP FUNCTION {name}()")
    for name, *_rest in reversed(COLUMNS):
        op.execute(f"ALTER TABLE workshop DROP COLUMN {name}")
    with op.batch_alter_table("stock_move", schema=None) as batch_op:
        batch_op.drop_constraint(op.f("fk_stock_move_packing_run_id_packing_run"), type_="foreignkey")
        batch_op.drop_index(op.f("ix_stock_move_packing_run_id"))
        batch_op.drop_column("packing_run_id")
    _ledger_again()
    for table in (
        "sample_look",
        "retained_sample",
        "packing_tick",
        "packing_lot_use",
        "packing_event",
        "packing_deviation",
        "finished_move",
        "fill_weight",
        "packing_run",
    ):
        op.drop_table(table)
