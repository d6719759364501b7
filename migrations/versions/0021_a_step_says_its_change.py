"""a step of a draft names what it changed by the word its pages use

Revision ID: 0021
Revises: 0020
"""

from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Call the column what it holds."""
    op.execute("ALTER TABLE draft_step RENAME COLUMN deed TO change")


def downgrade() -> None:
    """Give the column its former name."""
    op.execute("ALTER TABLE draft_step RENAME COLUMN change TO deed")
