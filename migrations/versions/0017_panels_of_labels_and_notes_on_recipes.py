"""panels and wraps of labels; words, equipment, substitutes and pictures of recipes

Revision ID: 0017
Revises: 0016
"""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

# Columns of label_design with the condition on each, in the order they come; they go the other way round.
COLUMNS = (
    ("panel", "TEXT DEFAULT 'whole' NOT NULL", "panel_known", "panel IN ('whole', 'front', 'back', 'base', 'wrap')"),
    ("diameter_mm", "TEXT", "diameter_mm_above_zero", "CAST(diameter_mm AS REAL) > 0"),
    (
        "overlap_mm",
        "TEXT",
        "overlap_mm_in_range",
        "CAST(overlap_mm AS REAL) >= 0 AND CAST(overlap_mm AS REAL) <= 100",
    ),
    ("on_back", "TEXT DEFAULT '' NOT NULL", "wrap_goes_round", "(panel = 'wrap') = (diameter_mm IS NOT NULL)"),
)


def upgrade() -> None:
    for name, kind, check, condition in COLUMNS:
        op.execute(
            f"ALTER TABLE label_design ADD COLUMN {name} {kind} CONSTRAINT ck_label_design_{check} CHECK ({condition})"
        )
    op.create_table(
        "recipe_notes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("equipment", sa.Text(), nullable=False),
        sa.Column("substitutes", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_recipe_notes_formula_id_formula"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recipe_notes")),
        sqlite_strict=True,
    )
    op.create_index("uq_recipe_notes_formula", "recipe_notes", ["formula_id"], unique=True)
    op.create_index(op.f("ix_recipe_notes_formula_id"), "recipe_notes", ["formula_id"])
    op.create_table(
        "recipe_picture",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("alt", sa.Text(), nullable=False),
        sa.Column("added_at", sa.Text(), nullable=False),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_recipe_picture_sha256_whole")),
        sa.CheckConstraint("length(trim(alt)) > 0", name=op.f("ck_recipe_picture_alt_not_blank")),
        sa.CheckConstraint("width >= 1 AND height >= 1", name=op.f("ck_recipe_picture_has_a_size")),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_recipe_picture_formula_id_formula"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recipe_picture")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_recipe_picture_formula_id"), "recipe_picture", ["formula_id"])
    op.create_index(op.f("ix_recipe_picture_sha256"), "recipe_picture", ["sha256"])


def downgrade() -> None:
    op.drop_table("recipe_picture")
    op.drop_table("recipe_notes")
    for name, _, check, _ in reversed(COLUMNS):
        if op.get_bind().dialect.name != "sqlite":
            op.execute(f"ALTER TABLE label_design DROP CONSTRAINT ck_label_design_{check}")
        op.execute(f"ALTER TABLE label_design DROP COLUMN {name}")
