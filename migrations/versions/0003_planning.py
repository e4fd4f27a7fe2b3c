"""Planning: what a joint lets in, joint templates, reservations of a class, and plans."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")
INSTANT = sa.Text().with_variant(postgresql.TIMESTAMP(timezone=True), "postgresql")

# Columns come by ALTER TABLE, never by a rebuilt table: nothing on record is copied or dropped.
COLUMNS = (
    ("item", "fit", "TEXT"),
    ("item", "strength", "NUMBER"),
    ("job", "crews", "BIG"),
    (
        "joint",
        "duration_minutes",
        "BIG CONSTRAINT ck_joint_duration_minutes_positive CHECK (duration_minutes > 0)",
    ),
    (
        "joint",
        "wrenches_at_once",
        "BIG CONSTRAINT ck_joint_wrenches_at_once_positive CHECK (wrenches_at_once >= 1)",
    ),
    ("joint", "head", "TEXT"),
    ("joint", "drive_written", "TEXT"),
    ("joint", "drive_mm", "NUMBER CONSTRAINT ck_joint_drive_positive CHECK (drive_mm > 0)"),
    ("joint", "widest_written", "TEXT"),
    ("joint", "widest_mm", "NUMBER CONSTRAINT ck_joint_widest_positive CHECK (widest_mm > 0)"),
    ("joint", "highest_written", "TEXT"),
    ("joint", "highest_mm", "NUMBER CONSTRAINT ck_joint_highest_positive CHECK (highest_mm > 0)"),
    ("joint", "heaviest_written", "TEXT"),
    ("joint", "heaviest_kg", "NUMBER CONSTRAINT ck_joint_heaviest_positive CHECK (heaviest_kg > 0)"),
    ("model", "width_written", "TEXT"),
    ("model", "width_mm", "NUMBER CONSTRAINT ck_model_width_positive CHECK (width_mm > 0)"),
    ("model", "height_written", "TEXT"),
    ("model", "height_mm", "NUMBER CONSTRAINT ck_model_height_positive CHECK (height_mm > 0)"),
    ("model", "weight_written", "TEXT"),
    ("model", "weight_kg", "NUMBER CONSTRAINT ck_model_weight_positive CHECK (weight_kg > 0)"),
    ("model", "arm_written", "TEXT"),
    ("model", "arm_mm", "NUMBER CONSTRAINT ck_model_arm_positive CHECK (arm_mm > 0)"),
    ("reservation", "any_of", "TEXT"),
    ("reservation", "expires_at", "INSTANT"),
    ("reservation", "replaces_id", "BIG CONSTRAINT fk_reservation_replaces_id REFERENCES reservation (id)"),
    ("reservation", "plan_id", "BIG CONSTRAINT fk_reservation_plan_id REFERENCES plan (id)"),
)
TYPES = {
    "sqlite": {"BIG": "INTEGER", "NUMBER": "REAL", "INSTANT": "TEXT"},
    "postgresql": {"BIG": "BIGINT", "NUMBER": "DOUBLE PRECISION", "INSTANT": "TIMESTAMP WITH TIME ZONE"},
}


def upgrade() -> None:
    """Make the new tables, then the columns that refer to them."""
    _tables()
    for table, column, kind in COLUMNS:
        first, _, rest = kind.partition(" ")
        spelled = f"{TYPES[op.get_bind().dialect.name].get(first, first)} {rest}"
        op.execute(f"ALTER TABLE {table} ADD COLUMN {column} {spelled}")
    op.create_index(
        "ix_item_fit_strength",
        "item",
        ["site_id", "fit", "strength", "id"],
        sqlite_where=sa.text("retired_on IS NULL"),
        postgresql_where=sa.text("retired_on IS NULL"),
    )
    _strengths()


def _strengths() -> None:
    """What each item fits and how strong it is, by its plate and its chart."""
    fit = """
        CASE m.kind
        WHEN 'wrench' THEN 'wrench ' || m.head || ' ' || coalesce(CAST(round(1000000 *
            CASE m.head WHEN 'square drive' THEN m.drive_mm ELSE m.across_flats_mm END) AS BIGINT), 0)
        WHEN 'socket' THEN 'socket ' || coalesce(CAST(round(1000000 * m.drive_mm) AS BIGINT), 0)
            || ' ' || coalesce(CAST(round(1000000 * m.across_flats_mm) AS BIGINT), 0)
        ELSE m.kind || ' ' || m.id END
    """
    charted = """
        SELECT max(p.torque_nm) FROM chart c JOIN chart_point p ON p.chart_id = c.id
        WHERE c.replaced_at IS NULL AND c.model_id = m.id AND p.pressure_mpa <= 1.0001 * m.mwp_advance_mpa
    """
    strength = f"""
        CASE m.kind
        WHEN 'wrench' THEN coalesce(({charted} AND c.item_id = item.id), ({charted} AND c.item_id IS NULL))
        WHEN 'pump' THEN
            CASE WHEN coalesce(item.relief_advance_mpa, m.relief_advance_mpa) < m.mwp_advance_mpa
            THEN coalesce(item.relief_advance_mpa, m.relief_advance_mpa) ELSE m.mwp_advance_mpa END
        WHEN 'gauge' THEN m.range_mpa
        ELSE m.mwp_advance_mpa END
    """
    for column, value in (("fit", fit), ("strength", strength)):
        op.execute(f"UPDATE item SET {column} = (SELECT {value} FROM model m WHERE m.id = item.model_id)")


def _tables() -> None:
    op.create_table(
        "joint_template",
        sa.Column("id", BIG, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("bolts", BIG, nullable=False),
        sa.Column("thread", sa.Text(), nullable=True),
        sa.Column("nut_series", sa.Text(), nullable=True),
        sa.Column("across_flats_written", sa.Text(), nullable=True),
        sa.Column("across_flats_mm", NUMBER, nullable=True),
        sa.Column("torque_written", sa.Text(), nullable=False),
        sa.Column("torque_nm", NUMBER, nullable=False),
        sa.Column("tolerance_percent", NUMBER, nullable=True),
        sa.Column("loosening_factor", NUMBER, nullable=True),
        sa.Column("loosening_reason", sa.Text(), nullable=True),
        sa.Column("turn_degrees", NUMBER, nullable=True),
        sa.Column("duration_minutes", BIG, nullable=True),
        sa.Column("wrenches_at_once", BIG, nullable=True),
        sa.Column("head", sa.Text(), nullable=True),
        sa.Column("drive_written", sa.Text(), nullable=True),
        sa.Column("drive_mm", NUMBER, nullable=True),
        sa.Column("widest_written", sa.Text(), nullable=True),
        sa.Column("widest_mm", NUMBER, nullable=True),
        sa.Column("highest_written", sa.Text(), nullable=True),
        sa.Column("highest_mm", NUMBER, nullable=True),
        sa.Column("heaviest_written", sa.Text(), nullable=True),
        sa.Column("heaviest_kg", NUMBER, nullable=True),
        sa.CheckConstraint(
            "(loosening_factor IS NULL) = (loosening_reason IS NULL)",
            name=op.f("ck_joint_template_loosening_factor_has_a_reason"),
        ),
        sa.CheckConstraint("bolts >= 1", name=op.f("ck_joint_template_has_bolts")),
        sa.CheckConstraint("duration_minutes > 0", name=op.f("ck_joint_template_duration_minutes_positive")),
        sa.CheckConstraint("loosening_factor > 0", name=op.f("ck_joint_template_loosening_factor_positive")),
        sa.CheckConstraint("torque_nm > 0", name=op.f("ck_joint_template_torque_positive")),
        sa.CheckConstraint("turn_degrees > 0", name=op.f("ck_joint_template_turn_degrees_positive")),
        sa.CheckConstraint("wrenches_at_once >= 1", name=op.f("ck_joint_template_wrenches_at_once_positive")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_joint_template")),
        sa.UniqueConstraint("name", name=op.f("uq_joint_template_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "plan",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("sites", sa.Text(), nullable=False),
        sa.Column("starts_at", INSTANT, nullable=False),
        sa.Column("ends_at", INSTANT, nullable=False),
        sa.Column("made_at", INSTANT, nullable=False),
        sa.Column("made_by_id", BIG, nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("accepted_at", INSTANT, nullable=True),
        sa.Column("accepted_by_id", BIG, nullable=True),
        sa.Column("dropped_at", INSTANT, nullable=True),
        sa.Column("drop_reason", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "accepted_at IS NULL OR dropped_at IS NULL", name=op.f("ck_plan_accepted_or_dropped")
        ),
        sa.CheckConstraint("starts_at < ends_at", name=op.f("ck_plan_starts_before_it_ends")),
        sa.ForeignKeyConstraint(["accepted_by_id"], ["person.id"], name=op.f("fk_plan_accepted_by_id")),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_plan_made_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan")),
        sa.UniqueConstraint("client_id", name=op.f("uq_plan_client_id")),
        sqlite_strict=True,
    )
