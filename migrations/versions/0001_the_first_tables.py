"""The first tables, with the triggers that keep the ledgers append-only and reservations apart."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")
INSTANT = sa.Text().with_variant(postgresql.TIMESTAMP(timezone=True), "postgresql")
DAY = sa.Text().with_variant(sa.Date(), "postgresql")
FLAG = sa.Integer().with_variant(sa.Boolean(), "postgresql")

APPEND_ONLY = ("daybook", "usage", "upkeep_done", "letter_attempt", "taken_in")


def upgrade() -> None:
    """Make every table, then what an engine must enforce by itself."""
    _tables()
    if op.get_bind().dialect.name == "postgresql":
        _postgres_guards()
    else:
        _sqlite_guards()


def _sqlite_guards() -> None:
    for name in APPEND_ONLY:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER tr_{name}_no_{verb.lower()} BEFORE {verb} ON {name} "
                f"BEGIN SELECT RAISE(ABORT, '{name} is append-only'); END"
            )
    # INSERT OR REPLACE would delete the old row unasked when recursive triggers are off.
    same = {
        "daybook": "chain = NEW.chain AND seq = NEW.seq",
        "usage": "id = NEW.id OR client_id = NEW.client_id",
        "upkeep_done": "id = NEW.id OR client_id = NEW.client_id",
        "letter_attempt": "id = NEW.id",
        "taken_in": "id = NEW.id",
    }
    for name, when in same.items():
        op.execute(
            f"CREATE TRIGGER tr_{name}_no_replace BEFORE INSERT ON {name} "
            f"WHEN EXISTS (SELECT 1 FROM {name} WHERE {when}) "
            f"BEGIN SELECT RAISE(ABORT, '{name} is append-only'); END"
        )
    # Two live windows of one item must not overlap; the write lock makes the check and the insert one step.
    clash = (
        "NEW.ended_at IS NULL AND EXISTS (SELECT 1 FROM reservation r WHERE r.item_id = NEW.item_id "
        "AND r.id IS NOT NEW.id AND r.ended_at IS NULL "
        "AND r.starts_at < NEW.ends_at AND NEW.starts_at < r.ends_at)"
    )
    for verb in ("INSERT", "UPDATE"):
        op.execute(
            f"CREATE TRIGGER tr_reservation_no_overlap_{verb.lower()} BEFORE {verb} ON reservation "
            f"WHEN {clash} BEGIN SELECT RAISE(ABORT, 'ex_reservation_no_overlap'); END"
        )


def _postgres_guards() -> None:
    op.execute(
        "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ "
        "BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
    )
    for name in APPEND_ONLY:
        op.execute(
            f"CREATE TRIGGER tr_{name}_no_change BEFORE UPDATE OR DELETE ON {name} "
            f"FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER tr_{name}_no_truncate BEFORE TRUNCATE ON {name} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )
    op.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
    op.execute(
        "ALTER TABLE reservation ADD CONSTRAINT ex_reservation_no_overlap EXCLUDE USING gist "
        "(item_id WITH =, tstzrange(starts_at, ends_at, '[)') WITH &&) WHERE (ended_at IS NULL)"
    )


def _tables() -> None:
    op.create_table(
        "counter",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("last", BIG, nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_counter")),
        sqlite_strict=True,
    )
    op.create_table(
        "coupling",
        sa.Column("id", BIG, nullable=False),
        sa.Column("series", sa.Text(), nullable=False),
        sa.Column("size", sa.Text(), nullable=False),
        sa.Column("mwp_written", sa.Text(), nullable=True),
        sa.Column("mwp_mpa", NUMBER, nullable=True),
        sa.Column("flush_face", FLAG, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coupling")),
        sa.UniqueConstraint("series", "size", name=op.f("uq_coupling_series_size")),
        sqlite_strict=True,
    )
    op.create_table(
        "heartbeat",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_heartbeat")),
        sqlite_strict=True,
    )
    op.create_table(
        "model",
        sa.Column("id", BIG, nullable=False),
        sa.Column("designation", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("description", sa.Text(), nullable=True),
        sa.Column("mwp_advance_written", sa.Text(), nullable=True),
        sa.Column("mwp_advance_mpa", NUMBER, nullable=True),
        sa.Column("mwp_retract_written", sa.Text(), nullable=True),
        sa.Column("mwp_retract_mpa", NUMBER, nullable=True),
        sa.Column("head", sa.Text(), nullable=True),
        sa.Column("drive_written", sa.Text(), nullable=True),
        sa.Column("drive_mm", NUMBER, nullable=True),
        sa.Column("across_flats_written", sa.Text(), nullable=True),
        sa.Column("across_flats_mm", NUMBER, nullable=True),
        sa.Column("relief_advance_written", sa.Text(), nullable=True),
        sa.Column("relief_advance_mpa", NUMBER, nullable=True),
        sa.Column("relief_retract_written", sa.Text(), nullable=True),
        sa.Column("relief_retract_mpa", NUMBER, nullable=True),
        sa.Column("burst_ratio", NUMBER, nullable=True),
        sa.Column("length_written", sa.Text(), nullable=True),
        sa.Column("length_mm", NUMBER, nullable=True),
        sa.Column("range_written", sa.Text(), nullable=True),
        sa.Column("range_mpa", NUMBER, nullable=True),
        sa.Column("accuracy_class", sa.Text(), nullable=True),
        sa.Column("graduation_written", sa.Text(), nullable=True),
        sa.Column("graduation_mpa", NUMBER, nullable=True),
        sa.CheckConstraint(
            "(kind = 'wrench') = (head IS NOT NULL)", name=op.f("ck_model_only_wrenches_have_a_head")
        ),
        sa.CheckConstraint("head IN ('square drive', 'ratchet link')", name=op.f("ck_model_head_known")),
        sa.CheckConstraint(
            "kind IN ('wrench', 'pump', 'hose', 'coupler', 'gauge', 'socket')",
            name=op.f("ck_model_kind_known"),
        ),
        sa.CheckConstraint("burst_ratio > 1", name=op.f("ck_model_burst_ratio_over_one")),
        sa.CheckConstraint("mwp_advance_mpa > 0", name=op.f("ck_model_mwp_advance_positive")),
        sa.CheckConstraint("mwp_retract_mpa > 0", name=op.f("ck_model_mwp_retract_positive")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_model")),
        sa.UniqueConstraint("designation", name=op.f("uq_model_designation")),
        sqlite_strict=True,
    )
    op.create_table(
        "person",
        sa.Column("id", BIG, nullable=False),
        sa.Column("badge", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=True),
        sa.Column("active", FLAG, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("badge", name=op.f("uq_person_badge")),
        sqlite_strict=True,
    )
    op.create_table(
        "site",
        sa.Column("id", BIG, nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("pressure_unit", sa.Text(), nullable=False),
        sa.Column("torque_unit", sa.Text(), nullable=False),
        sa.Column("letter_weekday", BIG, nullable=False),
        sa.Column("letter_hour", BIG, nullable=False),
        sa.Column("spare_address", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "pressure_unit IN ('psi', 'bar', 'MPa')", name=op.f("ck_site_pressure_unit_known")
        ),
        sa.CheckConstraint(
            "torque_unit IN ('lbf·ft', 'N·m', 'kN·m', 'kgf·m')", name=op.f("ck_site_torque_unit_known")
        ),
        sa.CheckConstraint("letter_hour BETWEEN 0 AND 23", name=op.f("ck_site_letter_hour_in_day")),
        sa.CheckConstraint("letter_weekday BETWEEN 0 AND 6", name=op.f("ck_site_letter_weekday_in_week")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site")),
        sa.UniqueConstraint("code", name=op.f("uq_site_code")),
        sqlite_strict=True,
    )
    op.create_table(
        "taken_in",
        sa.Column("id", BIG, nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("taken_at", INSTANT, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_taken_in")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("taken_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_taken_in_sha256"), ["sha256"], unique=False)

    op.create_table(
        "daybook",
        sa.Column("chain", BIG, autoincrement=False, nullable=False),
        sa.Column("seq", BIG, autoincrement=False, nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.Column("person_id", BIG, nullable=True),
        sa.Column("person_name", sa.Text(), nullable=False),
        sa.Column("act", sa.Text(), nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("prev_hash", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_daybook_person_id")),
        sa.PrimaryKeyConstraint("chain", "seq", name=op.f("pk_daybook")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("daybook", schema=None) as batch_op:
        batch_op.create_index("ix_daybook_about", ["about"], unique=False)
        batch_op.create_index("ix_daybook_recorded_at", ["recorded_at"], unique=False)

    op.create_table(
        "item",
        sa.Column("id", BIG, nullable=False),
        sa.Column("tag", sa.Text(), nullable=False),
        sa.Column("model_id", BIG, nullable=False),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.Column("shelf", sa.Text(), nullable=True),
        sa.Column("assembled_on", DAY, nullable=True),
        sa.Column("received_on", DAY, nullable=False),
        sa.Column("relief_advance_written", sa.Text(), nullable=True),
        sa.Column("relief_advance_mpa", NUMBER, nullable=True),
        sa.Column("relief_retract_written", sa.Text(), nullable=True),
        sa.Column("relief_retract_mpa", NUMBER, nullable=True),
        sa.Column("retired_on", DAY, nullable=True),
        sa.Column("retired_reason", sa.Text(), nullable=True),
        sa.Column("cycles", BIG, nullable=False),
        sa.Column("minutes", BIG, nullable=False),
        sa.CheckConstraint(
            "(retired_on IS NULL) = (retired_reason IS NULL)", name=op.f("ck_item_retired_for_a_reason")
        ),
        sa.CheckConstraint("cycles >= 0", name=op.f("ck_item_cycles_not_negative")),
        sa.CheckConstraint("minutes >= 0", name=op.f("ck_item_minutes_not_negative")),
        sa.ForeignKeyConstraint(["model_id"], ["model.id"], name=op.f("fk_item_model_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_item_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_item")),
        sa.UniqueConstraint("model_id", "serial", name=op.f("uq_item_model_id_serial")),
        sa.UniqueConstraint("tag", name=op.f("uq_item_tag")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.create_index("ix_item_serial", ["serial"], unique=False)
        batch_op.create_index("ix_item_site_model", ["site_id", "model_id"], unique=False)

    op.create_table(
        "job",
        sa.Column("id", BIG, nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("starts_at", INSTANT, nullable=False),
        sa.Column("ends_at", INSTANT, nullable=False),
        sa.CheckConstraint("starts_at < ends_at", name=op.f("ck_job_starts_before_it_ends")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_job_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
        sa.UniqueConstraint("code", name=op.f("uq_job_code")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_job_site_id"), ["site_id"], unique=False)

    op.create_table(
        "letter",
        sa.Column("id", BIG, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.Column("week", sa.Text(), nullable=False),
        sa.Column("number", BIG, nullable=False),
        sa.Column("person_id", BIG, nullable=True),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("copy_no", BIG, nullable=False),
        sa.Column("message_id", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("plain", sa.Text(), nullable=False),
        sa.Column("html", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("written_at", INSTANT, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("turn", BIG, nullable=False),
        sa.Column("taken_by", sa.Text(), nullable=True),
        sa.Column("lease_until", INSTANT, nullable=True),
        sa.Column("not_before", INSTANT, nullable=False),
        sa.Column("give_up_at", INSTANT, nullable=False),
        sa.Column("sent_at", INSTANT, nullable=True),
        sa.Column("last_answer", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "state IN ('written', 'taken', 'sent', 'undeliverable')", name=op.f("ck_letter_state_known")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_letter_person_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_letter_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_letter")),
        sa.UniqueConstraint(
            "kind",
            "site_id",
            "week",
            "address",
            "copy_no",
            name=op.f("uq_letter_kind_site_id_week_address_copy_no"),
        ),
        sa.UniqueConstraint("message_id", name=op.f("uq_letter_message_id")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("letter", schema=None) as batch_op:
        batch_op.create_index(
            "ix_letter_waiting",
            ["not_before"],
            unique=False,
            sqlite_where=sa.text("state IN ('written', 'taken')"),
            postgresql_where=sa.text("state IN ('written', 'taken')"),
        )

    op.create_table(
        "port",
        sa.Column("id", BIG, nullable=False),
        sa.Column("model_id", BIG, nullable=False),
        sa.Column("line", sa.Text(), nullable=False),
        sa.Column("faces", sa.Text(), nullable=False),
        sa.Column("coupling_id", BIG, nullable=False),
        sa.Column("half", sa.Text(), nullable=False),
        sa.CheckConstraint("faces IN ('pump', 'tool', 'gauge')", name=op.f("ck_port_faces_known")),
        sa.CheckConstraint("half IN ('male', 'female')", name=op.f("ck_port_half_known")),
        sa.CheckConstraint("line IN ('advance', 'retract')", name=op.f("ck_port_line_known")),
        sa.ForeignKeyConstraint(["coupling_id"], ["coupling.id"], name=op.f("fk_port_coupling_id")),
        sa.ForeignKeyConstraint(["model_id"], ["model.id"], name=op.f("fk_port_model_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_port")),
        sa.UniqueConstraint("model_id", "line", "faces", name=op.f("uq_port_model_id_line_faces")),
        sqlite_strict=True,
    )
    op.create_table(
        "role",
        sa.Column("id", BIG, nullable=False),
        sa.Column("person_id", BIG, nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "role IN ('keeper', 'planner', 'safety officer')", name=op.f("ck_role_role_known")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_role_person_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_role_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_role")),
        sa.UniqueConstraint("person_id", "site_id", "role", name=op.f("uq_role_person_id_site_id_role")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("role", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_role_site_id"), ["site_id"], unique=False)

    op.create_table(
        "upkeep_task",
        sa.Column("id", BIG, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("model_id", BIG, nullable=True),
        sa.Column("every_months", BIG, nullable=True),
        sa.Column("every_cycles", BIG, nullable=True),
        sa.Column("every_minutes", BIG, nullable=True),
        sa.Column("counts_from", sa.Text(), nullable=False),
        sa.Column("lead_days", BIG, nullable=False),
        sa.Column("stop", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "counts_from IN ('last done', 'assembly')", name=op.f("ck_upkeep_task_counts_from_known")
        ),
        sa.CheckConstraint(
            "kind IN ('wrench', 'pump', 'hose', 'coupler', 'gauge', 'socket')",
            name=op.f("ck_upkeep_task_kind_known"),
        ),
        sa.CheckConstraint("stop IN ('hard', 'soft')", name=op.f("ck_upkeep_task_stop_known")),
        sa.CheckConstraint(
            "coalesce(every_months, every_cycles, every_minutes) IS NOT NULL",
            name=op.f("ck_upkeep_task_has_a_clock"),
        ),
        sa.CheckConstraint("every_cycles > 0", name=op.f("ck_upkeep_task_every_cycles_positive")),
        sa.CheckConstraint("every_minutes > 0", name=op.f("ck_upkeep_task_every_minutes_positive")),
        sa.CheckConstraint("every_months > 0", name=op.f("ck_upkeep_task_every_months_positive")),
        sa.CheckConstraint("lead_days >= 0", name=op.f("ck_upkeep_task_lead_days_not_negative")),
        sa.ForeignKeyConstraint(["model_id"], ["model.id"], name=op.f("fk_upkeep_task_model_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_upkeep_task")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("upkeep_task", schema=None) as batch_op:
        batch_op.create_index(
            "uq_upkeep_task_kind",
            ["name", "kind"],
            unique=True,
            sqlite_where=sa.text("model_id IS NULL"),
            postgresql_where=sa.text("model_id IS NULL"),
        )
        batch_op.create_index(
            "uq_upkeep_task_model",
            ["name", "model_id"],
            unique=True,
            sqlite_where=sa.text("model_id IS NOT NULL"),
            postgresql_where=sa.text("model_id IS NOT NULL"),
        )

    op.create_table(
        "chart",
        sa.Column("id", BIG, nullable=False),
        sa.Column("model_id", BIG, nullable=False),
        sa.Column("item_id", BIG, nullable=True),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("entered_at", INSTANT, nullable=False),
        sa.Column("replaced_at", INSTANT, nullable=True),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_chart_item_id")),
        sa.ForeignKeyConstraint(["model_id"], ["model.id"], name=op.f("fk_chart_model_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_chart")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("chart", schema=None) as batch_op:
        batch_op.create_index(
            "uq_chart_current_item",
            ["item_id"],
            unique=True,
            sqlite_where=sa.text("item_id IS NOT NULL AND replaced_at IS NULL"),
            postgresql_where=sa.text("item_id IS NOT NULL AND replaced_at IS NULL"),
        )
        batch_op.create_index(
            "uq_chart_current_model",
            ["model_id"],
            unique=True,
            sqlite_where=sa.text("item_id IS NULL AND replaced_at IS NULL"),
            postgresql_where=sa.text("item_id IS NULL AND replaced_at IS NULL"),
        )

    op.create_table(
        "concession",
        sa.Column("id", BIG, nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("task_id", BIG, nullable=False),
        sa.Column("job_id", BIG, nullable=False),
        sa.Column("asked_by_id", BIG, nullable=False),
        sa.Column("granted_by_id", BIG, nullable=False),
        sa.Column("reason_code", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("starts_at", INSTANT, nullable=False),
        sa.Column("ends_at", INSTANT, nullable=False),
        sa.CheckConstraint(
            "reason_code IN ('no other item', 'work already started', 'checked against a second item')",
            name=op.f("ck_concession_reason_code_known"),
        ),
        sa.CheckConstraint(
            "asked_by_id <> granted_by_id", name=op.f("ck_concession_granted_by_another_person")
        ),
        sa.CheckConstraint("length(reason) >= 15", name=op.f("ck_concession_reason_is_a_sentence")),
        sa.CheckConstraint("starts_at < ends_at", name=op.f("ck_concession_starts_before_it_ends")),
        sa.ForeignKeyConstraint(["asked_by_id"], ["person.id"], name=op.f("fk_concession_asked_by_id")),
        sa.ForeignKeyConstraint(["granted_by_id"], ["person.id"], name=op.f("fk_concession_granted_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_concession_item_id")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_concession_job_id")),
        sa.ForeignKeyConstraint(["task_id"], ["upkeep_task.id"], name=op.f("fk_concession_task_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_concession")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("concession", schema=None) as batch_op:
        batch_op.create_index("ix_concession_item_ends_at", ["item_id", "ends_at"], unique=False)

    op.create_table(
        "due_line",
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("task_id", BIG, nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.Column("last_done_on", DAY, nullable=True),
        sa.Column("due_on", DAY, nullable=True),
        sa.Column("due_cycles", BIG, nullable=True),
        sa.Column("due_minutes", BIG, nullable=True),
        sa.Column("use_left", NUMBER, nullable=True),
        sa.Column("forecast_on", DAY, nullable=True),
        sa.Column("first_on", DAY, nullable=True),
        sa.Column("recent_cycles", BIG, nullable=False),
        sa.Column("recent_minutes", BIG, nullable=False),
        sa.Column("recent_days", BIG, nullable=False),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_due_line_item_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_due_line_site_id")),
        sa.ForeignKeyConstraint(["task_id"], ["upkeep_task.id"], name=op.f("fk_due_line_task_id")),
        sa.PrimaryKeyConstraint("item_id", "task_id", name=op.f("pk_due_line")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("due_line", schema=None) as batch_op:
        batch_op.create_index("ix_due_line_site_first_on", ["site_id", "first_on"], unique=False)

    op.create_table(
        "hold",
        sa.Column("id", BIG, nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("opened_at", INSTANT, nullable=False),
        sa.Column("opened_by_id", BIG, nullable=True),
        sa.Column("released_at", INSTANT, nullable=True),
        sa.Column("released_by_id", BIG, nullable=True),
        sa.Column("evidence", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "cause IN ('damaged', 'inspection', 'calibration', 'recall', 'other')",
            name=op.f("ck_hold_cause_known"),
        ),
        sa.CheckConstraint(
            "(released_at IS NULL) = (evidence IS NULL)", name=op.f("ck_hold_released_with_evidence")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_hold_item_id")),
        sa.ForeignKeyConstraint(["opened_by_id"], ["person.id"], name=op.f("fk_hold_opened_by_id")),
        sa.ForeignKeyConstraint(["released_by_id"], ["person.id"], name=op.f("fk_hold_released_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hold")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("hold", schema=None) as batch_op:
        batch_op.create_index("ix_hold_item", ["item_id"], unique=False)
        batch_op.create_index(
            "ix_hold_open",
            ["item_id"],
            unique=False,
            sqlite_where=sa.text("released_at IS NULL"),
            postgresql_where=sa.text("released_at IS NULL"),
        )

    op.create_table(
        "joint",
        sa.Column("id", BIG, nullable=False),
        sa.Column("job_id", BIG, nullable=False),
        sa.Column("mark", sa.Text(), nullable=False),
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
        sa.Column("planned_cycles", BIG, nullable=True),
        sa.Column("planned_minutes", BIG, nullable=True),
        sa.CheckConstraint(
            "(loosening_factor IS NULL) = (loosening_reason IS NULL)",
            name=op.f("ck_joint_loosening_factor_has_a_reason"),
        ),
        sa.CheckConstraint("bolts >= 1", name=op.f("ck_joint_has_bolts")),
        sa.CheckConstraint("loosening_factor > 0", name=op.f("ck_joint_loosening_factor_positive")),
        sa.CheckConstraint("planned_cycles >= 0", name=op.f("ck_joint_planned_cycles_not_negative")),
        sa.CheckConstraint("planned_minutes >= 0", name=op.f("ck_joint_planned_minutes_not_negative")),
        sa.CheckConstraint("torque_nm > 0", name=op.f("ck_joint_torque_positive")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_joint_job_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_joint")),
        sa.UniqueConstraint("job_id", "mark", name=op.f("uq_joint_job_id_mark")),
        sqlite_strict=True,
    )
    op.create_table(
        "letter_attempt",
        sa.Column("id", BIG, nullable=False),
        sa.Column("letter_id", BIG, nullable=False),
        sa.Column("turn", BIG, nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["letter_id"], ["letter.id"], name=op.f("fk_letter_attempt_letter_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_letter_attempt")),
        sa.UniqueConstraint(
            "letter_id", "turn", "outcome", name=op.f("uq_letter_attempt_letter_id_turn_outcome")
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "loan",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.Column("job_id", BIG, nullable=False),
        sa.Column("borrower_id", BIG, nullable=False),
        sa.Column("issued_at", INSTANT, nullable=False),
        sa.Column("issued_by_id", BIG, nullable=False),
        sa.Column("back_on", DAY, nullable=False),
        sa.ForeignKeyConstraint(["borrower_id"], ["person.id"], name=op.f("fk_loan_borrower_id")),
        sa.ForeignKeyConstraint(["issued_by_id"], ["person.id"], name=op.f("fk_loan_issued_by_id")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_loan_job_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_loan_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_loan")),
        sa.UniqueConstraint("client_id", name=op.f("uq_loan_client_id")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("loan", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_loan_borrower_id"), ["borrower_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_loan_job_id"), ["job_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_loan_site_id"), ["site_id"], unique=False)

    op.create_table(
        "upkeep_done",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("task_id", BIG, nullable=False),
        sa.Column("done_on", DAY, nullable=False),
        sa.Column("cycles_at", BIG, nullable=False),
        sa.Column("minutes_at", BIG, nullable=False),
        sa.Column("by_id", BIG, nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_upkeep_done_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_upkeep_done_item_id")),
        sa.ForeignKeyConstraint(["task_id"], ["upkeep_task.id"], name=op.f("fk_upkeep_done_task_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_upkeep_done")),
        sa.UniqueConstraint("client_id", name=op.f("uq_upkeep_done_client_id")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("upkeep_done", schema=None) as batch_op:
        batch_op.create_index("ix_upkeep_done_item_task", ["item_id", "task_id", "done_on"], unique=False)

    op.create_table(
        "chart_point",
        sa.Column("id", BIG, nullable=False),
        sa.Column("chart_id", BIG, nullable=False),
        sa.Column("pressure_written", sa.Text(), nullable=False),
        sa.Column("pressure_mpa", NUMBER, nullable=False),
        sa.Column("torque_written", sa.Text(), nullable=False),
        sa.Column("torque_nm", NUMBER, nullable=False),
        sa.CheckConstraint("pressure_mpa > 0", name=op.f("ck_chart_point_pressure_positive")),
        sa.CheckConstraint("torque_nm > 0", name=op.f("ck_chart_point_torque_positive")),
        sa.ForeignKeyConstraint(["chart_id"], ["chart.id"], name=op.f("fk_chart_point_chart_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_chart_point")),
        sa.UniqueConstraint("chart_id", "pressure_mpa", name=op.f("uq_chart_point_chart_id_pressure_mpa")),
        sqlite_strict=True,
    )
    op.create_table(
        "loan_line",
        sa.Column("id", BIG, nullable=False),
        sa.Column("loan_id", BIG, nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("planned_cycles", BIG, nullable=True),
        sa.Column("planned_minutes", BIG, nullable=True),
        sa.Column("returned_at", INSTANT, nullable=True),
        sa.Column("returned_by_id", BIG, nullable=True),
        sa.Column("condition", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "condition IN ('fine', 'needs attention', 'damaged')", name=op.f("ck_loan_line_condition_known")
        ),
        sa.CheckConstraint(
            "(returned_at IS NULL) = (condition IS NULL)",
            name=op.f("ck_loan_line_returned_in_some_condition"),
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_loan_line_item_id")),
        sa.ForeignKeyConstraint(["loan_id"], ["loan.id"], name=op.f("fk_loan_line_loan_id")),
        sa.ForeignKeyConstraint(["returned_by_id"], ["person.id"], name=op.f("fk_loan_line_returned_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_loan_line")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("loan_line", schema=None) as batch_op:
        batch_op.create_index("ix_loan_line_item", ["item_id", "id"], unique=False)
        batch_op.create_index("ix_loan_line_loan", ["loan_id"], unique=False)
        batch_op.create_index(
            "uq_loan_line_out",
            ["item_id"],
            unique=True,
            sqlite_where=sa.text("returned_at IS NULL"),
            postgresql_where=sa.text("returned_at IS NULL"),
        )

    op.create_table(
        "reservation",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("job_id", BIG, nullable=False),
        sa.Column("joint_id", BIG, nullable=True),
        sa.Column("starts_at", INSTANT, nullable=False),
        sa.Column("ends_at", INSTANT, nullable=False),
        sa.Column("reserved_at", INSTANT, nullable=False),
        sa.Column("reserved_by_id", BIG, nullable=False),
        sa.Column("ended_at", INSTANT, nullable=True),
        sa.Column("ended_by_id", BIG, nullable=True),
        sa.Column("end_reason", sa.Text(), nullable=True),
        sa.CheckConstraint("starts_at < ends_at", name=op.f("ck_reservation_starts_before_it_ends")),
        sa.ForeignKeyConstraint(["ended_by_id"], ["person.id"], name=op.f("fk_reservation_ended_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_reservation_item_id")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_reservation_job_id")),
        sa.ForeignKeyConstraint(["joint_id"], ["joint.id"], name=op.f("fk_reservation_joint_id")),
        sa.ForeignKeyConstraint(
            ["reserved_by_id"], ["person.id"], name=op.f("fk_reservation_reserved_by_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reservation")),
        sa.UniqueConstraint("client_id", name=op.f("uq_reservation_client_id")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("reservation", schema=None) as batch_op:
        batch_op.create_index("ix_reservation_item_starts_at", ["item_id", "starts_at"], unique=False)
        batch_op.create_index("ix_reservation_job", ["job_id"], unique=False)

    op.create_table(
        "usage",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("loan_line_id", BIG, nullable=True),
        sa.Column("job_id", BIG, nullable=True),
        sa.Column("cycles", BIG, nullable=False),
        sa.Column("minutes", BIG, nullable=False),
        sa.Column("used_on", DAY, nullable=False),
        sa.Column("reverses_id", BIG, nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("by_id", BIG, nullable=True),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.CheckConstraint(
            "reverses_id IS NOT NULL OR (cycles >= 0 AND minutes >= 0)",
            name=op.f("ck_usage_use_not_negative"),
        ),
        sa.CheckConstraint(
            "reverses_id IS NULL OR reason IS NOT NULL", name=op.f("ck_usage_reversed_for_a_reason")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_usage_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_usage_item_id")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_usage_job_id")),
        sa.ForeignKeyConstraint(["loan_line_id"], ["loan_line.id"], name=op.f("fk_usage_loan_line_id")),
        sa.ForeignKeyConstraint(["reverses_id"], ["usage.id"], name=op.f("fk_usage_reverses_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_usage")),
        sa.UniqueConstraint("client_id", name=op.f("uq_usage_client_id")),
        sa.UniqueConstraint("reverses_id", name=op.f("uq_usage_reverses_id")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("usage", schema=None) as batch_op:
        batch_op.create_index("ix_usage_item_used_on", ["item_id", "used_on"], unique=False)
        batch_op.create_index("ix_usage_loan_line", ["loan_line_id"], unique=False)
