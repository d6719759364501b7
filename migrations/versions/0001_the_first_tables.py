"""the first tables

Revision ID: 0001
Revises:
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


KEPT_FOR_GOOD = ("formula_version", "version_line", "batch_event", "batch_reading")


def _keep_for_good(table: str) -> list[str]:
    if op.get_bind().dialect.name == "sqlite":
        return [
            f"CREATE TRIGGER {table}_kept BEFORE UPDATE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is kept as it is'); END"
        ]
    return [
        f"CREATE FUNCTION {table}_kept() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{table} is kept as it is'; END $$",
        f"CREATE TRIGGER {table}_kept BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_kept()",
    ]


def _let_go(table: str) -> list[str]:
    if op.get_bind().dialect.name == "sqlite":
        return [f"DROP TRIGGER {table}_kept"]
    return [f"DROP TRIGGER {table}_kept ON {table}", f"DROP FUNCTION {table}_kept()"]


def upgrade() -> None:
    op.create_table(
        "form_key",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("taken_at", sa.Text(), nullable=False),
        sa.Column("result", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(key)) > 0", name=op.f("ck_form_key_key_not_blank")),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_form_key")),
        sqlite_strict=True,
    )
    op.create_table(
        "formula",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("product_type", sa.Text(), nullable=False),
        sa.Column("exposure", sa.Text(), nullable=False),
        sa.Column("draft_step", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("changed_at", sa.Text(), nullable=False),
        sa.Column("retired_at", sa.Text(), nullable=True),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("exposure IN ('leave-on', 'rinse-off')", name=op.f("ck_formula_exposure_known")),
        sa.CheckConstraint("length(trim(code)) > 0", name=op.f("ck_formula_code_not_blank")),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_formula_name_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_formula")),
        sa.UniqueConstraint("code", name=op.f("uq_formula_code")),
        sqlite_strict=True,
    )
    op.create_table(
        "material",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("library_key", sa.Text(), nullable=True),
        sa.Column("form", sa.Text(), nullable=False),
        sa.Column("phase_hint", sa.Text(), nullable=False),
        sa.Column("functions", sa.Text(), nullable=False),
        sa.Column("density_g_ml", sa.Text(), nullable=True),
        sa.Column("use_low", sa.Text(), nullable=True),
        sa.Column("use_high", sa.Text(), nullable=True),
        sa.Column("ph_min", sa.Text(), nullable=True),
        sa.Column("ph_max", sa.Text(), nullable=True),
        sa.Column("max_temp_c", sa.Text(), nullable=True),
        sa.Column("cautions", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("supplier", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("retired_at", sa.Text(), nullable=True),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "phase_hint IN ('water', 'oil', 'cool-down', 'powder', 'adjuster', 'any')",
            name=op.f("ck_material_phase_hint_known"),
        ),
        sa.CheckConstraint("CAST(density_g_ml AS REAL) > 0", name=op.f("ck_material_density_g_ml_above_zero")),
        sa.CheckConstraint(
            "CAST(ph_max AS REAL) >= -1 AND CAST(ph_max AS REAL) <= 15", name=op.f("ck_material_ph_max_in_range")
        ),
        sa.CheckConstraint("CAST(ph_min AS REAL) <= CAST(ph_max AS REAL)", name=op.f("ck_material_ph_range_in_order")),
        sa.CheckConstraint(
            "CAST(ph_min AS REAL) >= -1 AND CAST(ph_min AS REAL) <= 15", name=op.f("ck_material_ph_min_in_range")
        ),
        sa.CheckConstraint(
            "CAST(use_high AS REAL) >= 0 AND CAST(use_high AS REAL) <= 100", name=op.f("ck_material_use_high_in_range")
        ),
        sa.CheckConstraint(
            "CAST(use_low AS REAL) <= CAST(use_high AS REAL)", name=op.f("ck_material_use_range_in_order")
        ),
        sa.CheckConstraint(
            "CAST(use_low AS REAL) >= 0 AND CAST(use_low AS REAL) <= 100", name=op.f("ck_material_use_low_in_range")
        ),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_material_name_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_material")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("material", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_material_library_key"), ["library_key"], unique=False)
        batch_op.create_index(
            "uq_material_live_name",
            ["name_key"],
            unique=True,
            sqlite_where=sa.text("retired_at IS NULL"),
            postgresql_where=sa.text("retired_at IS NULL"),
        )

    op.create_table(
        "number_series",
        sa.Column("series", sa.Text(), nullable=False),
        sa.Column("last", sa.Integer(), nullable=False),
        sa.CheckConstraint("last >= 0", name=op.f("ck_number_series_last_not_negative")),
        sa.PrimaryKeyConstraint("series", name=op.f("pk_number_series")),
        sqlite_strict=True,
    )
    op.create_table(
        "packaging",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("units_per_pack", sa.Text(), nullable=False),
        sa.Column("price", sa.Text(), nullable=True),
        sa.Column("supplier", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("retired_at", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "CAST(price AS REAL) >= 0 AND CAST(price AS REAL) <= 1000000000000.0",
            name=op.f("ck_packaging_price_in_range"),
        ),
        sa.CheckConstraint("CAST(units_per_pack AS REAL) > 0", name=op.f("ck_packaging_units_per_pack_above_zero")),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_packaging_name_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_packaging")),
        sa.UniqueConstraint("name", name=op.f("uq_packaging_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "scale",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("readability_g", sa.Text(), nullable=False),
        sa.Column("capacity_g", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "CAST(capacity_g AS REAL) >= CAST(readability_g AS REAL)", name=op.f("ck_scale_capacity_holds_a_step")
        ),
        sa.CheckConstraint("CAST(readability_g AS REAL) > 0", name=op.f("ck_scale_readability_g_above_zero")),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_scale_name_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_scale")),
        sa.UniqueConstraint("name", name=op.f("uq_scale_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "workshop",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("currency", sa.Text(), nullable=False),
        sa.Column("locale", sa.Text(), nullable=False),
        sa.Column("paper", sa.Text(), nullable=False),
        sa.Column("jurisdiction", sa.Text(), nullable=False),
        sa.Column("batch_number_pattern", sa.Text(), nullable=False),
        sa.Column("labour_rate", sa.Text(), nullable=False),
        sa.Column("overhead_percent", sa.Text(), nullable=False),
        sa.Column("tax_percent", sa.Text(), nullable=False),
        sa.Column("loss_percent", sa.Text(), nullable=False),
        sa.Column("is_demo", sa.Integer(), nullable=False),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("jurisdiction IN ('EU', 'US')", name=op.f("ck_workshop_jurisdiction_known")),
        sa.CheckConstraint("paper IN ('A4', 'Letter')", name=op.f("ck_workshop_paper_known")),
        sa.CheckConstraint(
            "CAST(labour_rate AS REAL) >= 0 AND CAST(labour_rate AS REAL) <= 1000000000.0",
            name=op.f("ck_workshop_labour_rate_in_range"),
        ),
        sa.CheckConstraint(
            "CAST(loss_percent AS REAL) >= 0 AND CAST(loss_percent AS REAL) <= 99",
            name=op.f("ck_workshop_loss_percent_in_range"),
        ),
        sa.CheckConstraint(
            "CAST(overhead_percent AS REAL) >= 0 AND CAST(overhead_percent AS REAL) <= 1000",
            name=op.f("ck_workshop_overhead_percent_in_range"),
        ),
        sa.CheckConstraint(
            "CAST(tax_percent AS REAL) >= 0 AND CAST(tax_percent AS REAL) <= 100",
            name=op.f("ck_workshop_tax_percent_in_range"),
        ),
        sa.CheckConstraint("id = 1", name=op.f("ck_workshop_only_one")),
        sa.CheckConstraint("length(currency) = 3", name=op.f("ck_workshop_currency_iso_4217")),
        sa.CheckConstraint(
            "length(trim(batch_number_pattern)) > 0", name=op.f("ck_workshop_batch_number_pattern_not_blank")
        ),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_workshop_name_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_workshop")),
        sqlite_strict=True,
    )
    op.create_table(
        "draft_material",
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_draft_material_formula_id_formula"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_draft_material_material_id_material"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("formula_id", "material_id", name=op.f("pk_draft_material")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("draft_material", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_draft_material_formula_id"), ["formula_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_draft_material_material_id"), ["material_id"], unique=False)

    op.create_table(
        "draft_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("step", sa.Integer(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("deed", sa.Text(), nullable=False),
        sa.Column("editor", sa.Text(), nullable=False),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("length(trim(content)) > 0", name=op.f("ck_draft_step_content_not_blank")),
        sa.CheckConstraint("step >= 1", name=op.f("ck_draft_step_step_from_one")),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_draft_step_formula_id_formula"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_draft_step")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("draft_step", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_draft_step_formula_id"), ["formula_id"], unique=False)
        batch_op.create_index("uq_draft_step_place", ["formula_id", "step"], unique=True)

    op.create_table(
        "formula_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("exposure", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("kept_at", sa.Text(), nullable=False),
        sa.Column("kept_by", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("materials", sa.Text(), nullable=False),
        sa.CheckConstraint("exposure IN ('leave-on', 'rinse-off')", name=op.f("ck_formula_version_exposure_known")),
        sa.CheckConstraint("length(trim(content)) > 0", name=op.f("ck_formula_version_content_not_blank")),
        sa.CheckConstraint("length(trim(materials)) > 0", name=op.f("ck_formula_version_materials_not_blank")),
        sa.CheckConstraint("number >= 1", name=op.f("ck_formula_version_number_from_one")),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_formula_version_formula_id_formula"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_formula_version")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("formula_version", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_formula_version_formula_id"), ["formula_id"], unique=False)
        batch_op.create_index("uq_formula_version_number", ["formula_id", "number"], unique=True)

    op.create_table(
        "material_part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("inci", sa.Text(), nullable=False),
        sa.Column("cas", sa.Text(), nullable=True),
        sa.Column("percent", sa.Text(), nullable=False),
        sa.Column("low", sa.Text(), nullable=True),
        sa.Column("high", sa.Text(), nullable=True),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("nano", sa.Integer(), nullable=False),
        sa.Column("may_contain", sa.Integer(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('ingredient', 'colourant', 'perfume', 'flavour', 'incidental')",
            name=op.f("ck_material_part_kind_known"),
        ),
        sa.CheckConstraint(
            "CAST(high AS REAL) >= 0 AND CAST(high AS REAL) <= 100", name=op.f("ck_material_part_high_in_range")
        ),
        sa.CheckConstraint("CAST(low AS REAL) <= CAST(high AS REAL)", name=op.f("ck_material_part_range_in_order")),
        sa.CheckConstraint(
            "CAST(low AS REAL) >= 0 AND CAST(low AS REAL) <= 100", name=op.f("ck_material_part_low_in_range")
        ),
        sa.CheckConstraint(
            "CAST(percent AS REAL) >= 0 AND CAST(percent AS REAL) <= 100",
            name=op.f("ck_material_part_percent_in_range"),
        ),
        sa.CheckConstraint("length(trim(inci)) > 0", name=op.f("ck_material_part_inci_not_blank")),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_material_part_material_id_material"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_material_part")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("material_part", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_material_part_material_id"), ["material_id"], unique=False)
        batch_op.create_index("uq_material_part_place", ["material_id", "position"], unique=True)

    op.create_table(
        "price",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("amount", sa.Text(), nullable=False),
        sa.Column("quantity_text", sa.Text(), nullable=False),
        sa.Column("quantity_g", sa.Text(), nullable=False),
        sa.Column("priced_on", sa.Text(), nullable=False),
        sa.Column("supplier", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('paid', 'offered')", name=op.f("ck_price_kind_known")),
        sa.CheckConstraint(
            "CAST(amount AS REAL) >= 0 AND CAST(amount AS REAL) <= 1000000000000.0",
            name=op.f("ck_price_amount_in_range"),
        ),
        sa.CheckConstraint("CAST(quantity_g AS REAL) > 0", name=op.f("ck_price_quantity_g_above_zero")),
        sa.CheckConstraint("length(trim(quantity_text)) > 0", name=op.f("ck_price_quantity_text_not_blank")),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_price_material_id_material"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_price")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("price", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_price_material_id"), ["material_id"], unique=False)

    op.create_table(
        "batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("size_g", sa.Text(), nullable=False),
        sa.Column("size_text", sa.Text(), nullable=False),
        sa.Column("loss_percent", sa.Text(), nullable=False),
        sa.Column("fill_g", sa.Text(), nullable=True),
        sa.Column("planned_on", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("yield_g", sa.Text(), nullable=True),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("started_at", sa.Text(), nullable=True),
        sa.Column("decided_at", sa.Text(), nullable=True),
        sa.Column("decided_by", sa.Text(), nullable=False),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(state IN ('released', 'rejected')) = (decided_at IS NOT NULL)", name=op.f("ck_batch_decision_is_dated")
        ),
        sa.CheckConstraint(
            "state IN ('planned', 'in process', 'released', 'rejected')", name=op.f("ck_batch_state_known")
        ),
        sa.CheckConstraint("CAST(fill_g AS REAL) > 0", name=op.f("ck_batch_fill_g_above_zero")),
        sa.CheckConstraint(
            "CAST(loss_percent AS REAL) >= 0 AND CAST(loss_percent AS REAL) <= 99",
            name=op.f("ck_batch_loss_percent_in_range"),
        ),
        sa.CheckConstraint("CAST(size_g AS REAL) > 0", name=op.f("ck_batch_size_g_above_zero")),
        sa.CheckConstraint("length(trim(number)) > 0", name=op.f("ck_batch_number_not_blank")),
        sa.ForeignKeyConstraint(
            ["version_id"],
            ["formula_version.id"],
            name=op.f("fk_batch_version_id_formula_version"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch")),
        sa.UniqueConstraint("number", name=op.f("uq_batch_number")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("batch", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_batch_version_id"), ["version_id"], unique=False)

    op.create_table(
        "branch",
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_branch_formula_id_formula"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["version_id"],
            ["formula_version.id"],
            name=op.f("fk_branch_version_id_formula_version"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("formula_id", name=op.f("pk_branch")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("branch", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_branch_version_id"), ["version_id"], unique=False)

    op.create_table(
        "part_allergen",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("inci", sa.Text(), nullable=False),
        sa.Column("percent", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "CAST(percent AS REAL) >= 0 AND CAST(percent AS REAL) <= 100",
            name=op.f("ck_part_allergen_percent_in_range"),
        ),
        sa.CheckConstraint("length(trim(inci)) > 0", name=op.f("ck_part_allergen_inci_not_blank")),
        sa.ForeignKeyConstraint(
            ["part_id"], ["material_part.id"], name=op.f("fk_part_allergen_part_id_material_part"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part_allergen")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("part_allergen", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_part_allergen_part_id"), ["part_id"], unique=False)

    op.create_table(
        "version_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("line_key", sa.Text(), nullable=False),
        sa.Column("phase", sa.Text(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("percent", sa.Text(), nullable=False),
        sa.Column("qs", sa.Integer(), nullable=False),
        sa.Column("temperature_c", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "CAST(percent AS REAL) >= 0 AND CAST(percent AS REAL) <= 100", name=op.f("ck_version_line_percent_in_range")
        ),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_version_line_material_id_material"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["version_id"],
            ["formula_version.id"],
            name=op.f("fk_version_line_version_id_formula_version"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_version_line")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("version_line", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_version_line_material_id"), ["material_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_version_line_version_id"), ["version_id"], unique=False)
        batch_op.create_index(
            "uq_version_line_one_qs",
            ["version_id"],
            unique=True,
            sqlite_where=sa.text("qs = 1"),
            postgresql_where=sa.text("qs = 1"),
        )
        batch_op.create_index("uq_version_line_place", ["version_id", "position"], unique=True)

    op.create_table(
        "batch_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(what)) > 0", name=op.f("ck_batch_event_what_not_blank")),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_batch_event_batch_id_batch"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch_event")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("batch_event", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_batch_event_batch_id"), ["batch_id"], unique=False)

    op.create_table(
        "batch_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("phase", sa.Text(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("percent", sa.Text(), nullable=False),
        sa.Column("target_g", sa.Text(), nullable=False),
        sa.Column("shown_g", sa.Text(), nullable=False),
        sa.Column("scale", sa.Text(), nullable=False),
        sa.Column("added_at_bench", sa.Integer(), nullable=False),
        sa.Column("actual_g", sa.Text(), nullable=True),
        sa.Column("lot_code", sa.Text(), nullable=False),
        sa.Column("initials", sa.Text(), nullable=False),
        sa.Column("weighed_at", sa.Text(), nullable=True),
        sa.CheckConstraint("CAST(actual_g AS REAL) >= 0", name=op.f("ck_batch_line_actual_g_in_range")),
        sa.CheckConstraint(
            "CAST(percent AS REAL) >= 0 AND CAST(percent AS REAL) <= 100", name=op.f("ck_batch_line_percent_in_range")
        ),
        sa.CheckConstraint("CAST(shown_g AS REAL) >= 0", name=op.f("ck_batch_line_shown_g_in_range")),
        sa.CheckConstraint("CAST(target_g AS REAL) >= 0", name=op.f("ck_batch_line_target_g_in_range")),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_batch_line_batch_id_batch"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_batch_line_material_id_material"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch_line")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("batch_line", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_batch_line_batch_id"), ["batch_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_batch_line_material_id"), ["material_id"], unique=False)
        batch_op.create_index("uq_batch_line_place", ["batch_id", "position"], unique=True)

    op.create_table(
        "batch_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=True),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("temperature_c", sa.Text(), nullable=True),
        sa.Column("taken_at", sa.Text(), nullable=False),
        sa.Column("taken_by", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('pH', 'appearance', 'temperature', 'weight', 'other')", name=op.f("ck_batch_reading_kind_known")
        ),
        sa.CheckConstraint("length(trim(words)) > 0", name=op.f("ck_batch_reading_words_not_blank")),
        sa.ForeignKeyConstraint(
            ["batch_id"], ["batch.id"], name=op.f("fk_batch_reading_batch_id_batch"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch_reading")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("batch_reading", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_batch_reading_batch_id"), ["batch_id"], unique=False)
    for table in KEPT_FOR_GOOD:
        for statement in _keep_for_good(table):
            op.execute(statement)


def downgrade() -> None:
    for table in KEPT_FOR_GOOD:
        for statement in _let_go(table):
            op.execute(statement)
    with op.batch_alter_table("batch_reading", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_batch_reading_batch_id"))

    op.drop_table("batch_reading")
    with op.batch_alter_table("batch_line", schema=None) as batch_op:
        batch_op.drop_index("uq_batch_line_place")
        batch_op.drop_index(batch_op.f("ix_batch_line_material_id"))
        batch_op.drop_index(batch_op.f("ix_batch_line_batch_id"))

    op.drop_table("batch_line")
    with op.batch_alter_table("batch_event", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_batch_event_batch_id"))

    op.drop_table("batch_event")
    with op.batch_alter_table("version_line", schema=None) as batch_op:
        batch_op.drop_index("uq_version_line_place")
        batch_op.drop_index(
            "uq_version_line_one_qs", sqlite_where=sa.text("qs = 1"), postgresql_where=sa.text("qs = 1")
        )
        batch_op.drop_index(batch_op.f("ix_version_line_version_id"))
        batch_op.drop_index(batch_op.f("ix_version_line_material_id"))

    op.drop_table("version_line")
    with op.batch_alter_table("part_allergen", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_part_allergen_part_id"))

    op.drop_table("part_allergen")
    with op.batch_alter_table("branch", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_branch_version_id"))

    op.drop_table("branch")
    with op.batch_alter_table("batch", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_batch_version_id"))

    op.drop_table("batch")
    with op.batch_alter_table("price", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_price_material_id"))

    op.drop_table("price")
    with op.batch_alter_table("material_part", schema=None) as batch_op:
        batch_op.drop_index("uq_material_part_place")
        batch_op.drop_index(batch_op.f("ix_material_part_material_id"))

    op.drop_table("material_part")
    with op.batch_alter_table("formula_version", schema=None) as batch_op:
        batch_op.drop_index("uq_formula_version_number")
        batch_op.drop_index(batch_op.f("ix_formula_version_formula_id"))

    op.drop_table("formula_version")
    with op.batch_alter_table("draft_step", schema=None) as batch_op:
        batch_op.drop_index("uq_draft_step_place")
        batch_op.drop_index(batch_op.f("ix_draft_step_formula_id"))

    op.drop_table("draft_step")
    with op.batch_alter_table("draft_material", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_draft_material_material_id"))
        batch_op.drop_index(batch_op.f("ix_draft_material_formula_id"))

    op.drop_table("draft_material")
    op.drop_table("workshop")
    op.drop_table("scale")
    op.drop_table("packaging")
    op.drop_table("number_series")
    with op.batch_alter_table("material", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_material_live_name",
            sqlite_where=sa.text("retired_at IS NULL"),
            postgresql_where=sa.text("retired_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_material_library_key"))

    op.drop_table("material")
    op.drop_table("formula")
    op.drop_table("form_key")
