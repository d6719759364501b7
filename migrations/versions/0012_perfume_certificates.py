"""Limits of a perfume certificate by category, entered by the maker

Revision ID: 0012
Revises: 0011
"""

from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.execute("ALTER TABLE material ADD COLUMN certificate TEXT DEFAULT '' NOT NULL")


def downgrade() -> None:
    op.execute("ALTER TABLE material DROP COLUMN certificate")
