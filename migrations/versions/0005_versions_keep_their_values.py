"""a version keeps the formula as a value; a batch line keeps the step of its scale and its advice

Revision ID: 0005
Revises: 0004

What was kept is moved, nothing is worked out anew: percentages are those of the lines, materials those that were
pinned. What was not kept (process loss where none was typed, scales, prices, rates) is taken from the workshop on the
day of the migration, and ``filled_at`` says so.
"""

import json
from datetime import UTC, datetime
from decimal import Decimal

import sqlalchemy as sa
from alembic import op
from babel.numbers import get_currency_precision

from app.science.batch_size import read_batch_size
from app.science.errors import Invalid
from app.science.numbers import parse_number, plain

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

DECADES = tuple(Decimal(1).scaleb(-places) for places in range(7))
COMMON = "id, formula_id, number, name, exposure, note, kept_at, kept_by, content"


def upgrade() -> None:
    _batch_lines()
    values = {row.id: _value(row) for row in op.get_bind().execute(sa.text("SELECT * FROM formula_version")).all()}
    if _on_sqlite():
        _rebuild([sa.Column("value", sa.Text(), nullable=False), sa.Column("filled_at", sa.Text())], "value", values)
        return
    op.add_column("formula_version", sa.Column("value", sa.Text(), nullable=False, server_default="{}"))
    op.add_column("formula_version", sa.Column("filled_at", sa.Text()))
    _fill("value", values)
    op.alter_column("formula_version", "value", server_default=None)
    op.drop_column("formula_version", "materials")
    op.create_check_constraint(op.f("ck_formula_version_value_not_blank"), "formula_version", "length(trim(value)) > 0")


def downgrade() -> None:
    rows = op.get_bind().execute(sa.text("SELECT id, value FROM formula_version")).all()
    values = {row.id: _pinned(json.loads(row.value)) for row in rows}
    if _on_sqlite():
        _rebuild([sa.Column("materials", sa.Text(), nullable=False)], "materials", values)
    else:
        op.add_column("formula_version", sa.Column("materials", sa.Text(), nullable=False, server_default="[]"))
        _fill("materials", values)
        op.alter_column("formula_version", "materials", server_default=None)
        op.drop_column("formula_version", "value")
        op.drop_column("formula_version", "filled_at")
        op.create_check_constraint(
            op.f("ck_formula_version_materials_not_blank"), "formula_version", "length(trim(materials)) > 0"
        )
    for column in ("line_key", "step_g", "advice"):
        op.drop_column("batch_line", column)


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _batch_lines() -> None:
    for column, default in (("line_key", ""), ("step_g", "0.01"), ("advice", "")):
        op.add_column("batch_line", sa.Column(column, sa.Text(), nullable=False, server_default=default))
    bind = op.get_bind()
    steps = {row.name: Decimal(row.readability_g) for row in bind.execute(sa.text("SELECT * FROM scale")).all()}
    asked = "SELECT l.id, l.scale, l.shown_g, v.line_key FROM batch_line l JOIN batch b ON b.id = l.batch_id "
    asked += "LEFT JOIN version_line v ON v.version_id = b.version_id AND v.position = l.position - 1 "
    for row in bind.execute(sa.text(asked + "WHERE l.added_at_bench = 0")).all():
        step = _step(Decimal(row.shown_g), steps.get(row.scale))
        change = sa.text("UPDATE batch_line SET step_g = :step, line_key = :key WHERE id = :id")
        bind.execute(change, {"step": plain(step), "key": row.line_key or "", "id": row.id})


def _step(shown_g: Decimal, step_g: Decimal | None) -> Decimal:
    """Give the step a weight was planned with: the scale's own, else the coarsest decade that shows it."""
    if step_g is not None and not shown_g % step_g:
        return step_g
    return next((step for step in DECADES if not shown_g % step), DECADES[-1])


