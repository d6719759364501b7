"""what wants attention is read off indexes: when a sample is next looked at, what is kept in stock, old documents

Revision ID: 0024
Revises: 0023
"""

import calendar
from datetime import date

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"
branch_labels = None
depends_on = None

KEPT, GONE = sa.text("discarded_on IS NULL"), sa.text("discarded_on IS NOT NULL")
COUNTED = sa.text("reorder_g IS NOT NULL")


def upgrade() -> None:
    """Add the day of the next look, worked out for what is kept, and the indexes."""
    op.add_column("retained_sample", sa.Column("look_on", sa.Text(), nullable=True))
    _next_looks()
    op.drop_index("ix_retained_sample_keep_until", "retained_sample")
    kept = {"sqlite_where": KEPT, "postgresql_where": KEPT}
    op.create_index("ix_retained_sample_kept", "retained_sample", ["keep_until"], **kept)
    op.create_index("ix_retained_sample_look", "retained_sample", ["look_on", "keep_until"], **kept)
    gone = {"sqlite_where": GONE, "postgresql_where": GONE}
    op.create_index("ix_retained_sample_gone", "retained_sample", ["discarded_on"], **gone)
    op.create_index("ix_packing_run_of_batch", "packing_run", ["batch_id", "product_id", "best_before"])
    counted = {"sqlite_where": COUNTED, "postgresql_where": COUNTED}
    op.create_index("ix_material_reorder", "material", ["id"], **counted)
    op.create_index("ix_material_part_inci", "material_part", ["inci", "kind"])
    op.create_index("ix_document_valid_until", "document", ["valid_until"])


def _next_looks() -> None:
    connection = op.get_bind()
    last = "(SELECT max(looked_on) FROM sample_look WHERE sample_look.sample_id = retained_sample.id)"
    used = "(SELECT sum(units_used) FROM sample_look WHERE sample_look.sample_id = retained_sample.id)"
    asked = sa.text(
        f"SELECT id, coalesce({last}, kept_on), look_months FROM retained_sample"
        f" WHERE discarded_on IS NULL AND look_months IS NOT NULL AND units > coalesce({used}, 0)"
    )
    for sample_id, since, months in connection.execute(asked).all():
        day = date.fromisoformat(since)
        year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
        look_on = date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
        connection.execute(
            sa.text("UPDATE retained_sample SET look_on = :look_on WHERE id = :id"),
            {"look_on": look_on.isoformat(), "id": sample_id},
        )


def downgrade() -> None:
    """Take the column and the indexes away."""
    op.drop_index("ix_document_valid_until", "document")
    op.drop_index("ix_material_part_inci", "material_part")
    op.drop_index("ix_material_reorder", "material")
    op.drop_index("ix_packing_run_of_batch", "packing_run")
    for name in ("gone", "look", "kept"):
        op.drop_index(f"ix_retained_sample_{name}", "retained_sample")
    op.create_index("ix_retained_sample_keep_until", "retained_sample", ["keep_until"])
    op.drop_column("retained_sample", "look_on")
