"""Upkeep that stands in an audit: inspections, certificates, repairs, recalls, reviews and their files."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

BIG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
NUMBER: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")
INSTANT = sa.Text().with_variant(postgresql.TIMESTAMP(timezone=True), "postgresql")
DAY = sa.Text().with_variant(sa.Date(), "postgresql")
FLAG = sa.Integer().with_variant(sa.Boolean(), "postgresql")

# Ledgers, and what besides the id makes an entry one of a kind.
APPEND_ONLY = {
    "breakout": "client_id = NEW.client_id",
    "calibration_point": (
        "calibration_id = NEW.calibration_id AND stage = NEW.stage AND position = NEW.position"
    ),
    "checkpoint": "checklist_id = NEW.checklist_id AND position = NEW.position",
    "file_of": "",
    "inspection": "client_id = NEW.client_id",
    "inspection_answer": "inspection_id = NEW.inspection_id AND position = NEW.position",
    "kept_file": "sha256 = NEW.sha256",
    "proof_test": "client_id = NEW.client_id",
    "repair": "client_id = NEW.client_id",
}

# Columns come by ALTER TABLE, never by a rebuilt table: nothing on record is copied or dropped.
COLUMNS = (
    ("hold", "recall_id", "BIG REFERENCES recall (id)"),
    ("hold", "inspection_id", "BIG REFERENCES inspection (id)"),
    ("hold", "repair_id", "BIG REFERENCES repair (id)"),
    ("hold", "proof_test_id", "BIG REFERENCES proof_test (id)"),
    ("hold", "calibration_id", "BIG REFERENCES calibration (id)"),
    ("item", "bulk_made_on", "DAY"),
    ("item", "first_out_on", "DAY"),
    ("joint", "turn_degrees", "NUMBER CHECK (turn_degrees > 0)"),
    ("model", "stroke_degrees", "NUMBER CHECK (stroke_degrees > 0)"),
    ("model", "advance_volume_written", "TEXT"),
    ("model", "advance_volume_cm3", "NUMBER CHECK (advance_volume_cm3 > 0)"),
    ("model", "return_volume_written", "TEXT"),
    ("model", "return_volume_cm3", "NUMBER CHECK (return_volume_cm3 > 0)"),
    ("model", "flow_written", "TEXT"),
    ("model", "flow_l_min", "NUMBER CHECK (flow_l_min > 0)"),
    ("model", "bulk_months", "BIG CHECK (bulk_months > 0)"),
    ("model", "storage_months", "BIG CHECK (storage_months > 0)"),
    ("upkeep_done", "inspection_id", "BIG REFERENCES inspection (id)"),
    ("upkeep_done", "proof_test_id", "BIG REFERENCES proof_test (id)"),
    ("upkeep_done", "calibration_id", "BIG REFERENCES calibration (id)"),
    ("upkeep_done", "withdraws_id", "BIG REFERENCES upkeep_done (id)"),
    ("upkeep_done", "reason", "TEXT CHECK (withdraws_id IS NULL OR reason IS NOT NULL)"),
    (
        "upkeep_task",
        "proved_by",
        (
            "TEXT NOT NULL DEFAULT 'note' "
            "CHECK (proved_by IN ('note', 'inspection', 'proof test', 'calibration'))"
        ),
    ),
    ("usage", "joint_id", "BIG REFERENCES joint (id)"),
)
TYPES = {
    "sqlite": {"BIG": "INTEGER", "NUMBER": "REAL", "DAY": "TEXT"},
    "postgresql": {"BIG": "BIGINT", "NUMBER": "DOUBLE PRECISION", "DAY": "DATE"},
}
CHECK_NAMES = {"reason": "withdrawn_for_a_reason", "proved_by": "proved_by_known"}


def upgrade() -> None:
    """Make the new tables and columns, fill in what is known already, and guard the new ledgers."""
    engine = op.get_bind().dialect.name
    _tables()
    for table, column, kind in COLUMNS:
        op.execute(f"ALTER TABLE {table} ADD COLUMN {column} {_spelled(engine, table, column, kind)}")
    op.create_index(
        "uq_upkeep_done_withdraws_id",
        "upkeep_done",
        ["withdraws_id"],
        unique=True,
        sqlite_where=sa.text("withdraws_id IS NOT NULL"),
        postgresql_where=sa.text("withdraws_id IS NOT NULL"),
    )
    _first_loans(engine)
    if engine == "postgresql":
        _postgres_guards()
    else:
        _sqlite_guards()


def _spelled(engine: str, table: str, column: str, kind: str) -> str:
    """The column in one engine's words, each constraint with its name."""
    for word, meant in TYPES[engine].items():
        kind = kind.replace(word, meant)
    check = CHECK_NAMES.get(column, column.removesuffix("_cm3").removesuffix("_l_min") + "_positive")
    kind = kind.replace(" CHECK", f" CONSTRAINT ck_{table}_{check} CHECK")
    return kind.replace(" REFERENCES", f" CONSTRAINT fk_{table}_{column} REFERENCES")


