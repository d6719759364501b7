"""one row for each weighing and each reading; states, bands and pinned solutions of a batch

Revision ID: 0008
Revises: 0007
"""

from collections import defaultdict
from decimal import Decimal

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

STATES = ("planned", "in process", "quarantine", "released", "rejected", "cancelled")
OLD_STATES = ("planned", "in process", "released", "rejected")
OLD_KINDS = ("pH", "appearance", "temperature", "weight", "other")
TYPED_OVER = "the sum was typed over by hand"


def _on_sqlite() -> bool:
    return op.get_bind().dialect.name == "sqlite"


def _rows(query: str) -> list[dict]:
    return [dict(row) for row in op.get_bind().execute(sa.text(query)).mappings()]


def _run(statement: str, **values: object) -> int | None:
    found = op.get_bind().execute(sa.text(statement), values)
    return found.scalar() if found.returns_rows else None


def _words(values: tuple[str, ...]) -> str:
    return ", ".join(f"'{value}'" for value in values)


def _refuse(name: str, table: str, when: str, message: str) -> None:
    """Refuse a change in the schema itself; ``when`` is INSERT, UPDATE or DELETE."""
    if _on_sqlite():
        op.execute(f"CREATE TRIGGER {name} BEFORE {when} ON {table} BEGIN SELECT RAISE(ABORT, '{message}'); END")
        return
    op.execute(
        f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION '{message}'; END $$"
    )
    op.execute(f"CREATE TRIGGER {name} BEFORE {when} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")


def _allow(name: str, table: str) -> None:
    op.execute(f"DROP TRIGGER {name}" + ("" if _on_sqlite() else f" ON {table}"))
    if not _on_sqlite():
        op.execute(f"DROP FUNCTION {name}()")


def _states(table_states: tuple[str, ...], decided: tuple[str, ...]) -> None:
    with op.batch_alter_table("batch", schema=None) as batch:
        batch.drop_constraint(op.f("ck_batch_state_known"), type_="check")
        batch.drop_constraint(op.f("ck_batch_decision_is_dated"), type_="check")
        batch.create_check_constraint(op.f("ck_batch_state_known"), f"state IN ({_words(table_states)})")
        batch.create_check_constraint(
            op.f("ck_batch_decision_is_dated"), f"(state IN ({_words(decided)})) = (decided_at IS NOT NULL)"
        )