def _rebuild(columns: list[sa.Column], filled: str, values: dict[int, str]) -> None:
    """Make the table anew with other columns; its indexes and triggers come along as they were."""
    bind = op.get_bind()
    kept = "SELECT sql FROM sqlite_master WHERE tbl_name = 'formula_version' AND type IN ('index', 'trigger')"
    extras = [row.sql for row in bind.execute(sa.text(kept + " AND sql IS NOT NULL")).all()]
    op.create_table(
        "formula_version_new",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("formula_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in COMMON.split(", ")[3:]),
        *columns,
        sa.CheckConstraint("exposure IN ('leave-on', 'rinse-off')", name=op.f("ck_formula_version_exposure_known")),
        sa.CheckConstraint("length(trim(content)) > 0", name=op.f("ck_formula_version_content_not_blank")),
        sa.CheckConstraint(f"length(trim({filled})) > 0", name=op.f(f"ck_formula_version_{filled}_not_blank")),
        sa.CheckConstraint("number >= 1", name=op.f("ck_formula_version_number_from_one")),
        sa.ForeignKeyConstraint(
            ["formula_id"], ["formula.id"], name=op.f("fk_formula_version_formula_id_formula"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_formula_version")),
        sqlite_strict=True,
    )
    bind.execute(
        sa.text(f"INSERT INTO formula_version_new ({COMMON}, {filled}) SELECT {COMMON}, '-' FROM formula_version")
    )
    op.drop_table("formula_version")
    op.rename_table("formula_version_new", "formula_version")
    _fill(filled, values)
    for sql in extras:
        bind.execute(sa.text(sql))


def _fill(column: str, values: dict[int, str]) -> None:
    bind = op.get_bind()
    held = not _on_sqlite() and bool(values)
    if held:
        op.execute("ALTER TABLE formula_version DISABLE TRIGGER formula_version_kept")
    moment = datetime.now(UTC).isoformat(timespec="microseconds")
    for version_id, value in values.items():
        change = f"UPDATE formula_version SET {column} = :value"
        change += ", filled_at = :moment" if column == "value" else ""
        bind.execute(sa.text(f"{change} WHERE id = :id"), {"value": value, "moment": moment, "id": version_id})
    if held:
        op.execute("ALTER TABLE formula_version ENABLE TRIGGER formula_version_kept")


def _value(version: sa.Row) -> str:
    """Make the value of a version from what was kept with it, in the first schema of formulas."""
    bind = op.get_bind()
    typed = json.loads(version.content)
    pinned = {row["id"]: row for row in json.loads(version.materials)}
    asked = sa.text("SELECT * FROM version_line WHERE version_id = :id ORDER BY position")
    lines = bind.execute(asked, {"id": version.id}).all()
    notes = {line["id"]: line.get("note", "") for line in typed.get("lines", ())}
    shop = bind.execute(sa.text("SELECT * FROM workshop")).one()
    prices = _prices()
    loss = _number(typed.get("loss_percent", ""))
    density = _number(typed.get("density", ""))
    phases = []
    for place, phase in enumerate(typed.get("phases", ())):
        letter = _letter(place)
        own = [line for line in lines if line.phase == letter]
        phases.append(
            {
                "letter": letter,
                "name": phase.get("name", ""),
                "temperature_c": own[0].temperature_c if own else None,
                "method": [step.strip() for step in phase.get("method", "").splitlines() if step.strip()],
                "lines": [_line(line, pinned, prices, notes) for line in own],
            }
        )
    if sum(len(phase["lines"]) for phase in phases) != len(lines):
        raise RuntimeError(f"version {version.id} has a line whose phase is not known")
    return json.dumps(
        {
            "schema": 1,
            "name": version.name,
            "phases": phases,
            "code": typed.get("code", ""),
            "product_type": typed.get("product_type", ""),
            "exposure": version.exposure,
            "special_uses": typed.get("special_uses", []),
            "claims": typed.get("claims", ""),
            "notes": typed.get("notes", ""),
            "size": _size(typed, density),
            "density_g_ml": density,
            "loss_percent": shop.loss_percent if loss is None else loss,
            "scales": _scales(),
            "target_ph": _number(typed.get("target_ph", "")),
            "packaging": _packaging(typed),
            "labour_minutes": _number(typed.get("labour_minutes", "")) or "0",
            "price": _number("".join(sign for sign in typed.get("price", "") if sign in "0123456789.,")),
            "rates": {
                "currency": shop.currency,
                "digits": get_currency_precision(shop.currency),
                "labour_rate": shop.labour_rate,
                "overhead_percent": shop.overhead_percent,
                "tax_percent": shop.tax_percent,
            },
        },
        ensure_ascii=False,
        separators=(",", ":"),
    )


def _letter(place: int) -> str:
    turn, letter = divmod(place, 26)
    return chr(ord("A") + letter) + (str(turn) if turn else "")


def _line(line: sa.Row, pinned: dict, prices: dict, notes: dict) -> dict:
    material = {key: value for key, value in pinned[line.material_id].items() if key not in ("price_per_kg", "retired")}
    material["prices"] = prices.get(line.material_id, [])
    return {
        "key": line.line_key,
        "material": material,
        "percent": line.percent,
        "is_remainder": bool(line.qs),
        "note": notes.get(line.line_key, ""),
    }


def _prices() -> dict[int, list[dict]]:
    found: dict[int, list[dict]] = {}
    for row in op.get_bind().execute(sa.text("SELECT * FROM price ORDER BY priced_on DESC, id DESC")).all():
        price = {"amount": row.amount, "quantity_g": row.quantity_g, "is_offer": row.kind == "offered"}
        found.setdefault(row.material_id, []).append({**price, "day": row.priced_on})
    return found


def _scales() -> list[dict]:
    rows = op.get_bind().execute(sa.text("SELECT * FROM scale ORDER BY id")).all()
    found = [
        {"readability_g": r.readability_g, "capacity_g": r.capacity_g, "name": r.name, "vessel_g": r.vessel_g or "0"}
        for r in rows
    ]
    return found or [{"readability_g": "0.01", "capacity_g": None, "name": ""}]


def _packaging(typed: dict) -> list[dict]:
    known = {row.id: row for row in op.get_bind().execute(sa.text("SELECT * FROM packaging")).all()}
    found = []
    for pack in typed.get("packaging", ()):
        item = known.get(pack.get("packaging_id"))
        if item is not None:
            row = {"id": item.id, "name": item.name, "per_unit": _number(pack.get("per_unit", "")) or "1"}
            found.append({**row, "units_per_pack": item.units_per_pack, "price": item.price})
    return found


def _size(typed: dict, density: str | None) -> dict | None:
    try:
        size = read_batch_size(
            typed.get("batch", ""), typed.get("fill", ""), None if density is None else Decimal(density)
        )
    except Invalid:
        return None
    return {
        "net_g": plain(size.net_g),
        "fill_g": None if size.fill_g is None else plain(size.fill_g),
        "units": size.units,
        "amount": None if size.amount is None else plain(size.amount),
        "unit": size.unit,
        "fill_amount": None if size.fill_amount is None else plain(size.fill_amount),
        "fill_unit": size.fill_unit,
    }


def _number(text: str) -> str | None:
    try:
        return plain(parse_number(text)) if text.strip() else None
    except Invalid:
        return None


def _pinned(value: dict) -> str:
    """Give the materials of a version as they were pinned before."""
    materials = {line["material"]["id"]: line["material"] for phase in value["phases"] for line in phase["lines"]}
    dropped = ("prices", "form", "solvency")
    rows = [
        {**{key: item for key, item in row.items() if key not in dropped}, "price_per_kg": None, "retired": False}
        for _, row in sorted(materials.items())
    ]
    return json.dumps(rows, ensure_ascii=False, separators=(",", ":"))
