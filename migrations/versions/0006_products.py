"""products with prices, packaging and market; exchange rates; the ingredient lists of a version as printed

Revision ID: 0006
Revises: 0005
"""

import json
from datetime import UTC, datetime
from decimal import Decimal

import sqlalchemy as sa
from alembic import op

from app.science.errors import Invalid
from app.science.numbers import parse_number, plain
from app.science.quantities import parse_quantity

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "exchange_rate",
        sa.Column("currency", sa.Text(), nullable=False),
        sa.Column("rate", sa.Text(), nullable=False),
        sa.Column("noted_on", sa.Text(), nullable=False),
        sa.CheckConstraint("CAST(rate AS REAL) > 0", name=op.f("ck_exchange_rate_rate_above_zero")),
        sa.CheckConstraint("length(currency) = 3", name=op.f("ck_exchange_rate_currency_iso_4217")),
        sa.PrimaryKeyConstraint("currency", name=op.f("pk_exchange_rate")),
        sqlite_strict=True,
    )
    op.create_table(
        "product",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("jurisdiction", sa.Text(), nullable=False),
        sa.Column("languages", sa.Text(), nullable=False),
        sa.Column("fill_amount", sa.Text(), nullable=True),
        sa.Column("fill_unit", sa.Text(), nullable=False),
        sa.Column("price", sa.Text(), nullable=True),
        sa.Column("currency", sa.Text(), nullable=False),
        sa.Column("tax_percent", sa.Text(), nullable=False),
        sa.Column("minimum", sa.Integer(), nullable=False),
        sa.Column("open_months", sa.Integer(), nullable=True),
        sa.Column("shelf_months", sa.Integer(), nullable=True),
        sa.Column("responsible_person", sa.Text(), nullable=False),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("barcode", sa.Text(), nullable=False),
        sa.Column("front_words", sa.Text(), nullable=False),
        sa.Column("claims", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("retired_at", sa.Text(), nullable=True),
        sa.Column("row_version", sa.Integer(), nullable=False),
        sa.CheckConstraint("jurisdiction IN ('EU', 'US')", name=op.f("ck_product_jurisdiction_known")),
        sa.CheckConstraint("CAST(fill_amount AS REAL) > 0", name=op.f("ck_product_fill_amount_above_zero")),
        sa.CheckConstraint(
            "CAST(price AS REAL) >= 0 AND CAST(price AS REAL) <= 1000000000.0", name=op.f("ck_product_price_in_range")
        ),
        sa.CheckConstraint(
            "CAST(tax_percent AS REAL) >= 0 AND CAST(tax_percent AS REAL) <= 100",
            name=op.f("ck_product_tax_percent_in_range"),
        ),
        sa.CheckConstraint("length(currency) = 3", name=op.f("ck_product_currency_iso_4217")),
        sa.CheckConstraint("length(trim(name)) > 0", name=op.f("ck_product_name_not_blank")),
        sa.CheckConstraint("minimum >= 1", name=op.f("ck_product_minimum_from_one")),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_product_formula_id_formula"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_product")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("product", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_product_formula_id"), ["formula_id"], unique=False)

    op.create_table(
        "product_packaging",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("packaging_id", sa.Integer(), nullable=False),
        sa.Column("per_unit", sa.Text(), nullable=False),
        sa.CheckConstraint("CAST(per_unit AS REAL) > 0", name=op.f("ck_product_packaging_per_unit_above_zero")),
        sa.ForeignKeyConstraint(
            ["packaging_id"],
            ["packaging.id"],
            name=op.f("fk_product_packaging_packaging_id_packaging"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["product_id"], ["product.id"], name=op.f("fk_product_packaging_product_id_product"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_product_packaging")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("product_packaging", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_product_packaging_packaging_id"), ["packaging_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_product_packaging_product_id"), ["product_id"], unique=False)
        batch_op.create_index("uq_product_packaging_place", ["product_id", "position"], unique=True)

    op.add_column("formula_version", sa.Column("declared", sa.Text(), nullable=True))
    _first_products()


def _first_products() -> None:
    """Make one product of each formula from what its draft holds of one: fill, packaging, price, words on the front."""
    bind = op.get_bind()
    shop = bind.execute(sa.text("SELECT * FROM workshop")).first()
    if shop is None:
        return
    known = {row.id for row in bind.execute(sa.text("SELECT id FROM packaging")).all()}
    asked = "SELECT f.id, f.name, f.retired_at, s.content FROM formula f JOIN draft_step s ON s.formula_id = f.id "
    for number, row in enumerate(
        bind.execute(sa.text(asked + "AND s.step = f.draft_step ORDER BY f.id")).all(), start=1
    ):
        typed = json.loads(row.content)
        amount, unit = _fill(typed.get("fill", ""))
        price = _number("".join(sign for sign in typed.get("price", "") if sign in "0123456789.,"))
        values = {
            "id": number,
            "formula_id": row.id,
            "name": row.name,
            "jurisdiction": shop.jurisdiction,
            "languages": "en",
            "fill_amount": amount,
            "fill_unit": unit,
            "price": price,
            "currency": shop.currency,
            "tax_percent": shop.tax_percent,
            "front_words": typed.get("claims", "").strip(),
            "created_at": datetime.now(UTC).isoformat(timespec="microseconds"),
            "retired_at": row.retired_at,
            "minimum": 1,
            "row_version": 1,
            **dict.fromkeys(("responsible_person", "origin", "barcode", "claims", "notes"), ""),
        }
        names = ", ".join(values)
        slots = ", ".join(f":{name}" for name in values)
        bind.execute(sa.text(f"INSERT INTO product ({names}) VALUES ({slots})"), values)
        used = [pack for pack in typed.get("packaging", ()) if pack.get("packaging_id") in known]
        for position, pack in enumerate(used):
            count = _number(pack.get("per_unit", "")) or "1"
            if Decimal(count) > 0:
                _add_packaging(number, position, pack["packaging_id"], count)
    if not _on_sqlite():
        bind.execute(sa.text("SELECT setval(pg_get_serial_sequence('product', 'id'), max(id)) FROM product"))


def _add_packaging(product: int, position: int, packaging: int, count: str) -> None:
    insert = sa.text(
        "INSERT INTO product_packaging (product_id, position, packaging_id, per_unit) "
        "VALUES (:product, :position, :packaging, :count)"
    )
    given = {"product": product, "position": position, "packaging": packaging, "count": count}
    op.get_bind().execute(insert, given)


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _fill(text: str) -> tuple[str | None, str]:
    try:
        quantity = parse_quantity(text)
    except Invalid:
        return None, ""
    return (plain(quantity.amount), quantity.unit.symbol) if quantity.amount else (None, "")


def _number(text: str) -> str | None:
    try:
        return plain(parse_number(text)) if text.strip() else None
    except Invalid:
        return None


def downgrade() -> None:
    op.drop_column("formula_version", "declared")

    with op.batch_alter_table("product_packaging", schema=None) as batch_op:
        batch_op.drop_index("uq_product_packaging_place")
        batch_op.drop_index(batch_op.f("ix_product_packaging_product_id"))
        batch_op.drop_index(batch_op.f("ix_product_packaging_packaging_id"))

    op.drop_table("product_packaging")
    with op.batch_alter_table("product", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_product_formula_id"))

    op.drop_table("product")
    op.drop_table("exchange_rate")