def upgrade() -> None:
    _states(STATES, ("released", "rejected", "cancelled"))
    with op.batch_alter_table("ph_session", schema=None) as session:
        session.add_column(sa.Column("materials", sa.Text(), nullable=False, server_default=""))
        session.drop_constraint(op.f("ck_ph_session_water_percent_in_range"), type_="check")
        session.drop_column("water_percent")
    with op.batch_alter_table("ph_session", schema=None) as session:
        session.alter_column("materials", server_default=None)
    op.create_table(
        "batch_weighing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("grams", sa.Text(), nullable=True),
        sa.Column("lot_id", sa.Integer(), nullable=True),
        sa.Column("lot_text", sa.Text(), nullable=False),
        sa.Column("scale", sa.Text(), nullable=False),
        sa.Column("vessel", sa.Text(), nullable=False),
        sa.Column("tare_g", sa.Text(), nullable=True),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("checked_by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=True),
        sa.Column("place", sa.Integer(), nullable=True),
        sa.Column("drops", sa.Text(), nullable=True),
        sa.Column("advised_g", sa.Text(), nullable=True),
        sa.CheckConstraint("CAST(grams AS REAL) >= 0", name=op.f("ck_batch_weighing_grams_in_range")),
        sa.CheckConstraint("CAST(tare_g AS REAL) >= 0", name=op.f("ck_batch_weighing_tare_g_in_range")),
        sa.CheckConstraint(
            "replaces_id IS NULL OR length(trim(reason)) > 0", name=op.f("ck_batch_weighing_correction_has_reason")
        ),
        sa.CheckConstraint("(session_id IS NULL) = (place IS NULL)", name=op.f("ck_batch_weighing_place_in_session")),
        sa.ForeignKeyConstraint(
            ["line_id"], ["batch_line.id"], name=op.f("fk_batch_weighing_line_id_batch_line"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_batch_weighing_lot_id_lot"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(
            ["replaces_id"],
            ["batch_weighing.id"],
            name=op.f("fk_batch_weighing_replaces_id_batch_weighing"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["ph_session.id"], name=op.f("fk_batch_weighing_session_id_ph_session"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_batch_weighing")),
        sqlite_strict=True,
    )
    for column in ("line_id", "lot_id", "replaces_id", "session_id"):
        op.create_index(op.f(f"ix_batch_weighing_{column}"), "batch_weighing", [column])
    _move_weights()
    _move_readings()
    op.drop_table("ph_entry")
    with op.batch_alter_table("batch_line", schema=None) as line:
        line.drop_constraint(op.f("ck_batch_line_actual_g_in_range"), type_="check")
        for column in ("actual_g", "lot_code", "initials", "weighed_at"):
            line.drop_column(column)
        line.add_column(sa.Column("low_g", sa.Text(), nullable=True))
        line.add_column(sa.Column("high_g", sa.Text(), nullable=True))
        line.add_column(sa.Column("material", sa.Text(), nullable=False, server_default=""))
        line.create_check_constraint(op.f("ck_batch_line_low_g_in_range"), "CAST(low_g AS REAL) >= 0")
        line.create_check_constraint(op.f("ck_batch_line_high_g_in_range"), "CAST(high_g AS REAL) >= 0")
    with op.batch_alter_table("batch_line", schema=None) as line:
        line.alter_column("material", server_default=None)
    for when in ("UPDATE", "DELETE"):
        _refuse(f"batch_weighing_{when.lower()}", "batch_weighing", when, "batch_weighing is kept as it is")


def _additions_by_line() -> dict[int, list[dict]]:
    """Return the additions of pH sessions by the line they went into: the formula's last one of that material."""
    own = defaultdict(dict)
    for line in _rows("SELECT id, batch_id, material_id, added_at_bench FROM batch_line ORDER BY position"):
        of_batch = own[line["batch_id"]]
        if line["material_id"] not in of_batch or not line["added_at_bench"]:
            of_batch[line["material_id"]] = line
    additions = defaultdict(list)
    for entry in _rows(
        "SELECT e.*, s.batch_id FROM ph_entry e JOIN ph_session s ON s.id = e.session_id"
        " WHERE e.kind = 'addition' ORDER BY e.id"
    ):
        line = own[entry["batch_id"]].get(entry["material_id"])
        if line is not None:
            additions[line["id"]].append(entry)
    return additions


def _move_weights() -> None:
    """Write a weighing for each addition of a pH session and one for what else went into a line."""
    additions = _additions_by_line()
    for line in _rows(
        "SELECT l.*, b.created_at FROM batch_line l JOIN batch b ON b.id = l.batch_id ORDER BY l.batch_id, l.position"
    ):
        _move_line(line, additions[line["id"]])


def _move_line(line: dict, added: list[dict]) -> None:
    common = {"line": line["id"], "lot": line["lot_code"], "scale": line["scale"]}
    actual = None if line["actual_g"] is None else Decimal(line["actual_g"])
    at = line["weighed_at"] or line["created_at"]
    rest = actual if actual is None else actual - sum((Decimal(entry["grams"]) for entry in added), Decimal(0))
    if rest is not None and rest < 0:
        for entry in added:
            key = _weighing(common, entry["grams"], entry["by"], entry["at"], entry)
            _weighing(common, None, line["initials"], at, entry, replaces=key)
        rest, added = actual, []
    noted = bool(line["lot_code"] or line["initials"])
    if (rest is None and noted) or (rest is not None and (rest > 0 or not added)):
        _weighing(common, None if rest is None else f"{rest.normalize():f}", line["initials"], at, None)
    for entry in added:
        _weighing(common, entry["grams"], entry["by"], entry["at"], entry)


def _weighing(common, grams, by, at, entry, replaces=None):
    place = entry and {k: entry[k] for k in ("session_id", "position", "drops", "advised_g")}
    place = place or dict.fromkeys(("session_id", "position", "drops", "advised_g"))
    return _run(
        'INSERT INTO batch_weighing (line_id, grams, lot_text, scale, vessel, tare_g, "by", checked_by, at,'
        " replaces_id, reason, session_id, place, drops, advised_g) VALUES (:line, :grams, :lot, :scale, '', NULL,"
        " :by, '', :at, :replaces, :reason, :session_id, :position, :drops, :advised_g) RETURNING id",
        **common,
        **place,
        grams=grams,
        by=by,
        at=at,
        replaces=replaces,
        reason=TYPED_OVER if replaces else "",
    )


def _move_readings() -> None:
    """Join each reading of a pH session with the copy of it that stood in the batch."""
    _allow("batch_reading_kept", "batch_reading")
    with op.batch_alter_table("batch_reading", schema=None) as reading:
        reading.drop_constraint(op.f("ck_batch_reading_kind_known"), type_="check")
        reading.add_column(sa.Column("uncertainty", sa.Text(), nullable=True))
        reading.add_column(sa.Column("session_id", sa.Integer(), nullable=True))
        reading.add_column(sa.Column("place", sa.Integer(), nullable=True))
        reading.create_check_constraint(op.f("ck_batch_reading_kind_not_blank"), "length(trim(kind)) > 0")
        reading.create_check_constraint(
            op.f("ck_batch_reading_uncertainty_in_range"),
            "CAST(uncertainty AS REAL) >= 0 AND CAST(uncertainty AS REAL) <= 3",
        )
        reading.create_check_constraint(
            op.f("ck_batch_reading_place_in_session"), "(session_id IS NULL) = (place IS NULL)"
        )
        reading.create_foreign_key(
            op.f("fk_batch_reading_session_id_ph_session"), "ph_session", ["session_id"], ["id"], ondelete="CASCADE"
        )
        reading.create_index(op.f("ix_batch_reading_session_id"), ["session_id"])
    copies = defaultdict(list)
    for row in _rows("SELECT id, batch_id, taken_at, value FROM batch_reading WHERE kind = 'pH' ORDER BY id"):
        copies[row["batch_id"], row["taken_at"], row["value"]].append(row["id"])
    for entry in _rows(
        "SELECT e.*, s.batch_id FROM ph_entry e JOIN ph_session s ON s.id = e.session_id"
        " WHERE e.kind = 'reading' ORDER BY e.id"
    ):
        values = {key: entry[key] for key in ("session_id", "position", "uncertainty")}
        found = copies[entry["batch_id"], entry["at"], entry["ph"]]
        if found:
            _run(
                "UPDATE batch_reading SET session_id = :session_id, place = :position, uncertainty = :uncertainty"
                " WHERE id = :id",
                id=found.pop(0),
                **values,
            )
        else:
            _run(
                "INSERT INTO batch_reading (batch_id, kind, value, words, temperature_c, uncertainty, taken_at,"
                " taken_by, session_id, place) VALUES (:batch, 'pH', :ph, :words, :warmth, :uncertainty, :at, :by,"
                " :session_id, :position)",
                batch=entry["batch_id"],
                ph=entry["ph"],
                words=f"{entry['ph']} ± {entry['uncertainty'] or 0}",
                warmth=entry["temperature_c"],
                at=entry["at"],
                by=entry["by"],
                **values,
            )
    _refuse("batch_reading_kept", "batch_reading", "UPDATE", "batch_reading is kept as it is")


def downgrade() -> None:
    for when in ("UPDATE", "DELETE"):
        _allow(f"batch_weighing_{when.lower()}", "batch_weighing")
    op.create_table(
        "ph_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("session_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("material_id", sa.Integer(), nullable=True),
        sa.Column("grams", sa.Text(), nullable=True),
        sa.Column("drops", sa.Text(), nullable=True),
        sa.Column("ph", sa.Text(), nullable=True),
        sa.Column("uncertainty", sa.Text(), nullable=True),
        sa.Column("temperature_c", sa.Text(), nullable=True),
        sa.Column("advised_g", sa.Text(), nullable=True),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "(kind = 'addition' AND grams IS NOT NULL AND material_id IS NOT NULL AND ph IS NULL) OR (kind = 'reading' AND ph IS NOT NULL AND grams IS NULL)",
            name=op.f("ck_ph_entry_addition_or_reading"),
        ),
        sa.CheckConstraint("kind IN ('addition', 'reading')", name=op.f("ck_ph_entry_kind_known")),
        sa.CheckConstraint("CAST(grams AS REAL) >= 0", name=op.f("ck_ph_entry_grams_in_range")),
        sa.CheckConstraint("CAST(ph AS REAL) >= -1 AND CAST(ph AS REAL) <= 15", name=op.f("ck_ph_entry_ph_in_range")),
        sa.CheckConstraint(
            "CAST(uncertainty AS REAL) >= 0 AND CAST(uncertainty AS REAL) <= 3",
            name=op.f("ck_ph_entry_uncertainty_in_range"),
        ),
        sa.ForeignKeyConstraint(
            ["material_id"], ["material.id"], name=op.f("fk_ph_entry_material_id_material"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["session_id"], ["ph_session.id"], name=op.f("fk_ph_entry_session_id_ph_session"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ph_entry")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_ph_entry_material_id"), "ph_entry", ["material_id"])
    op.create_index(op.f("ix_ph_entry_session_id"), "ph_entry", ["session_id"])
    op.create_index("uq_ph_entry_place", "ph_entry", ["session_id", "position"], unique=True)
    standing = "NOT EXISTS (SELECT 1 FROM batch_weighing r WHERE r.replaces_id = w.id)"
    _run(
        'INSERT INTO ph_entry (session_id, position, kind, material_id, grams, drops, advised_g, at, "by")'
        " SELECT w.session_id, w.place, 'addition', l.material_id, w.grams, w.drops, w.advised_g, w.at, w.\"by\""
        f" FROM batch_weighing w JOIN batch_line l ON l.id = w.line_id WHERE w.session_id IS NOT NULL"
        f" AND w.grams IS NOT NULL AND {standing}"
    )
    _run(
        'INSERT INTO ph_entry (session_id, position, kind, ph, uncertainty, temperature_c, at, "by")'
        " SELECT session_id, place, 'reading', value, uncertainty, temperature_c, taken_at, taken_by"
        " FROM batch_reading WHERE session_id IS NOT NULL"
    )
    with op.batch_alter_table("batch_line", schema=None) as line:
        for column in ("low_g", "high_g"):
            line.drop_constraint(op.f(f"ck_batch_line_{column}_in_range"), type_="check")
            line.drop_column(column)
        line.drop_column("material")
        line.add_column(sa.Column("actual_g", sa.Text(), nullable=True))
        line.add_column(sa.Column("lot_code", sa.Text(), nullable=False, server_default=""))
        line.add_column(sa.Column("initials", sa.Text(), nullable=False, server_default=""))
        line.add_column(sa.Column("weighed_at", sa.Text(), nullable=True))
        line.create_check_constraint(op.f("ck_batch_line_actual_g_in_range"), "CAST(actual_g AS REAL) >= 0")
    with op.batch_alter_table("batch_line", schema=None) as line:
        line.alter_column("lot_code", server_default=None)
        line.alter_column("initials", server_default=None)
    held = defaultdict(list)
    for row in _rows(f"SELECT w.* FROM batch_weighing w WHERE {standing} ORDER BY w.id"):
        held[row["line_id"]].append(row)
    for line_id, rows in held.items():
        weights = [Decimal(row["grams"]) for row in rows if row["grams"] is not None]
        _run(
            "UPDATE batch_line SET actual_g = :grams, lot_code = :lots, initials = :by, weighed_at = :at WHERE id = :id",
            id=line_id,
            grams=f"{sum(weights, Decimal(0)).normalize():f}" if weights else None,
            lots=", ".join(dict.fromkeys(row["lot_text"] for row in rows if row["lot_text"])),
            by=", ".join(dict.fromkeys(row["by"] for row in rows if row["by"])),
            at=rows[-1]["at"] if weights else None,
        )
    for column in ("line_id", "lot_id", "replaces_id", "session_id"):
        op.drop_index(op.f(f"ix_batch_weighing_{column}"), "batch_weighing")
    op.drop_table("batch_weighing")
    _allow("batch_reading_kept", "batch_reading")
    _run(f"UPDATE batch_reading SET kind = 'other' WHERE kind NOT IN ({_words(OLD_KINDS)})")
    with op.batch_alter_table("batch_reading", schema=None) as reading:
        reading.drop_index(op.f("ix_batch_reading_session_id"))
        reading.drop_constraint(op.f("fk_batch_reading_session_id_ph_session"), type_="foreignkey")
        for name in ("kind_not_blank", "uncertainty_in_range", "place_in_session"):
            reading.drop_constraint(op.f(f"ck_batch_reading_{name}"), type_="check")
        for column in ("uncertainty", "session_id", "place"):
            reading.drop_column(column)
        reading.create_check_constraint(op.f("ck_batch_reading_kind_known"), f"kind IN ({_words(OLD_KINDS)})")
    _refuse("batch_reading_kept", "batch_reading", "UPDATE", "batch_reading is kept as it is")
    with op.batch_alter_table("ph_session", schema=None) as session:
        session.drop_column("materials")
        session.add_column(sa.Column("water_percent", sa.Text(), nullable=True))
        session.create_check_constraint(
            op.f("ck_ph_session_water_percent_in_range"),
            "CAST(water_percent AS REAL) >= 0 AND CAST(water_percent AS REAL) <= 100",
        )
    _run("UPDATE batch SET state = 'in process' WHERE state = 'quarantine'")
    _run("UPDATE batch SET state = 'rejected' WHERE state = 'cancelled'")
    _states(OLD_STATES, ("released", "rejected"))