def _first_loans(engine: str) -> None:
    """When each item first went out, by the loans on record."""
    there = "(l.issued_at AT TIME ZONE s.time_zone)::date" if engine == "postgresql" else "date(l.issued_at)"
    op.execute(
        f"UPDATE item SET first_out_on = (SELECT min({there}) FROM loan_line n "
        f"JOIN loan l ON l.id = n.loan_id JOIN site s ON s.id = l.site_id WHERE n.item_id = item.id)"
    )


def _sqlite_guards() -> None:
    for name, same in APPEND_ONLY.items():
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER tr_{name}_no_{verb.lower()} BEFORE {verb} ON {name} "
                f"BEGIN SELECT RAISE(ABORT, '{name} is append-only'); END"
            )
        # INSERT OR REPLACE would delete the old row unasked when recursive triggers are off.
        when = f"id = NEW.id OR ({same})" if same else "id = NEW.id"
        op.execute(
            f"CREATE TRIGGER tr_{name}_no_replace BEFORE INSERT ON {name} "
            f"WHEN EXISTS (SELECT 1 FROM {name} WHERE {when}) "
            f"BEGIN SELECT RAISE(ABORT, '{name} is append-only'); END"
        )


def _postgres_guards() -> None:
    for name in APPEND_ONLY:
        op.execute(
            f"CREATE TRIGGER tr_{name}_no_change BEFORE UPDATE OR DELETE ON {name} "
            f"FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        )
        op.execute(
            f"CREATE TRIGGER tr_{name}_no_truncate BEFORE TRUNCATE ON {name} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
        )


def _tables() -> None:
    op.create_table(
        "checklist",
        sa.Column("id", BIG, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("version", BIG, nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("entered_at", INSTANT, nullable=False),
        sa.Column("entered_by_id", BIG, nullable=True),
        sa.CheckConstraint(
            "kind IN ('wrench', 'pump', 'hose', 'coupler', 'gauge', 'socket')",
            name=op.f("ck_checklist_kind_known"),
        ),
        sa.CheckConstraint("version > 0", name=op.f("ck_checklist_version_positive")),
        sa.ForeignKeyConstraint(["entered_by_id"], ["person.id"], name=op.f("fk_checklist_entered_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checklist")),
        sa.UniqueConstraint("kind", "version", name=op.f("uq_checklist_kind_version")),
        sqlite_strict=True,
    )
    op.create_table(
        "competence",
        sa.Column("id", BIG, nullable=False),
        sa.Column("person_id", BIG, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("task", sa.Text(), nullable=False),
        sa.Column("expires_on", DAY, nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("granted_at", INSTANT, nullable=False),
        sa.Column("granted_by_id", BIG, nullable=True),
        sa.Column("ended_at", INSTANT, nullable=True),
        sa.Column("end_reason", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "kind IN ('wrench', 'pump', 'hose', 'coupler', 'gauge', 'socket')",
            name=op.f("ck_competence_kind_known"),
        ),
        sa.CheckConstraint(
            "(ended_at IS NULL) = (end_reason IS NULL)", name=op.f("ck_competence_ended_for_a_reason")
        ),
        sa.ForeignKeyConstraint(["granted_by_id"], ["person.id"], name=op.f("fk_competence_granted_by_id")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_competence_person_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_competence")),
        sqlite_strict=True,
    )
    op.create_index(
        "uq_competence_current",
        "competence",
        ["person_id", "kind", "task"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )

    op.create_table(
        "kept_file",
        sa.Column("id", BIG, nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("kept_at", INSTANT, nullable=False),
        sa.Column("kept_by_id", BIG, nullable=True),
        sa.CheckConstraint(
            "media_type IN ('image/jpeg', 'image/png', 'application/pdf', 'application/xml', 'text/csv')",
            name=op.f("ck_kept_file_media_type_known"),
        ),
        sa.ForeignKeyConstraint(["kept_by_id"], ["person.id"], name=op.f("fk_kept_file_kept_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_file")),
        sa.UniqueConstraint("sha256", name=op.f("uq_kept_file_sha256")),
        sqlite_strict=True,
    )
    op.create_table(
        "recall",
        sa.Column("id", BIG, nullable=False),
        sa.Column("model_id", BIG, nullable=False),
        sa.Column("serial_from", sa.Text(), nullable=True),
        sa.Column("serial_to", sa.Text(), nullable=True),
        sa.Column("assembled_from", DAY, nullable=True),
        sa.Column("assembled_to", DAY, nullable=True),
        sa.Column("notice", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("opened_at", INSTANT, nullable=False),
        sa.Column("opened_by_id", BIG, nullable=True),
        sa.Column("ended_at", INSTANT, nullable=True),
        sa.Column("ended_by_id", BIG, nullable=True),
        sa.Column("end_reason", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "(ended_at IS NULL) = (end_reason IS NULL)", name=op.f("ck_recall_ended_for_a_reason")
        ),
        sa.CheckConstraint("assembled_from <= assembled_to", name=op.f("ck_recall_period_in_order")),
        sa.ForeignKeyConstraint(["ended_by_id"], ["person.id"], name=op.f("fk_recall_ended_by_id")),
        sa.ForeignKeyConstraint(["model_id"], ["model.id"], name=op.f("fk_recall_model_id")),
        sa.ForeignKeyConstraint(["opened_by_id"], ["person.id"], name=op.f("fk_recall_opened_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recall")),
        sqlite_strict=True,
    )
    op.create_index("ix_recall_model", "recall", ["model_id"], unique=False)

    op.create_table(
        "away",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("errand", sa.Text(), nullable=False),
        sa.Column("sent_to", sa.Text(), nullable=False),
        sa.Column("decision_rule", sa.Text(), nullable=True),
        sa.Column("tolerance_percent", NUMBER, nullable=True),
        sa.Column("paired_gauge_id", BIG, nullable=True),
        sa.Column("sent_at", INSTANT, nullable=False),
        sa.Column("sent_by_id", BIG, nullable=True),
        sa.Column("wanted_on", DAY, nullable=True),
        sa.Column("back_at", INSTANT, nullable=True),
        sa.Column("back_by_id", BIG, nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "decision_rule IN ('simple acceptance', 'guard band 0.83 U', 'guard band U')",
            name=op.f("ck_away_decision_rule_known"),
        ),
        sa.CheckConstraint(
            "errand <> 'calibration' OR (decision_rule IS NOT NULL AND tolerance_percent IS NOT NULL)",
            name=op.f("ck_away_rule_chosen_before"),
        ),
        sa.CheckConstraint("errand IN ('calibration', 'repair')", name=op.f("ck_away_errand_known")),
        sa.CheckConstraint("tolerance_percent > 0", name=op.f("ck_away_tolerance_positive")),
        sa.ForeignKeyConstraint(["back_by_id"], ["person.id"], name=op.f("fk_away_back_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_away_item_id")),
        sa.ForeignKeyConstraint(["paired_gauge_id"], ["item.id"], name=op.f("fk_away_paired_gauge_id")),
        sa.ForeignKeyConstraint(["sent_by_id"], ["person.id"], name=op.f("fk_away_sent_by_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_away")),
        sa.UniqueConstraint("client_id", name=op.f("uq_away_client_id")),
        sqlite_strict=True,
    )
    op.create_index(
        "uq_away_open",
        "away",
        ["item_id"],
        unique=True,
        sqlite_where=sa.text("back_at IS NULL"),
        postgresql_where=sa.text("back_at IS NULL"),
    )

    op.create_table(
        "checkpoint",
        sa.Column("id", BIG, nullable=False),
        sa.Column("checklist_id", BIG, nullable=False),
        sa.Column("position", BIG, nullable=False),
        sa.Column("wording", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["checklist_id"], ["checklist.id"], name=op.f("fk_checkpoint_checklist_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checkpoint")),
        sa.UniqueConstraint("checklist_id", "position", name=op.f("uq_checkpoint_checklist_id_position")),
        sqlite_strict=True,
    )
    op.create_table(
        "inspection",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("occasion", sa.Text(), nullable=False),
        sa.Column("task_id", BIG, nullable=True),
        sa.Column("checklist_version", BIG, nullable=False),
        sa.Column("inspected_on", DAY, nullable=False),
        sa.Column("result", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("cycles_at", BIG, nullable=False),
        sa.Column("minutes_at", BIG, nullable=False),
        sa.Column("by_id", BIG, nullable=True),
        sa.Column("by_name", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.Column("withdraws_id", BIG, nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "occasion IN ('before use', 'periodic', 'after event')", name=op.f("ck_inspection_occasion_known")
        ),
        sa.CheckConstraint("result IN ('fine', 'note', 'reject')", name=op.f("ck_inspection_result_known")),
        sa.CheckConstraint(
            "withdraws_id IS NULL OR reason IS NOT NULL", name=op.f("ck_inspection_withdrawn_for_a_reason")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_inspection_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_inspection_item_id")),
        sa.ForeignKeyConstraint(["task_id"], ["upkeep_task.id"], name=op.f("fk_inspection_task_id")),
        sa.ForeignKeyConstraint(["withdraws_id"], ["inspection.id"], name=op.f("fk_inspection_withdraws_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_inspection")),
        sa.UniqueConstraint("client_id", name=op.f("uq_inspection_client_id")),
        sa.UniqueConstraint("withdraws_id", name=op.f("uq_inspection_withdraws_id")),
        sqlite_strict=True,
    )
    op.create_index("ix_inspection_item", "inspection", ["item_id", "inspected_on"], unique=False)

    op.create_table(
        "interval_proposal",
        sa.Column("id", BIG, nullable=False),
        sa.Column("task_id", BIG, nullable=False),
        sa.Column("item_id", BIG, nullable=True),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("now_months", BIG, nullable=True),
        sa.Column("proposed_months", BIG, nullable=False),
        sa.Column("made_at", INSTANT, nullable=False),
        sa.Column("made_by_id", BIG, nullable=True),
        sa.Column("choice", sa.Text(), nullable=True),
        sa.Column("decided_at", INSTANT, nullable=True),
        sa.Column("decided_by_id", BIG, nullable=True),
        sa.Column("decision_reason", sa.Text(), nullable=True),
        sa.CheckConstraint("choice IN ('taken', 'declined')", name=op.f("ck_interval_proposal_choice_known")),
        sa.CheckConstraint(
            "(choice IS NULL) = (decided_at IS NULL)", name=op.f("ck_interval_proposal_decided_once")
        ),
        sa.CheckConstraint(
            "(choice IS NULL) = (decision_reason IS NULL)",
            name=op.f("ck_interval_proposal_decided_for_a_reason"),
        ),
        sa.CheckConstraint("proposed_months > 0", name=op.f("ck_interval_proposal_proposed_months_positive")),
        sa.ForeignKeyConstraint(
            ["decided_by_id"], ["person.id"], name=op.f("fk_interval_proposal_decided_by_id")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_interval_proposal_item_id")),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_interval_proposal_made_by_id")),
        sa.ForeignKeyConstraint(["task_id"], ["upkeep_task.id"], name=op.f("fk_interval_proposal_task_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_interval_proposal")),
        sqlite_strict=True,
    )
    op.create_index("ix_interval_proposal_task", "interval_proposal", ["task_id"], unique=False)

    op.create_table(
        "item_limit",
        sa.Column("id", BIG, nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("task_id", BIG, nullable=False),
        sa.Column("every_months", BIG, nullable=True),
        sa.Column("every_cycles", BIG, nullable=True),
        sa.Column("every_minutes", BIG, nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("set_at", INSTANT, nullable=False),
        sa.Column("set_by_id", BIG, nullable=True),
        sa.Column("ended_at", INSTANT, nullable=True),
        sa.Column("end_reason", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "(ended_at IS NULL) = (end_reason IS NULL)", name=op.f("ck_item_limit_ended_for_a_reason")
        ),
        sa.CheckConstraint(
            "coalesce(every_months, every_cycles, every_minutes) IS NOT NULL",
            name=op.f("ck_item_limit_has_a_clock"),
        ),
        sa.CheckConstraint("every_cycles > 0", name=op.f("ck_item_limit_every_cycles_positive")),
        sa.CheckConstraint("every_minutes > 0", name=op.f("ck_item_limit_every_minutes_positive")),
        sa.CheckConstraint("every_months > 0", name=op.f("ck_item_limit_every_months_positive")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_item_limit_item_id")),
        sa.ForeignKeyConstraint(["set_by_id"], ["person.id"], name=op.f("fk_item_limit_set_by_id")),
        sa.ForeignKeyConstraint(["task_id"], ["upkeep_task.id"], name=op.f("fk_item_limit_task_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_item_limit")),
        sqlite_strict=True,
    )
    op.create_index(
        "uq_item_limit_current",
        "item_limit",
        ["item_id", "task_id"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )

    op.create_table(
        "proof_test",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("task_id", BIG, nullable=True),
        sa.Column("tested_on", DAY, nullable=False),
        sa.Column("pressure_written", sa.Text(), nullable=False),
        sa.Column("pressure_mpa", NUMBER, nullable=False),
        sa.Column("required_mpa", NUMBER, nullable=False),
        sa.Column("held_seconds", BIG, nullable=False),
        sa.Column("tight", FLAG, nullable=False),
        sa.Column("passed", FLAG, nullable=False),
        sa.Column("gauge_id", BIG, nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("by_id", BIG, nullable=True),
        sa.Column("by_name", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.CheckConstraint("held_seconds >= 0", name=op.f("ck_proof_test_held_not_negative")),
        sa.CheckConstraint("pressure_mpa > 0", name=op.f("ck_proof_test_pressure_positive")),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_proof_test_by_id")),
        sa.ForeignKeyConstraint(["gauge_id"], ["item.id"], name=op.f("fk_proof_test_gauge_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_proof_test_item_id")),
        sa.ForeignKeyConstraint(["task_id"], ["upkeep_task.id"], name=op.f("fk_proof_test_task_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_proof_test")),
        sa.UniqueConstraint("client_id", name=op.f("uq_proof_test_client_id")),
        sqlite_strict=True,
    )
    op.create_index("ix_proof_test_item", "proof_test", ["item_id", "tested_on"], unique=False)

    op.create_table(
        "repair",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("work", sa.Text(), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("done_on", DAY, nullable=False),
        sa.Column("cycles_at", BIG, nullable=False),
        sa.Column("minutes_at", BIG, nullable=False),
        sa.Column("by_id", BIG, nullable=True),
        sa.Column("by_name", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.CheckConstraint(
            "work IN ('seal kit', 'gauge changed', 'relief set', 'coupling changed', 'drive parts', 'other')",
            name=op.f("ck_repair_work_known"),
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_repair_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_repair_item_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_repair")),
        sa.UniqueConstraint("client_id", name=op.f("uq_repair_client_id")),
        sqlite_strict=True,
    )
    op.create_index("ix_repair_item", "repair", ["item_id", "done_on"], unique=False)

    op.create_table(
        "task_after_repair",
        sa.Column("task_id", BIG, nullable=False),
        sa.Column("work", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "work IN ('seal kit', 'gauge changed', 'relief set', 'coupling changed', 'drive parts', 'other')",
            name=op.f("ck_task_after_repair_work_known"),
        ),
        sa.ForeignKeyConstraint(["task_id"], ["upkeep_task.id"], name=op.f("fk_task_after_repair_task_id")),
        sa.PrimaryKeyConstraint("task_id", "work", name=op.f("pk_task_after_repair")),
        sqlite_strict=True,
    )
    op.create_table(
        "breakout",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("joint_id", BIG, nullable=False),
        sa.Column("item_id", BIG, nullable=True),
        sa.Column("pressure_written", sa.Text(), nullable=True),
        sa.Column("pressure_mpa", NUMBER, nullable=True),
        sa.Column("torque_written", sa.Text(), nullable=False),
        sa.Column("torque_nm", NUMBER, nullable=False),
        sa.Column("measured_on", DAY, nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("by_id", BIG, nullable=True),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.Column("withdraws_id", BIG, nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.CheckConstraint("torque_nm > 0", name=op.f("ck_breakout_torque_positive")),
        sa.CheckConstraint(
            "withdraws_id IS NULL OR reason IS NOT NULL", name=op.f("ck_breakout_withdrawn_for_a_reason")
        ),
        sa.ForeignKeyConstraint(["by_id"], ["person.id"], name=op.f("fk_breakout_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_breakout_item_id")),
        sa.ForeignKeyConstraint(["joint_id"], ["joint.id"], name=op.f("fk_breakout_joint_id")),
        sa.ForeignKeyConstraint(["withdraws_id"], ["breakout.id"], name=op.f("fk_breakout_withdraws_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_breakout")),
        sa.UniqueConstraint("client_id", name=op.f("uq_breakout_client_id")),
        sa.UniqueConstraint("withdraws_id", name=op.f("uq_breakout_withdraws_id")),
        sqlite_strict=True,
    )
    op.create_index("ix_breakout_joint", "breakout", ["joint_id"], unique=False)

    op.create_table(
        "calibration",
        sa.Column("id", BIG, nullable=False),
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("task_id", BIG, nullable=False),
        sa.Column("away_id", BIG, nullable=True),
        sa.Column("certificate_no", sa.Text(), nullable=False),
        sa.Column("laboratory", sa.Text(), nullable=False),
        sa.Column("accreditation", sa.Text(), nullable=True),
        sa.Column("calibrated_on", DAY, nullable=False),
        sa.Column("reference", sa.Text(), nullable=False),
        sa.Column("traceability", sa.Text(), nullable=False),
        sa.Column("paired_gauge_id", BIG, nullable=True),
        sa.Column("decision_rule", sa.Text(), nullable=False),
        sa.Column("tolerance_percent", NUMBER, nullable=False),
        sa.Column("coverage_factor", NUMBER, nullable=False),
        sa.Column("as_found", sa.Text(), nullable=True),
        sa.Column("as_left", sa.Text(), nullable=True),
        sa.Column("cycles_at", BIG, nullable=False),
        sa.Column("minutes_at", BIG, nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("received_at", INSTANT, nullable=False),
        sa.Column("received_by_id", BIG, nullable=True),
        sa.Column("standing", sa.Text(), nullable=False),
        sa.Column("decided_at", INSTANT, nullable=True),
        sa.Column("decided_by_id", BIG, nullable=True),
        sa.Column("decided_by_name", sa.Text(), nullable=True),
        sa.Column("decision_note", sa.Text(), nullable=True),
        sa.Column("chart_id", BIG, nullable=True),
        sa.CheckConstraint(
            "(standing = 'received') = (decided_at IS NULL)", name=op.f("ck_calibration_decided_once")
        ),
        sa.CheckConstraint(
            "as_found IN ('pass', 'conditional pass', 'conditional fail', 'fail')",
            name=op.f("ck_calibration_as_found_known"),
        ),
        sa.CheckConstraint(
            "as_left IN ('pass', 'conditional pass', 'conditional fail', 'fail')",
            name=op.f("ck_calibration_as_left_known"),
        ),
        sa.CheckConstraint(
            "decision_rule IN ('simple acceptance', 'guard band 0.83 U', 'guard band U')",
            name=op.f("ck_calibration_decision_rule_known"),
        ),
        sa.CheckConstraint(
            "standing IN ('received', 'accepted', 'refused')", name=op.f("ck_calibration_standing_known")
        ),
        sa.CheckConstraint("coverage_factor > 0", name=op.f("ck_calibration_coverage_factor_positive")),
        sa.CheckConstraint("tolerance_percent > 0", name=op.f("ck_calibration_tolerance_positive")),
        sa.ForeignKeyConstraint(["away_id"], ["away.id"], name=op.f("fk_calibration_away_id")),
        sa.ForeignKeyConstraint(["chart_id"], ["chart.id"], name=op.f("fk_calibration_chart_id")),
        sa.ForeignKeyConstraint(["decided_by_id"], ["person.id"], name=op.f("fk_calibration_decided_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_calibration_item_id")),
        sa.ForeignKeyConstraint(
            ["paired_gauge_id"], ["item.id"], name=op.f("fk_calibration_paired_gauge_id")
        ),
        sa.ForeignKeyConstraint(
            ["received_by_id"], ["person.id"], name=op.f("fk_calibration_received_by_id")
        ),
        sa.ForeignKeyConstraint(["task_id"], ["upkeep_task.id"], name=op.f("fk_calibration_task_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calibration")),
        sa.UniqueConstraint("client_id", name=op.f("uq_calibration_client_id")),
        sa.UniqueConstraint(
            "item_id",
            "laboratory",
            "certificate_no",
            name=op.f("uq_calibration_item_id_laboratory_certificate_no"),
        ),
        sqlite_strict=True,
    )
    op.create_index("ix_calibration_item", "calibration", ["item_id", "calibrated_on"], unique=False)

    op.create_table(
        "inspection_answer",
        sa.Column("id", BIG, nullable=False),
        sa.Column("inspection_id", BIG, nullable=False),
        sa.Column("position", BIG, nullable=False),
        sa.Column("wording", sa.Text(), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "answer IN ('fine', 'note', 'reject')", name=op.f("ck_inspection_answer_answer_known")
        ),
        sa.ForeignKeyConstraint(
            ["inspection_id"], ["inspection.id"], name=op.f("fk_inspection_answer_inspection_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_inspection_answer")),
        sa.UniqueConstraint(
            "inspection_id", "position", name=op.f("uq_inspection_answer_inspection_id_position")
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "calibration_point",
        sa.Column("id", BIG, nullable=False),
        sa.Column("calibration_id", BIG, nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("position", BIG, nullable=False),
        sa.Column("at_written", sa.Text(), nullable=False),
        sa.Column("at_mpa", NUMBER, nullable=False),
        sa.Column("reference_si", NUMBER, nullable=False),
        sa.Column("found_written", sa.Text(), nullable=False),
        sa.Column("found_si", NUMBER, nullable=False),
        sa.Column("tolerance", NUMBER, nullable=False),
        sa.Column("expanded", NUMBER, nullable=True),
        sa.Column("result", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "result IN ('pass', 'conditional pass', 'conditional fail', 'fail')",
            name=op.f("ck_calibration_point_result_known"),
        ),
        sa.CheckConstraint("stage IN ('as found', 'as left')", name=op.f("ck_calibration_point_stage_known")),
        sa.CheckConstraint("expanded >= 0", name=op.f("ck_calibration_point_expanded_not_negative")),
        sa.CheckConstraint("tolerance > 0", name=op.f("ck_calibration_point_tolerance_positive")),
        sa.ForeignKeyConstraint(
            ["calibration_id"], ["calibration.id"], name=op.f("fk_calibration_point_calibration_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calibration_point")),
        sa.UniqueConstraint(
            "calibration_id",
            "stage",
            "position",
            name=op.f("uq_calibration_point_calibration_id_stage_position"),
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "file_of",
        sa.Column("id", BIG, nullable=False),
        sa.Column("file_id", BIG, nullable=False),
        sa.Column("caption", sa.Text(), nullable=True),
        sa.Column("position", BIG, nullable=True),
        sa.Column("inspection_id", BIG, nullable=True),
        sa.Column("calibration_id", BIG, nullable=True),
        sa.Column("repair_id", BIG, nullable=True),
        sa.Column("proof_test_id", BIG, nullable=True),
        sa.Column("loan_line_id", BIG, nullable=True),
        sa.CheckConstraint(
            "CASE WHEN inspection_id IS NULL THEN 0 ELSE 1 END + "
            "CASE WHEN calibration_id IS NULL THEN 0 ELSE 1 END + "
            "CASE WHEN repair_id IS NULL THEN 0 ELSE 1 END + "
            "CASE WHEN proof_test_id IS NULL THEN 0 ELSE 1 END + "
            "CASE WHEN loan_line_id IS NULL THEN 0 ELSE 1 END = 1",
            name=op.f("ck_file_of_of_one_thing"),
        ),
        sa.ForeignKeyConstraint(
            ["calibration_id"], ["calibration.id"], name=op.f("fk_file_of_calibration_id")
        ),
        sa.ForeignKeyConstraint(["file_id"], ["kept_file.id"], name=op.f("fk_file_of_file_id")),
        sa.ForeignKeyConstraint(["inspection_id"], ["inspection.id"], name=op.f("fk_file_of_inspection_id")),
        sa.ForeignKeyConstraint(["loan_line_id"], ["loan_line.id"], name=op.f("fk_file_of_loan_line_id")),
        sa.ForeignKeyConstraint(["proof_test_id"], ["proof_test.id"], name=op.f("fk_file_of_proof_test_id")),
        sa.ForeignKeyConstraint(["repair_id"], ["repair.id"], name=op.f("fk_file_of_repair_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_file_of")),
        sqlite_strict=True,
    )
    op.create_index("ix_file_of_calibration", "file_of", ["calibration_id"], unique=False)
    op.create_index("ix_file_of_inspection", "file_of", ["inspection_id"], unique=False)

    op.create_table(
        "impact_review",
        sa.Column("id", BIG, nullable=False),
        sa.Column("item_id", BIG, nullable=False),
        sa.Column("site_id", BIG, nullable=False),
        sa.Column("calibration_id", BIG, nullable=True),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("since_on", DAY, nullable=True),
        sa.Column("until_on", DAY, nullable=False),
        sa.Column("opened_at", INSTANT, nullable=False),
        sa.Column("opened_by_id", BIG, nullable=True),
        sa.Column("due_on", DAY, nullable=False),
        sa.Column("closed_at", INSTANT, nullable=True),
        sa.Column("closed_by_id", BIG, nullable=True),
        sa.Column("summary", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "(closed_at IS NULL) = (summary IS NULL)", name=op.f("ck_impact_review_closed_with_a_summary")
        ),
        sa.CheckConstraint(
            "since_on IS NULL OR since_on <= until_on", name=op.f("ck_impact_review_period_in_order")
        ),
        sa.ForeignKeyConstraint(
            ["calibration_id"], ["calibration.id"], name=op.f("fk_impact_review_calibration_id")
        ),
        sa.ForeignKeyConstraint(["closed_by_id"], ["person.id"], name=op.f("fk_impact_review_closed_by_id")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_impact_review_item_id")),
        sa.ForeignKeyConstraint(["opened_by_id"], ["person.id"], name=op.f("fk_impact_review_opened_by_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.id"], name=op.f("fk_impact_review_site_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_impact_review")),
        sa.UniqueConstraint("calibration_id", name=op.f("uq_impact_review_calibration_id")),
        sqlite_strict=True,
    )
    op.create_index("ix_impact_review_item", "impact_review", ["item_id"], unique=False)
    op.create_index(
        "ix_impact_review_open",
        "impact_review",
        ["site_id", "due_on"],
        unique=False,
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )

    op.create_table(
        "impact_line",
        sa.Column("id", BIG, nullable=False),
        sa.Column("review_id", BIG, nullable=False),
        sa.Column("loan_line_id", BIG, nullable=True),
        sa.Column("job_id", BIG, nullable=True),
        sa.Column("joint_id", BIG, nullable=True),
        sa.Column("first_on", DAY, nullable=False),
        sa.Column("last_on", DAY, nullable=False),
        sa.Column("cycles", BIG, nullable=False),
        sa.Column("pressure_mpa", NUMBER, nullable=True),
        sa.Column("error_percent", NUMBER, nullable=True),
        sa.Column("ruling", sa.Text(), nullable=True),
        sa.Column("decided_at", INSTANT, nullable=True),
        sa.Column("decided_by_id", BIG, nullable=True),
        sa.Column("decided_by_name", sa.Text(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.CheckConstraint(
            "ruling IN ('accept', 're-tighten', 'other')", name=op.f("ck_impact_line_ruling_known")
        ),
        sa.CheckConstraint(
            "(ruling IS NULL) = (decided_at IS NULL)", name=op.f("ck_impact_line_decided_once")
        ),
        sa.CheckConstraint(
            "(ruling IS NULL) = (reason IS NULL)", name=op.f("ck_impact_line_decided_for_a_reason")
        ),
        sa.ForeignKeyConstraint(["decided_by_id"], ["person.id"], name=op.f("fk_impact_line_decided_by_id")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_impact_line_job_id")),
        sa.ForeignKeyConstraint(["joint_id"], ["joint.id"], name=op.f("fk_impact_line_joint_id")),
        sa.ForeignKeyConstraint(["loan_line_id"], ["loan_line.id"], name=op.f("fk_impact_line_loan_line_id")),
        sa.ForeignKeyConstraint(["review_id"], ["impact_review.id"], name=op.f("fk_impact_line_review_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_impact_line")),
        sqlite_strict=True,
    )
    op.create_index("ix_impact_line_review", "impact_line", ["review_id"], unique=False)
