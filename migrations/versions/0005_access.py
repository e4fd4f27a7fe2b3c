"""How people get in: log-ins, invitations, sessions, stations, tokens; units that a person reads."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
INSTANT = sa.Text().with_variant(postgresql.TIMESTAMP(timezone=True), "postgresql")

# Columns come by ALTER TABLE, never by a rebuilt table: nothing on record is copied or dropped.
COLUMNS = (
    ("administrator", "FLAG DEFAULT FALSE NOT NULL"),
    (
        "pressure_unit",
        "TEXT CONSTRAINT ck_person_pressure_unit_known CHECK (pressure_unit IN ('psi', 'bar', 'MPa'))",
    ),
    (
        "torque_unit",
        (
            "TEXT CONSTRAINT ck_person_torque_unit_known "
            "CHECK (torque_unit IN ('lbf·ft', 'N·m', 'kN·m', 'kgf·m'))"
        ),
    ),
)
FLAGS = {"sqlite": "INTEGER", "postgresql": "BOOLEAN"}


def upgrade() -> None:
    """Make the new columns and tables."""
    for column, kind in COLUMNS:
        spelled = kind.replace("FLAG", FLAGS[op.get_bind().dialect.name])
        op.execute(f"ALTER TABLE person ADD COLUMN {column} {spelled}")
    _tables()


def _tables() -> None:
    op.create_table(
        "login_attempt",
        sa.Column("id", BIG, nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("badge", sa.Text(), nullable=False),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_login_attempt")),
        sqlite_strict=True,
    )
    op.create_index("ix_login_attempt_badge_at", "login_attempt", ["badge", "at"])
    op.create_index("ix_login_attempt_origin_at", "login_attempt", ["origin", "at"])

    op.create_table(
        "answer",
        sa.Column("id", BIG, nullable=False),
        sa.Column("person_id", BIG, nullable=False),
        sa.Column("request_key", sa.Text(), nullable=False),
        sa.Column("request_sha256", sa.Text(), nullable=False),
        sa.Column("status", BIG, nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_answer_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_answer")),
        sa.UniqueConstraint("person_id", "request_key", name=op.f("uq_answer_person_id_request_key")),
        sqlite_strict=True,
    )
    op.create_table(
        "invitation",
        sa.Column("id", BIG, nullable=False),
        sa.Column("person_id", BIG, nullable=False),
        sa.Column("token_sha256", sa.Text(), nullable=False),
        sa.Column("made_at", INSTANT, nullable=False),
        sa.Column("made_by_id", BIG, nullable=True),
        sa.Column("expires_at", INSTANT, nullable=False),
        sa.Column("used_at", INSTANT, nullable=True),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_invitation_made_by_id")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_invitation_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_invitation")),
        sqlite_strict=True,
    )
    op.create_index("ux_invitation_token_sha256", "invitation", ["token_sha256"], unique=True)

    op.create_table(
        "login",
        sa.Column("person_id", BIG, nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=False),
        sa.Column("changed_at", INSTANT, nullable=False),
        sa.Column("pin_hash", sa.Text(), nullable=True),
        sa.Column("totp_secret", sa.Text(), nullable=True),
        sa.Column("totp_step", BIG, nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_login_person_id")),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_login")),
        sqlite_strict=True,
    )
    op.create_table(
        "station",
        sa.Column("id", BIG, nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("token_sha256", sa.Text(), nullable=False),
        sa.Column("enrolled_at", INSTANT, nullable=False),
        sa.Column("enrolled_by_id", BIG, nullable=False),
        sa.Column("ended_at", INSTANT, nullable=True),
        sa.ForeignKeyConstraint(["enrolled_by_id"], ["person.id"], name=op.f("fk_station_enrolled_by_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_station_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_station")),
        sqlite_strict=True,
    )
    op.create_index("ux_station_token_sha256", "station", ["token_sha256"], unique=True)

    op.create_table(
        "token",
        sa.Column("id", BIG, nullable=False),
        sa.Column("person_id", BIG, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("token_sha256", sa.Text(), nullable=False),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column("site_id", BIG, nullable=True),
        sa.Column("made_at", INSTANT, nullable=False),
        sa.Column("expires_at", INSTANT, nullable=True),
        sa.Column("used_at", INSTANT, nullable=True),
        sa.Column("ended_at", INSTANT, nullable=True),
        sa.CheckConstraint("length(scopes) > 0", name=op.f("ck_token_scopes_some")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_token_person_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_token_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token")),
        sqlite_strict=True,
    )
    op.create_index("ux_token_token_sha256", "token", ["token_sha256"], unique=True)

    op.create_table(
        "session",
        sa.Column("id", BIG, nullable=False),
        sa.Column("token_sha256", sa.Text(), nullable=False),
        sa.Column("person_id", BIG, nullable=False),
        sa.Column("station_id", BIG, nullable=True),
        sa.Column("begun_at", INSTANT, nullable=False),
        sa.Column("seen_at", INSTANT, nullable=False),
        sa.Column("confirmed_at", INSTANT, nullable=False),
        sa.Column("ended_at", INSTANT, nullable=True),
        sa.Column("browser", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_session_person_id")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_session_station_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session")),
        sqlite_strict=True,
    )
    op.create_index("ix_session_person_id", "session", ["person_id"])
    op.create_index("ux_session_token_sha256", "session", ["token_sha256"], unique=True)
