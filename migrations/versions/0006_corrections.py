"""Corrections: where they are found, the ends of runs as links, and joined patient references.

Why: an entry can be set right without being overwritten, and every earlier answer still repeats.
The ends of runs that are recorded become links, written from the ledger as a rebuild writes them.
Back: only while nothing was corrected, ruled or joined; the ends of runs stay in their runs.

Not to be run while the version before it still serves: that one would end runs without a link.
"""

import json
from collections.abc import Iterator
from typing import Any, Final
from uuid import UUID

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)
OPEN: Final = sa.text("valid_to IS NULL AND superseded_no IS NULL AND NOT disputed")


def upgrade() -> None:
    correction = op.create_table(
        "correction",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("subject_id", KEY, nullable=False),
        sa.Column("of_no", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_correction"),
    )
    op.create_index(
        "ix_correction_site_id_subject_id",
        "correction",
        ["site_id", "subject_id", "recorded_no", "line"],
    )
    op.create_index("ix_correction_site_id_of_no", "correction", ["site_id", "of_no"])
    never_changes("correction", correction.columns.keys())

    restated = op.create_table(
        "restated",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("origin_no", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_restated"),
    )
    never_changes("restated", restated.columns.keys())

    run_end = op.create_table(
        "run_end",
        sa.Column("run_id", KEY, nullable=False),
        *_link("run_end"),
        sa.ForeignKeyConstraint(
            ["site_id", "run_id"], ["run.site_id", "run.id"], name="fk_run_end_site_id_run_id"
        ),
    )
    op.create_index(
        "ix_run_end_site_id_run_id", "run_end", ["site_id", "run_id", "recorded_no", "line"]
    )
    _one_open("one_end_of_a_run", "run_end", "run_id")
    never_changes("run_end", run_end.columns.keys(), but_once="superseded_no")
    rows = list(_ends())
    if rows:
        op.bulk_insert(run_end, rows)

    merge = op.create_table(
        "patient_merge",
        sa.Column("patient_id", KEY, nullable=False),
        sa.Column("into_id", KEY, nullable=False),
        *_link("patient_merge"),
        sa.ForeignKeyConstraint(
            ["site_id", "patient_id"],
            ["patient.site_id", "patient.id"],
            name="fk_patient_merge_site_id_patient_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "into_id"],
            ["patient.site_id", "patient.id"],
            name="fk_patient_merge_site_id_into_id",
        ),
    )
    op.create_index(
        "ix_patient_merge_site_id_patient_id",
        "patient_merge",
        ["site_id", "patient_id", "recorded_no", "line"],
    )
    op.create_index("ix_patient_merge_site_id_into_id", "patient_merge", ["site_id", "into_id"])
    _one_open("one_open_merge_of_a_patient", "patient_merge", "patient_id")
    never_changes("patient_merge", merge.columns.keys(), but_once="superseded_no")

    never_was = sa.text("reason = 'void'")
    op.create_index(
        "ix_circuit_phase_never_was",
        "circuit_phase",
        ["reason", "site_id", "circuit_id"],
        sqlite_where=never_was,
        postgresql_where=never_was,
    )


def _link(table: str) -> list[Any]:
    return [
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name=f"pk_{table}"),
    ]


def _one_open(name: str, table: str, column: str) -> None:
    op.create_index(
        name,
        table,
        ["site_id", column],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )


ENDING: Final = ("run-ended", "take-withdrawn", "came-back-unused", "circuit-discarded")


def _ends() -> Iterator[dict[str, object]]:
    """Yield the rows of runs that ended, as the projection writes them from the same entries."""
    connection = op.get_bind()
    event = sa.table(
        "event",
        sa.column("site_id", KEY),
        sa.column("number", sa.Integer()),
        sa.column("kind", sa.String()),
        sa.column("happened_at", MOMENT),
        sa.column("body", sa.String()),
    )
    run = sa.table(
        "run", sa.column("site_id", KEY), sa.column("id", KEY), sa.column("begun_at", MOMENT)
    )
    began: dict[tuple[UUID, UUID], Any] = {
        (_key(row.site_id), _key(row.id)): row.begun_at
        for row in connection.execute(sa.select(run))
    }
    told = (
        sa.select(event).where(event.c.kind.in_(ENDING)).order_by(event.c.site_id, event.c.number)
    )
    last: dict[object, dict[str, object]] = {}
    rows = []
    for row in connection.execute(told).all():
        for line, run_id in enumerate(_runs(row.kind, json.loads(row.body))):
            begun = began[_key(row.site_id), run_id]
            added: dict[str, object] = {
                "site_id": row.site_id,
                "run_id": run_id if connection.dialect.name == "postgresql" else run_id.bytes,
                "recorded_no": row.number,
                "line": line,
                "valid_from": max(row.happened_at, begun),
                "valid_to": None,
                "disputed": False,
                "superseded_no": None,
            }
            before = last.get((row.site_id, run_id))
            if before is not None:
                before["superseded_no"] = row.number
            last[row.site_id, run_id] = added
            rows.append(added)
    yield from rows


def _runs(kind: str, body: dict[str, Any]) -> list[UUID]:
    if kind == "run-ended":
        return [UUID(body["run"])]
    if kind == "circuit-discarded":
        return [UUID(each["run"]) for each in body.get("runs") or []]
    return [UUID(body["run"])] if body.get("run_ends") is True else []


def _key(value: UUID | bytes) -> UUID:
    return UUID(bytes=value) if isinstance(value, bytes) else value


def downgrade() -> None:
    connection = op.get_bind()
    for table in ("correction", "patient_merge"):
        acts = connection.scalar(sa.select(sa.func.count()).select_from(sa.table(table)))
        if acts:
            raise LosesRecords(
                f"This store holds {acts} recorded acts that set others right, and the version "
                "before would read the record without them. Keep it as it is."
            )
    op.drop_index("ix_circuit_phase_never_was", "circuit_phase")
    for name in ("patient_merge", "run_end", "restated", "correction"):
        op.drop_table(name)
