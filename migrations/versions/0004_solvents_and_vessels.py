"""what a material dissolves in, and the weight of the vessel that usually stands on a scale

Revision ID: 0004
Revises: 0003
"""

from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.execute(
        "ALTER TABLE material ADD COLUMN dissolves_in TEXT DEFAULT 'unknown' NOT NULL "
        "CONSTRAINT ck_material_dissolves_in_known "
        "CHECK (dissolves_in IN ('water', 'oil', 'alcohol', 'none', 'unknown'))"
    )
    op.execute(
        "ALTER TABLE scale ADD COLUMN vessel_g TEXT "
        "CONSTRAINT ck_scale_vessel_g_in_range CHECK (CAST(vessel_g AS REAL) >= 0)"
    )


def downgrade() -> None:
    op.execute("ALTER TABLE scale DROP COLUMN vessel_g")
    op.execute("ALTER TABLE material DROP COLUMN dissolves_in")
