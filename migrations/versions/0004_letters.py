"""Letters at once, passed on, acknowledged, their texts kept once; deputies, absences, quiet hours."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
INSTANT = sa.Text().with_variant(postgresql.TIMESTAMP(timezone=True), "postgresql")
DAY = sa.Text().with_variant(sa.Date(), "postgresql")

# Columns come by ALTER TABLE, never by a rebuilt table: nothing on record is copied or dropped but the
# texts of letters, which move into a table of their own.
COLUMNS = (
    ("letter", "forwards_id", "BIG CONSTRAINT fk_letter_forwards_id REFERENCES letter (id)"),
    ("person", "deputy_id", "BIG CONSTRAINT fk_person_deputy_id REFERENCES person (id)"),
    (
        "site",
        "quiet_from_hour",
        (
            "BIG DEFAULT 20 NOT NULL CONSTRAINT ck_site_quiet_from_hour_in_day "
            "CHECK (quiet_from_hour BETWEEN 0 AND 23)"
        ),
    ),
    (
        "site",
        "quiet_until_hour",
        (
            "BIG DEFAULT 6 NOT NULL CONSTRAINT ck_site_quiet_until_hour_in_day "
            "CHECK (quiet_until_hour BETWEEN 0 AND 23)"
        ),
    ),
    (
        "site",
        "working_days",
        (
            "TEXT DEFAULT '12345' NOT NULL CONSTRAINT ck_site_working_days_some "
            "CHECK (length(working_days) BETWEEN 1 AND 7)"
        ),
    ),
)
# What was written, told and acknowledged stays so.
APPEND_ONLY = ("letter_content", "letter_site", "acknowledgement", "told")
TYPES = {"sqlite": {"BIG": "INTEGER"}, "postgresql": {"BIG": "BIGINT"}}


def upgrade() -> None:
    """Make the new tables and columns, then move what letters say."""
    _tables()
    for table, column, kind in COLUMNS:
        first, _, rest = kind.partition(" ")
        spelled = f"{TYPES[op.get_bind().dialect.name].get(first, first)} {rest}"
        op.execute(f"ALTER TABLE {table} ADD COLUMN {column} {spelled}")
    op.create_index("ux_letter_forwards_id_address", "letter", ["forwards_id", "address"], unique=True)
    op.create_index("ix_letter_week_kind", "letter", ["week", "kind"])
    # A digest names its texts, so any of the letters that bear it has them.
    op.execute(
        "INSERT INTO letter_content (sha256, plain, html) "
        "SELECT sha256, plain, html FROM letter WHERE id IN (SELECT min(id) FROM letter GROUP BY sha256)"
    )
    op.execute("INSERT INTO letter_site (letter_id, site_id) SELECT id, site_id FROM letter")
    for column in ("plain", "html"):
        op.execute(f"ALTER TABLE letter DROP COLUMN {column}")
    _guards()


def _guards() -> None:
    for name in APPEND_ONLY:
        if op.get_bind().dialect.name == "postgresql":
            op.execute(
                f"CREATE TRIGGER tr_{name}_no_change BEFORE UPDATE OR DELETE ON {name} "
                f"FOR EACH ROW EXECUTE FUNCTION refuse_change()"
            )
            op.execute(
                f"CREATE TRIGGER tr_{name}_no_truncate BEFORE TRUNCATE ON {name} "
                f"FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
            )
            continue
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER tr_{name}_no_{verb.lower()} BEFORE {verb} ON {name} "
                f"BEGIN SELECT RAISE(ABORT, '{name} is append-only'); END"
            )


def _tables() -> None:
    op.create_table(
        "letter_content",
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("plain", sa.Text(), nullable=False),
        sa.Column("html", sa.Text(), nullable=False),
        sa.Column("calendar", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_letter_content")),
        sqlite_strict=True,
    )
    op.create_table(
        "letter_site",
        sa.Column("letter_id", BIG, nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.ForeignKeyConstraint(["letter_id"], ["letter.id"], name=op.f("fk_letter_site_letter_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_letter_site_site_id")),
        sa.PrimaryKeyConstraint("letter_id", "site_id", name=op.f("pk_letter_site")),
        sqlite_strict=True,
    )
    op.create_index("ix_letter_site_site_id", "letter_site", ["site_id"])
    op.create_table(
        "acknowledgement",
        sa.Column("letter_id", BIG, nullable=False),
        sa.Column("person_id", BIG, nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(["letter_id"], ["letter.id"], name=op.f("fk_acknowledgement_letter_id")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_acknowledgement_person_id")),
        sa.PrimaryKeyConstraint("letter_id", name=op.f("pk_acknowledgement")),
        sqlite_strict=True,
    )
    op.create_table(
        "told",
        sa.Column("id", BIG, nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.Column("matter", sa.Text(), nullable=False),
        sa.Column("level", BIG, nullable=False),
        sa.Column("reader", sa.Text(), nullable=False),
        sa.Column("letter_id", BIG, nullable=False),
        sa.Column("sentence", sa.Text(), nullable=False),
        sa.CheckConstraint("level BETWEEN 0 AND 2", name=op.f("ck_told_level_known")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_told_site_id")),
        sa.ForeignKeyConstraint(["letter_id"], ["letter.id"], name=op.f("fk_told_letter_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_told")),
        sa.UniqueConstraint(
            "matter", "level", "site_id", "reader", name=op.f("uq_told_matter_level_site_id_reader")
        ),
        sqlite_strict=True,
    )
    op.create_index("ix_told_letter_id", "told", ["letter_id"])
    op.create_table(
        "absence",
        sa.Column("id", BIG, nullable=False),
        sa.Column("person_id", BIG, nullable=False),
        sa.Column("deputy_id", BIG, nullable=False),
        sa.Column("from_day", DAY, nullable=False),
        sa.Column("through_day", DAY, nullable=False),
        sa.Column("set_at", INSTANT, nullable=False),
        sa.Column("set_by_id", BIG, nullable=True),
        sa.Column("ended_at", INSTANT, nullable=True),
        sa.Column("ended_by_id", BIG, nullable=True),
        sa.CheckConstraint("through_day >= from_day", name=op.f("ck_absence_begins_before_it_ends")),
        sa.CheckConstraint("person_id <> deputy_id", name=op.f("ck_absence_deputy_is_another")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_absence_person_id")),
        sa.ForeignKeyConstraint(["deputy_id"], ["person.id"], name=op.f("fk_absence_deputy_id")),
        sa.ForeignKeyConstraint(["set_by_id"], ["person.id"], name=op.f("fk_absence_set_by_id")),
        sa.ForeignKeyConstraint(["ended_by_id"], ["person.id"], name=op.f("fk_absence_ended_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_absence")),
        sqlite_strict=True,
    )
    op.create_index("ix_absence_person_id", "absence", ["person_id"])
