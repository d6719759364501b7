"""prices of packaging beside those of materials, each with its currency; exchange rates day by day

Revision ID: 0018
Revises: 0017
"""

from datetime import date
from decimal import Decimal

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None

NOTE = "noted before prices of packaging had a date"


def _rows(query: str) -> list[dict]:
    return [dict(row) for row in op.get_bind().execute(sa.text(query)).mappings()]


def _run(statement: str, **values: object) -> None:
    op.get_bind().execute(sa.text(statement), values)


def upgrade() -> None:
    with op.batch_alter_table("price", schema=None, recreate="auto") as price:
        price.alter_column("material_id", existing_type=sa.Integer(), nullable=True)
        price.add_column(sa.Column("packaging_id", sa.Integer(), nullable=True))
        price.add_column(sa.Column("currency", sa.Text(), nullable=False, server_default=""))
        price.create_foreign_key(
            op.f("fk_price_packaging_id_packaging"), "packaging", ["packaging_id"], ["id"], ondelete="CASCADE"
        )
        price.create_check_constraint(op.f("ck_price_of_one_thing"), "(material_id IS NULL) <> (packaging_id IS NULL)")
    with op.batch_alter_table("price", schema=None) as price:
        price.alter_column("currency", server_default=None)
    op.create_index(op.f("ix_price_packaging_id"), "price", ["packaging_id"])
    _run("UPDATE price SET currency = coalesce((SELECT currency FROM workshop), '')")
    for row in _rows("SELECT id, price, units_per_pack, supplier FROM packaging WHERE price IS NOT NULL ORDER BY id"):
        _run(
            "INSERT INTO price (packaging_id, kind, amount, currency, quantity_text, quantity_g, priced_on, supplier,"
            " note) VALUES (:id, 'paid', :price, coalesce((SELECT currency FROM workshop), ''), :words,"
            " :units_per_pack, :day, :supplier, :note)",
            **row,
            words=f"{row['units_per_pack']} pieces",
            day=date.today().isoformat(),
            note=NOTE,
        )
    with op.batch_alter_table("packaging", schema=None) as packaging:
        packaging.drop_constraint(op.f("ck_packaging_price_in_range"), type_="check")
        packaging.drop_column("price")
    with op.batch_alter_table("exchange_rate", schema=None) as rate:
        rate.drop_constraint(op.f("pk_exchange_rate"), type_="primary")
        rate.create_primary_key(op.f("pk_exchange_rate"), ["currency", "noted_on"])
    op.execute(
        "ALTER TABLE product ADD COLUMN reorder INTEGER "
        "CONSTRAINT ck_product_reorder_not_negative CHECK (reorder IS NULL OR reorder >= 0)"
    )
    # What a material costs was always the best of its prices for the amount; other choices are new.
    _run("UPDATE workshop SET cost_by = 'best offer'")


def downgrade() -> None:
    op.execute("ALTER TABLE product DROP COLUMN reorder")
    _run(
        "DELETE FROM exchange_rate WHERE EXISTS (SELECT 1 FROM exchange_rate AS later"
        " WHERE later.currency = exchange_rate.currency AND later.noted_on > exchange_rate.noted_on)"
    )
    with op.batch_alter_table("exchange_rate", schema=None) as rate:
        rate.drop_constraint(op.f("pk_exchange_rate"), type_="primary")
        rate.create_primary_key(op.f("pk_exchange_rate"), ["currency"])
    keep = _rows("SELECT id, reorder FROM packaging WHERE reorder IS NOT NULL")
    with op.batch_alter_table("packaging", schema=None) as packaging:
        packaging.drop_constraint(op.f("ck_packaging_reorder_in_range"), type_="check")
        packaging.drop_column("reorder")
        packaging.add_column(sa.Column("price", sa.Text(), nullable=True))
        packaging.create_check_constraint(
            op.f("ck_packaging_price_in_range"), "CAST(price AS REAL) >= 0 AND CAST(price AS REAL) <= 1000000000000.0"
        )
    # Rebuilding moved the check of this column to the table, from where an earlier way down could not drop it.
    op.execute(
        "ALTER TABLE packaging ADD COLUMN reorder TEXT "
        "CONSTRAINT ck_packaging_reorder_in_range CHECK (CAST(reorder AS REAL) >= 0)"
    )
    for row in keep:
        _run("UPDATE packaging SET reorder = :reorder WHERE id = :id", **row)
    # The oldest first, so that the newest price of each stays.
    for row in _rows(
        "SELECT p.packaging_id AS id, p.amount, p.quantity_g, k.units_per_pack FROM price p"
        " JOIN packaging k ON k.id = p.packaging_id ORDER BY p.priced_on, p.id"
    ):
        pack = Decimal(row["amount"]) * Decimal(row["units_per_pack"]) / Decimal(row["quantity_g"])
        _run(
            "UPDATE packaging SET price = :price WHERE id = :id", id=row["id"], price=f"{round(pack, 4).normalize():f}"
        )
    _run("DELETE FROM price WHERE packaging_id IS NOT NULL")
    op.drop_index(op.f("ix_price_packaging_id"), "price")
    with op.batch_alter_table("price", schema=None) as price:
        price.drop_constraint(op.f("ck_price_of_one_thing"), type_="check")
        price.drop_constraint(op.f("fk_price_packaging_id_packaging"), type_="foreignkey")
        price.drop_column("packaging_id")
        price.drop_column("currency")
        price.alter_column("material_id", existing_type=sa.Integer(), nullable=False)
