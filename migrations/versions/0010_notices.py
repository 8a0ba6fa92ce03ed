"""Notices as things with a life: letters, scopes, answers, tasks, replies, and work days.

Why: a maker's letter has to be answered in time, by everybody it reaches, and what was answered
when, and what was done about it, has to be shown years later.
Back: only while no notice was recorded and no work days were set.

Safe while the version before still serves: it adds tables and touches none.

Number 0010, after 0008; written 2026-11-28.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)
OPEN: Final = sa.text("valid_to IS NULL AND superseded_no IS NULL AND NOT disputed")

TABLES: Final = (
    "work_days",
    "notice",
    "notice_state",
    "notice_letter",
    "notice_file",
    "notice_scope",
    "notice_answer",
    "notice_answer_row",
    "notice_answer_given",
    "notice_look",
    "notice_reply",
    "notice_task",
    "notice_task_state",
)


def upgrade() -> None:
    _notices()
    _answers()
    _tasks()


def _notices() -> None:
    work_days = op.create_table(
        "work_days",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("days_off", sa.String(), nullable=False),
        sa.Column("holidays", sa.String(), nullable=False),
        sa.Column("set_at", MOMENT, nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "version", name="pk_work_days"),
    )
    never_changes("work_days", work_days.columns.keys())

    notice = op.create_table(
        "notice",
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("title_id", KEY, nullable=False),
        sa.Column("received_at", MOMENT, nullable=False),
        sa.Column("received_by", KEY, nullable=True),
        sa.Column("opened_no", sa.Integer(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.UniqueConstraint("site_id", "number", name="uq_notice_site_id_number"),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_notice"),
    )
    never_changes("notice", notice.columns.keys())

    notice_state = op.create_table(
        "notice_state",
        sa.Column("notice_id", KEY, nullable=False),
        sa.Column("ended", sa.String(), nullable=False),
        sa.Column("words_id", KEY, nullable=True),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("due", sa.String(), nullable=False),
        sa.Column("acted_on", sa.Date(), nullable=True),
        *_link(),
        sa.ForeignKeyConstraint(
            ["site_id", "notice_id"],
            ["notice.site_id", "notice.id"],
            name="fk_notice_state_site_id_notice_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_notice_state"),
    )
    op.create_index(
        "ix_notice_state_site_id_ended",
        "notice_state",
        ["site_id", "ended", "superseded_no", "valid_to"],
    )
    op.create_index(
        "ix_notice_state_site_id_notice_id",
        "notice_state",
        ["site_id", "notice_id", "recorded_no", "line"],
    )
    op.create_index(
        "one_open_state_of_a_notice",
        "notice_state",
        ["site_id", "notice_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("notice_state", notice_state.columns.keys(), but_once="superseded_no")

    notice_letter = op.create_table(
        "notice_letter",
        sa.Column("notice_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.Column("sender_kind", sa.String(), nullable=False),
        sa.Column("sender_id", KEY, nullable=True),
        sa.Column("reference", sa.String(), nullable=False),
        sa.Column("stated_class", sa.String(), nullable=False),
        sa.Column("dated_on", sa.Date(), nullable=True),
        sa.Column("received_at", MOMENT, nullable=False),
        sa.Column("received_by", KEY, nullable=True),
        sa.Column("text_id", KEY, nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "notice_id"],
            ["notice.site_id", "notice.id"],
            name="fk_notice_letter_site_id_notice_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_notice_letter"),
    )
    op.create_index(
        "ix_notice_letter_site_id_notice_id",
        "notice_letter",
        ["site_id", "notice_id", "recorded_no"],
    )
    never_changes("notice_letter", notice_letter.columns.keys())

    notice_file = op.create_table(
        "notice_file",
        sa.Column("letter_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("name_id", KEY, nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "letter_id"],
            ["notice_letter.site_id", "notice_letter.id"],
            name="fk_notice_file_site_id_letter_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_notice_file"),
    )
    op.create_index(
        "ix_notice_file_site_id_letter_id", "notice_file", ["site_id", "letter_id", "recorded_no"]
    )
    never_changes("notice_file", notice_file.columns.keys(), but_once="superseded_no")

    notice_scope = op.create_table(
        "notice_scope",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("notice_id", KEY, nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("source_id", KEY, nullable=True),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "notice_id"],
            ["notice.site_id", "notice.id"],
            name="fk_notice_scope_site_id_notice_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "notice_id", "version", name="pk_notice_scope"),
    )
    never_changes("notice_scope", notice_scope.columns.keys())


def _answers() -> None:
    notice_answer = op.create_table(
        "notice_answer",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("notice_id", KEY, nullable=False),
        sa.Column("scope_version", sa.Integer(), nullable=False),
        sa.Column("cut_no", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("counts", sa.String(), nullable=False),
        sa.Column("coverage", sa.String(), nullable=False),
        sa.Column("changed", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "notice_id"],
            ["notice.site_id", "notice.id"],
            name="fk_notice_answer_site_id_notice_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", name="pk_notice_answer"),
    )
    op.create_index(
        "ix_notice_answer_site_id_notice_id",
        "notice_answer",
        ["site_id", "notice_id", "recorded_no"],
    )
    never_changes("notice_answer", notice_answer.columns.keys())

    notice_answer_row = op.create_table(
        "notice_answer_row",
        sa.Column("notice_id", KEY, nullable=False),
        sa.Column("row_key", sa.String(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        *_link(),
        sa.ForeignKeyConstraint(
            ["site_id", "notice_id"],
            ["notice.site_id", "notice.id"],
            name="fk_notice_answer_row_site_id_notice_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_notice_answer_row"),
    )
    op.create_index(
        "ix_notice_answer_row_site_id_notice_id",
        "notice_answer_row",
        ["site_id", "notice_id", "recorded_no", "line"],
    )
    never_changes("notice_answer_row", notice_answer_row.columns.keys(), but_once="superseded_no")

    notice_answer_given = op.create_table(
        "notice_answer_given",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("notice_id", KEY, nullable=False),
        sa.Column("asked_no", sa.Integer(), nullable=False),
        sa.Column("to_id", KEY, nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "notice_id"],
            ["notice.site_id", "notice.id"],
            name="fk_notice_answer_given_site_id_notice_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", name="pk_notice_answer_given"),
    )
    op.create_index(
        "ix_notice_answer_given_site_id_notice_id",
        "notice_answer_given",
        ["site_id", "notice_id", "recorded_no"],
    )
    never_changes("notice_answer_given", notice_answer_given.columns.keys())

    notice_look = op.create_table(
        "notice_look",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("notice_id", KEY, nullable=False),
        sa.Column("asked_no", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "notice_id"],
            ["notice.site_id", "notice.id"],
            name="fk_notice_look_site_id_notice_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", name="pk_notice_look"),
    )
    op.create_index(
        "ix_notice_look_site_id_notice_id", "notice_look", ["site_id", "notice_id", "recorded_no"]
    )
    never_changes("notice_look", notice_look.columns.keys())

    notice_reply = op.create_table(
        "notice_reply",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("notice_id", KEY, nullable=False),
        sa.Column("asked_no", sa.Integer(), nullable=False),
        sa.Column("cut_no", sa.Integer(), nullable=False),
        sa.Column("lines", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "notice_id"],
            ["notice.site_id", "notice.id"],
            name="fk_notice_reply_site_id_notice_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", name="pk_notice_reply"),
    )
    op.create_index(
        "ix_notice_reply_site_id_notice_id", "notice_reply", ["site_id", "notice_id", "recorded_no"]
    )
    never_changes("notice_reply", notice_reply.columns.keys())


def _tasks() -> None:
    notice_task = op.create_table(
        "notice_task",
        sa.Column("notice_id", KEY, nullable=False),
        sa.Column("row_key", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "notice_id"],
            ["notice.site_id", "notice.id"],
            name="fk_notice_task_site_id_notice_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_notice_task"),
    )
    op.create_index(
        "ix_notice_task_site_id_notice_id", "notice_task", ["site_id", "notice_id", "recorded_no"]
    )
    op.create_index("ix_notice_task_site_id_row_key", "notice_task", ["site_id", "row_key"])
    never_changes("notice_task", notice_task.columns.keys())

    notice_task_state = op.create_table(
        "notice_task_state",
        sa.Column("task_id", KEY, nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("assignee_id", KEY, nullable=True),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("ending", sa.String(), nullable=False),
        sa.Column("witness_id", KEY, nullable=True),
        sa.Column("words_id", KEY, nullable=True),
        sa.Column("by_id", KEY, nullable=True),
        sa.Column("in_answer", sa.Boolean(), nullable=False),
        *_link(),
        sa.ForeignKeyConstraint(
            ["site_id", "task_id"],
            ["notice_task.site_id", "notice_task.id"],
            name="fk_notice_task_state_site_id_task_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_notice_task_state"),
    )
    op.create_index(
        "ix_notice_task_state_site_id_state",
        "notice_task_state",
        ["site_id", "state", "superseded_no"],
    )
    op.create_index(
        "ix_notice_task_state_site_id_task_id",
        "notice_task_state",
        ["site_id", "task_id", "recorded_no", "line"],
    )
    op.create_index(
        "one_open_state_of_a_task",
        "notice_task_state",
        ["site_id", "task_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("notice_task_state", notice_task_state.columns.keys(), but_once="superseded_no")


def _link() -> list[sa.Column[object]]:
    return [
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
    ]


def downgrade() -> None:
    connection = op.get_bind()
    if any(
        connection.scalar(sa.select(sa.func.count()).select_from(sa.table(name)))
        for name in ("notice", "work_days")
    ):
        acts = connection.scalar(sa.text("SELECT count(*) FROM event"))
        raise LosesRecords(
            f"This store holds {acts} recorded acts, notices or work days among them; without "
            "these tables they would be lost. Keep the store as it is."
        )
    for name in reversed(TABLES):
        op.drop_table(name)
