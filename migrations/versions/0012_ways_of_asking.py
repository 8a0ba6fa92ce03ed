"""Indexes for asking from any end.

Why: who asks what a person, a patient, a place or a day touches shall not wait longer because the
store has grown. Until now these were asked from the circuit's side only.
Back: any time; nothing is recorded in an index.

Number 0012; written 2026-11-28.
"""

from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

NEW = (
    ("ix_event_site_id_actor_id_kind", "event", ["site_id", "actor_id", "kind", "number"]),
    ("ix_circuit_site_id_begun_at", "circuit", ["site_id", "begun_at"]),
    (
        "ix_signature_site_id_person_id",
        "signature",
        ["site_id", "person_id", "recorded_no", "line"],
    ),
    ("ix_circuit_on_run_site_id_valid_from", "circuit_on_run", ["site_id", "valid_from"]),
    (
        "ix_circuit_on_run_site_id_valid_to",
        "circuit_on_run",
        ["site_id", "valid_to", "superseded_no"],
    ),
    ("ix_patient_site_id_kept_id", "patient", ["site_id", "kept_id"]),
    ("ix_patient_site_id_temporary", "patient", ["site_id", "temporary"]),
    (
        "ix_run_patient_site_id_patient_id",
        "run_patient",
        ["site_id", "patient_id", "recorded_no", "line"],
    ),
)
BY_PLACE = "ix_circuit_place_site_id_place_id"


def upgrade() -> None:
    for name, table, columns in NEW:
        op.create_index(name, table, columns)
    op.create_index("ix_kept_apart_text", "kept_apart", ["text"], postgresql_using="hash")
    op.drop_index(BY_PLACE, "circuit_place")
    op.create_index(BY_PLACE, "circuit_place", ["site_id", "place_id", "valid_from"])


def downgrade() -> None:
    op.drop_index(BY_PLACE, "circuit_place")
    op.create_index(BY_PLACE, "circuit_place", ["site_id", "place_id"])
    op.drop_index("ix_kept_apart_text", "kept_apart")
    for name, table, _ in reversed(NEW):
        op.drop_index(name, table)
