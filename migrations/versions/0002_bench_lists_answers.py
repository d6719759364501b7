"""bench pH sessions, printed lists, answers and corrections

Revision ID: 0002
Revises: 0001
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "label_list",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("product_type", sa.Text(), nullable=False),
        sa.Column("jurisdiction", sa.Text(), nullable=False),
        sa.Column("known", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("changed_at", sa.Text(), nullable=False),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("jurisdiction IN ('EU', 'US')", name=op.f("ck_label_list_jurisdiction_known")),
        sa.CheckConstraint("length(trim(text)) > 0", name=op.f("ck_label_list_text_not_blank")),
        sa.CheckConstraint("length(trim(title)) > 0", name=op.f("ck_label_list_title_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_label_list")),
        sqlite_strict=True,
    )
    op.create_table(
        "taught_name",
        sa.Column("printed_key", sa.Text(), nullable=False),
        sa.Column("inci", sa.Text(), nullable=False),
        sa.Column("taught_at", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(inci)) > 0", name=op.f("ck_taught_name_inci_not_blank")),
        sa.CheckConstraint("length(trim(printed_key)) > 0", name=op.f("ck_taught_name_printed_key_not_blank")),
        sa.PrimaryKeyConstraint("printed_key", name=op.f("pk_taught_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "value_correction",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("table_name", sa.Text(), nullable=False),
        sa.Column("row_key", sa.Text(), nullable=False),
        sa.Column("column_name", sa.Text(), nullable=False),
        sa.Column("shipped", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("corrected_by", sa.Text(), nullable=False),
        sa.Column("corrected_at", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(column_name)) > 0", name=op.f("ck_value_correction_column_name_not_blank")),
        sa.CheckConstraint("length(trim(row_key)) > 0", name=op.f("ck_value_correction_row_key_not_blank")),
        sa.CheckConstraint("length(trim(source)) > 0", name=op.f("ck_value_correction_source_not_blank")),
        sa.CheckConstraint("length(trim(table_name)) > 0", name=op.f("ck_value_correction_table_name_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_value_correction")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("value_correction", schema=None) as batch_op:
        batch_op.create_index("uq_value_correction_place", ["table_name", "row_key", "column_name"], unique=True)

    op.create_table(
        "drop_weight",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("dropper", sa.Text(), nullable=False),
        sa.Column("drops", sa.Text(), nullable=False),
        sa.Column("grams", sa.Text(), nullable=False),
        sa.Column("weighed_at", sa.Text(), nullable=False),
        sa.CheckConstraint("CAST(drops AS REAL) > 0", name=op.f("ck_drop_weight_drops_above_zero")),
        sa.CheckConstraint("CAST(grams AS REAL) > 0", name=op.f("ck_drop_weight_grams_above_zero")),
        sa.CheckConstraint("length(trim(dropper)) > 0", name=op.f("ck_drop_weight_dropper_not_blank")),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_drop_weight_material_id_material"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_drop_weight")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("drop_weight", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_drop_weight_material_id"), ["material_id"], unique=False)

    op.create_table(
        "finding_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("finding", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("answered_by", sa.Text(), nullable=False),
        sa.Column("answered_at", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(fingerprint)) > 0", name=op.f("ck_finding_answer_fingerprint_not_blank")),
        sa.CheckConstraint("length(trim(reason)) > 0", name=op.f("ck_finding_answer_reason_not_blank")),
        sa.CheckConstraint("length(trim(rule)) > 0", name=op.f("ck_finding_answer_rule_not_blank")),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_finding_answer_formula_id_formula"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_finding_answer")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("finding_answer", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_finding_answer_formula_id"), ["formula_id"], unique=False)
        batch_op.create_index("uq_finding_answer_once", ["formula_id", "rule", "fingerprint"], unique=True)

    op.create_table(
        "started_formula",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("label_list_id", sa.Integer(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("started_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_started_formula_formula_id_formula"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["label_list_id"],
            ["label_list.id"],
            name=op.f("fk_started_formula_label_list_id_label_list"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_started_formula")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("started_formula", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_started_formula_formula_id"), ["formula_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_started_formula_label_list_id"), ["label_list_id"], unique=False)

    op.create_table(
        "ph_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("target_ph", sa.Text(), nullable=False),
        sa.Column("batch_g", sa.Text(), nullable=False),
        sa.Column("water_percent", sa.Text(), nullable=True),
        sa.Column("started_at", sa.Text(), nullable=False),
        sa.Column("started_by", sa.Text(), nullable=False),
        sa.Column("finished_at", sa.Text(), nullable=True),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("CAST(batch_g AS REAL) > 0", name=op.f("ck_ph_session_batch_g_above_zero")),
        sa.CheckConstraint(
            "CAST(target_ph AS REAL) >= 0 AND CAST(target_ph AS REAL) <= 14",
            name=op.f("ck_ph_session_target_ph_in_range"),
        ),
        sa.CheckConstraint(
            "CAST(water_percent AS REAL) >= 0 AND CAST(water_percent AS REAL) <= 100",
            name=op.f("ck_ph_session_water_percent_in_range"),
        ),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_ph_session_batch_id_batch"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_ph_session_material_id_material"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ph_session")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("ph_session", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_ph_session_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ph_session_material_id"), ["material_id"], unique=False)

    op.create_table(
        "ph_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=True),
        sa.Column("grams", sa.Text(), nullable=True),
        sa.Column("drops", sa.Text(), nullable=True),
        sa.Column("ph", sa.Text(), nullable=True),
        sa.Column("uncertainty", sa.Text(), nullable=True),
        sa.Column("temperature_c", sa.Text(), nullable=True),
        sa.Column("advised_g", sa.Text(), nullable=True),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "(kind = 'addition' AND grams IS NOT NULL AND material_id IS NOT NULL AND ph IS NULL) OR (kind = 'reading' AND ph IS NOT NULL AND grams IS NULL)",
            name=op.f("ck_ph_entry_addition_or_reading"),
        ),
        sa.CheckConstraint("kind IN ('addition', 'reading')", name=op.f("ck_ph_entry_kind_known")),
        sa.CheckConstraint("CAST(grams AS REAL) >= 0", name=op.f("ck_ph_entry_grams_in_range")),
        sa.CheckConstraint("CAST(ph AS REAL) >= -1 AND CAST(ph AS REAL) <= 15", name=op.f("ck_ph_entry_ph_in_range")),
        sa.CheckConstraint(
            "CAST(uncertainty AS REAL) >= 0 AND CAST(uncertainty AS REAL) <= 3",
            name=op.f("ck_ph_entry_uncertainty_in_range"),
        ),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_ph_entry_material_id_material"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["ph_session.id"], name=op.f("fk_ph_entry_session_id_ph_session"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ph_entry")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("ph_entry", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_ph_entry_material_id"), ["material_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ph_entry_session_id"), ["session_id"], unique=False)
        batch_op.create_index("uq_ph_entry_place", ["session_id", "position"], unique=True)


def downgrade() -> None:
    with op.batch_alter_table("ph_entry", schema=None) as batch_op:
        batch_op.drop_index("uq_ph_entry_place")
        batch_op.drop_index(batch_op.f("ix_ph_entry_session_id"))
        batch_op.drop_index(batch_op.f("ix_ph_entry_material_id"))

    op.drop_table("ph_entry")
    with op.batch_alter_table("ph_session", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_ph_session_material_id"))
        batch_op.drop_index(batch_op.f("ix_ph_session_batch_id"))

    op.drop_table("ph_session")
    with op.batch_alter_table("started_formula", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_started_formula_label_list_id"))
        batch_op.drop_index(batch_op.f("ix_started_formula_formula_id"))

    op.drop_table("started_formula")
    with op.batch_alter_table("finding_answer", schema=None) as batch_op:
        batch_op.drop_index("uq_finding_answer_once")
        batch_op.drop_index(batch_op.f("ix_finding_answer_formula_id"))

    op.drop_table("finding_answer")
    with op.batch_alter_table("drop_weight", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_drop_weight_material_id"))

    op.drop_table("drop_weight")
    with op.batch_alter_table("value_correction", schema=None) as batch_op:
        batch_op.drop_index("uq_value_correction_place")

    op.drop_table("value_correction")
    op.drop_table("taught_name")
    op.drop_table("label_list")
