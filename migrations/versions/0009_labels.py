"""labels of products and the sheets they are printed on

Revision ID: 0009
Revises: 0008
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "label_sheet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("page_width_mm", sa.Text(), nullable=False),
        sa.Column("page_height_mm", sa.Text(), nullable=False),
        sa.Column("columns", sa.Integer(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("label_width_mm", sa.Text(), nullable=False),
        sa.Column("label_height_mm", sa.Text(), nullable=False),
        sa.Column("left_mm", sa.Text(), nullable=False),
        sa.Column("top_mm", sa.Text(), nullable=False),
        sa.Column("pitch_x_mm", sa.Text(), nullable=False),
        sa.Column("pitch_y_mm", sa.Text(), nullable=False),
        sa.Column("is_round", sa.Integer(), nullable=False),
        sa.Column("shift_x_mm", sa.Text(), nullable=False),
        sa.Column("shift_y_mm", sa.Text(), nullable=False),
        sa.CheckConstraint("CAST(label_height_mm AS REAL) > 0", name=op.f("ck_label_sheet_label_height_mm_above_zero")),
        sa.CheckConstraint("CAST(label_width_mm AS REAL) > 0", name=op.f("ck_label_sheet_label_width_mm_above_zero")),
        sa.CheckConstraint("CAST(page_height_mm AS REAL) > 0", name=op.f("ck_label_sheet_page_height_mm_above_zero")),
        sa.CheckConstraint("CAST(page_width_mm AS REAL) > 0", name=op.f("ck_label_sheet_page_width_mm_above_zero")),
        sa.CheckConstraint("columns >= 1 AND rows >= 1", name=op.f("ck_label_sheet_at_least_one_label")),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_label_sheet_name_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_label_sheet")),
        sa.UniqueConstraint("name", name=op.f("uq_label_sheet_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "label_design",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("shows_identity", sa.Integer(), nullable=False),
        sa.Column("shows_front", sa.Integer(), nullable=False),
        sa.Column("shows_content", sa.Integer(), nullable=False),
        sa.Column("shows_directions", sa.Integer(), nullable=False),
        sa.Column("shows_warnings", sa.Integer(), nullable=False),
        sa.Column("shows_ingredients", sa.Integer(), nullable=False),
        sa.Column("shows_batch", sa.Integer(), nullable=False),
        sa.Column("shows_keeping", sa.Integer(), nullable=False),
        sa.Column("shows_responsible", sa.Integer(), nullable=False),
        sa.Column("shows_origin", sa.Integer(), nullable=False),
        sa.Column("shows_price", sa.Integer(), nullable=False),
        sa.Column("shows_barcode", sa.Integer(), nullable=False),
        sa.Column("shows_qr", sa.Integer(), nullable=False),
        sa.Column("function_words", sa.Text(), nullable=False),
        sa.Column("directions", sa.Text(), nullable=False),
        sa.Column("cautions", sa.Text(), nullable=False),
        sa.Column("qr_text", sa.Text(), nullable=False),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_label_design_name_not_blank")),
        sa.ForeignKeyConstraint(
            ["product_id"], ["product.id"], name=op.f("fk_label_design_product_id_product"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["sheet_id"], ["label_sheet.id"], name=op.f("fk_label_design_sheet_id_label_sheet"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_label_design")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("label_design", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_label_design_product_id"), ["product_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_label_design_sheet_id"), ["sheet_id"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("label_design", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_label_design_sheet_id"))
        batch_op.drop_index(batch_op.f("ix_label_design_product_id"))

    op.drop_table("label_design")
    op.drop_table("label_sheet")
