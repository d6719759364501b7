"""files of formulas that were taken, so that they can be taken back as a whole

Revision ID: 0011
Revises: 0010
"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "formula_import",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sa.Text(), nullable=False),
        sa.Column("taken_by", sa.Text(), nullable=False),
        sa.Column("file_name", sa.Text(), nullable=False),
        sa.Column("summary", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("undone_at", sa.Text(), nullable=True),
        sa.CheckConstraint("length(trim(content)) > 0", name=op.f("ck_formula_import_content_not_blank")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_formula_import")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    op.drop_table("formula_import")
