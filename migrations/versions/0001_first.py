"""The first tables: the ledger, what follows from it, and what is kept apart.

Why: a store of its own, on SQLite or PostgreSQL, in which every act stays as it was recorded.
Back: only while nothing is recorded; then all tables go. A store that holds acts is kept as it is.

Types and statements are written out: this step does the same for ever, whatever the tables of a
later version look like.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

from traceability.storage.append_only import never_changes
from traceability.storage.migrate import LosesRecords

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

KEY: Final = sa.LargeBinary(16).with_variant(sa.Uuid(), "postgresql")
MOMENT: Final = sa.DateTime(timezone=True)
OPEN: Final = sa.text("valid_to IS NULL AND superseded_no IS NULL AND NOT disputed")

TABLES: Final = (
    "circuit",
    "credential",
    "device",
    "enrol_code",
    "event",
    "hold",
    "kept_apart",
    "ledger_head",
    "patient",
    "person",
    "pin_failure",
    "place",
    "policy",
    "product",
    "request",
    "run",
    "series",
    "sheet",
    "sign_in",
    "site",
    "circuit_on_run",
    "circuit_phase",
    "circuit_place",
    "lot",
    "packaging",
    "part",
    "prime",
    "print_order",
    "run_patient",
    "signature",
    "trolley_act",
)
"""In the order in which they are made: what is pointed at comes first."""


def upgrade() -> None:
    op.create_table(
        "circuit",
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("origin", sa.String(), nullable=False),
        sa.Column("circuit_type", sa.String(), nullable=False),
        sa.Column("sheet_version", sa.Integer(), nullable=False),
        sa.Column("primer_id", KEY, nullable=True),
        sa.Column("helper_id", KEY, nullable=True),
        sa.Column("begun_at", MOMENT, nullable=False),
        sa.Column("begun_no", sa.Integer(), nullable=False),
        sa.Column("contents", sa.String(), nullable=False),
        sa.Column("prime_ended_no", sa.Integer(), nullable=True),
        sa.Column("kept_id", KEY, nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_circuit"),
        sa.UniqueConstraint("site_id", "number", name="uq_circuit_site_id_number"),
    )
    op.create_index("ix_circuit_site_id_begun_no", "circuit", ["site_id", "begun_no"])
    op.create_index("ix_circuit_site_id_contents", "circuit", ["site_id", "contents", "begun_no"])
    op.create_index(
        "ix_circuit_site_id_prime_ended_no", "circuit", ["site_id", "prime_ended_no", "begun_no"]
    )

    op.create_table(
        "credential",
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("pin_hash", sa.String(), nullable=False),
        sa.Column("one_time", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("person_id", name="pk_credential"),
    )

    op.create_table(
        "device",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("owner", sa.String(), nullable=False),
        sa.Column("enrolled", sa.Boolean(), nullable=False),
        sa.Column("revoked", sa.Boolean(), nullable=False),
        sa.Column("token_digest", sa.String(), nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_device"),
    )

    op.create_table(
        "enrol_code",
        sa.Column("code_digest", sa.String(), nullable=False),
        sa.Column("device_id", KEY, nullable=False),
        sa.Column("expires_at", MOMENT, nullable=True),
        sa.Column("used_at", MOMENT, nullable=True),
        sa.PrimaryKeyConstraint("code_digest", name="pk_enrol_code"),
    )

    event = op.create_table(
        "event",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("device_id", KEY, nullable=False),
        sa.Column("actor_id", KEY, nullable=True),
        sa.Column("request_id", KEY, nullable=False),
        sa.Column("happened_at", MOMENT, nullable=False),
        sa.Column("recorded_at", MOMENT, nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("previous_hash", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "number", name="pk_event"),
    )
    op.create_index("ix_event_site_id_recorded_at", "event", ["site_id", "recorded_at"])
    never_changes("event", event.columns.keys())

    hold = op.create_table(
        "hold",
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("subject_id", KEY, nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("notice", sa.String(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_hold"),
    )
    op.create_index(
        "ix_hold_site_id_subject_id", "hold", ["site_id", "subject_id", "superseded_no", "valid_to"]
    )
    never_changes("hold", hold.columns.keys(), but_once="superseded_no")

    op.create_table(
        "kept_apart",
        sa.Column("id", KEY, nullable=False),
        sa.Column("text", sa.String(), nullable=True),
        sa.Column("key", sa.LargeBinary(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_kept_apart"),
    )

    op.create_table(
        "ledger_head",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.Column("recorded_at", MOMENT, nullable=True),
        sa.PrimaryKeyConstraint("site_id", name="pk_ledger_head"),
    )

    op.create_table(
        "patient",
        sa.Column("kept_id", KEY, nullable=True),
        sa.Column("temporary", sa.String(), nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_patient"),
    )

    op.create_table(
        "person",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("roles", sa.String(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("badge_digest", sa.String(), nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_person"),
    )
    op.create_index(
        "one_person_a_badge",
        "person",
        ["badge_digest"],
        unique=True,
        sqlite_where=sa.text("badge_digest IS NOT NULL"),
        postgresql_where=sa.text("badge_digest IS NOT NULL"),
    )

    op.create_table(
        "pin_failure",
        sa.Column("badge_digest", sa.String(), nullable=False),
        sa.Column("device_id", KEY, nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("last_at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("badge_digest", "device_id", name="pk_pin_failure"),
    )

    op.create_table(
        "place",
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("stands_for", sa.String(), nullable=True),
        sa.Column("sort", sa.Integer(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_place"),
    )

    op.create_table(
        "policy",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("set_at", MOMENT, nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "version", name="pk_policy"),
    )

    op.create_table(
        "product",
        sa.Column("standard", sa.String(), nullable=False),
        sa.Column("identifier", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("maker", sa.String(), nullable=False),
        sa.Column("item_number", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("substance", sa.String(), nullable=False),
        sa.Column("volume_ml", sa.Integer(), nullable=True),
        sa.Column("circuit_type", sa.String(), nullable=False),
        sa.Column("counted", sa.Boolean(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_product"),
    )
    op.create_index("ix_product_site_id_kind", "product", ["site_id", "kind"])

    op.create_table(
        "request",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("device_id", KEY, nullable=False),
        sa.Column("request_id", KEY, nullable=False),
        sa.Column("actor_id", KEY, nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("first_no", sa.Integer(), nullable=False),
        sa.Column("last_no", sa.Integer(), nullable=False),
        sa.Column("answer", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "device_id", "request_id", name="pk_request"),
    )

    op.create_table(
        "run",
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("begun_at", MOMENT, nullable=False),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.Column("begun_no", sa.Integer(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_run"),
        sa.UniqueConstraint("site_id", "number", name="uq_run_site_id_number"),
    )

    op.create_table(
        "series",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("letter", sa.String(), nullable=False),
        sa.Column("last", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "letter", name="pk_series"),
    )

    op.create_table(
        "sheet",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("circuit_type", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "circuit_type", "version", name="pk_sheet"),
    )

    op.create_table(
        "sign_in",
        sa.Column("token_digest", sa.String(), nullable=False),
        sa.Column("device_id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("started_at", MOMENT, nullable=False),
        sa.Column("seen_at", MOMENT, nullable=False),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.PrimaryKeyConstraint("token_digest", name="pk_sign_in"),
    )

    op.create_table(
        "site",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("ring", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("practice", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", name="pk_site"),
    )

    circuit_on_run = op.create_table(
        "circuit_on_run",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("run_id", KEY, nullable=False),
        sa.Column("flow_from", MOMENT, nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_circuit_on_run_site_id_circuit_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "run_id"],
            ["run.site_id", "run.id"],
            name="fk_circuit_on_run_site_id_run_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_circuit_on_run"),
    )
    op.create_index(
        "ix_circuit_on_run_site_id_circuit_id",
        "circuit_on_run",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    op.create_index(
        "ix_circuit_on_run_site_id_run_id",
        "circuit_on_run",
        ["site_id", "run_id", "recorded_no", "line"],
    )
    op.create_index(
        "one_open_run_of_a_circuit",
        "circuit_on_run",
        ["site_id", "circuit_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("circuit_on_run", circuit_on_run.columns.keys(), but_once="superseded_no")

    circuit_phase = op.create_table(
        "circuit_phase",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("phase", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_circuit_phase_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_circuit_phase"),
    )
    op.create_index(
        "ix_circuit_phase_site_id_circuit_id",
        "circuit_phase",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    op.create_index(
        "ix_circuit_phase_site_id_phase",
        "circuit_phase",
        ["site_id", "phase", "superseded_no", "valid_to"],
    )
    op.create_index(
        "one_open_phase",
        "circuit_phase",
        ["site_id", "circuit_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("circuit_phase", circuit_phase.columns.keys(), but_once="superseded_no")

    circuit_place = op.create_table(
        "circuit_place",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("place_id", KEY, nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_circuit_place_site_id_circuit_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "place_id"],
            ["place.site_id", "place.id"],
            name="fk_circuit_place_site_id_place_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_circuit_place"),
    )
    op.create_index(
        "ix_circuit_place_site_id_circuit_id",
        "circuit_place",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    op.create_index("ix_circuit_place_site_id_place_id", "circuit_place", ["site_id", "place_id"])
    op.create_index(
        "one_open_place",
        "circuit_place",
        ["site_id", "circuit_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("circuit_place", circuit_place.columns.keys(), but_once="superseded_no")

    op.create_table(
        "lot",
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("loose_key", sa.String(), nullable=False),
        sa.Column("expiry", sa.Date(), nullable=True),
        sa.Column("first_no", sa.Integer(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "product_id"],
            ["product.site_id", "product.id"],
            name="fk_lot_site_id_product_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "id", name="pk_lot"),
    )
    op.create_index("ix_lot_site_id_loose_key", "lot", ["site_id", "loose_key"])
    op.create_index("ix_lot_site_id_product_id_text", "lot", ["site_id", "product_id", "text"])
    op.create_index("ix_lot_site_id_text", "lot", ["site_id", "text"])

    op.create_table(
        "packaging",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("standard", sa.String(), nullable=False),
        sa.Column("identifier", sa.String(), nullable=False),
        sa.Column("product_id", KEY, nullable=False),
        sa.Column("units", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "product_id"],
            ["product.site_id", "product.id"],
            name="fk_packaging_site_id_product_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "standard", "identifier", name="pk_packaging"),
    )

    part = op.create_table(
        "part",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("part_id", KEY, nullable=False),
        sa.Column("slot", sa.String(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("known", sa.String(), nullable=False),
        sa.Column("product_id", KEY, nullable=True),
        sa.Column("lot_id", KEY, nullable=True),
        sa.Column("serial", sa.String(), nullable=True),
        sa.Column("unit_id", KEY, nullable=True),
        sa.Column("expiry", sa.String(), nullable=True),
        sa.Column("volume_ml", sa.Integer(), nullable=True),
        sa.Column("leaves", sa.Boolean(), nullable=False),
        sa.Column("stays", sa.Boolean(), nullable=False),
        sa.Column("pack_part_id", KEY, nullable=True),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_part_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_part"),
    )
    op.create_index(
        "ix_part_disputed",
        "part",
        ["kind"],
        sqlite_where=sa.text("disputed"),
        postgresql_where=sa.text("disputed"),
    )
    op.create_index(
        "ix_part_gap",
        "part",
        ["kind", "product_id", "superseded_no", "circuit_id"],
        sqlite_where=sa.text("lot_id IS NULL AND state <> 'not-fitted'"),
        postgresql_where=sa.text("lot_id IS NULL AND state <> 'not-fitted'"),
    )
    op.create_index(
        "ix_part_lot",
        "part",
        ["lot_id", "circuit_id", "recorded_no", "superseded_no"],
        sqlite_where=sa.text("lot_id IS NOT NULL"),
        postgresql_where=sa.text("lot_id IS NOT NULL"),
    )
    op.create_index(
        "ix_part_site_id_circuit_id", "part", ["site_id", "circuit_id", "recorded_no", "line"]
    )
    op.create_index("ix_part_unit", "part", ["unit_id"])
    op.create_index(
        "one_open_part_in_a_place",
        "part",
        ["site_id", "circuit_id", "slot", "ordinal"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    op.create_index(
        "one_open_use_of_a_unit",
        "part",
        ["site_id", "unit_id"],
        unique=True,
        sqlite_where=sa.text(
            "valid_to IS NULL AND superseded_no IS NULL AND NOT disputed AND unit_id IS NOT NULL"
        ),
        postgresql_where=sa.text(
            "valid_to IS NULL AND superseded_no IS NULL AND NOT disputed AND unit_id IS NOT NULL"
        ),
    )
    never_changes("part", part.columns.keys(), but_once="superseded_no")

    prime = op.create_table(
        "prime",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("use_by", MOMENT, nullable=False),
        sa.Column("decides", sa.String(), nullable=False),
        sa.Column("comes_next", sa.String(), nullable=False),
        sa.Column("fill_ml", sa.Integer(), nullable=False),
        sa.Column("co2_ml_min", sa.Integer(), nullable=True),
        sa.Column("policy_version", sa.Integer(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_prime_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_prime"),
    )
    op.create_index(
        "ix_prime_site_id_circuit_id", "prime", ["site_id", "circuit_id", "recorded_no", "line"]
    )
    op.create_index(
        "one_open_prime",
        "prime",
        ["site_id", "circuit_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("prime", prime.columns.keys(), but_once="superseded_no")

    op.create_table(
        "print_order",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("copy", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("ordered_at", MOMENT, nullable=False),
        sa.Column("recorded_no", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_print_order_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "circuit_id", "copy", name="pk_print_order"),
    )

    run_patient = op.create_table(
        "run_patient",
        sa.Column("run_id", KEY, nullable=False),
        sa.Column("patient_id", KEY, nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "patient_id"],
            ["patient.site_id", "patient.id"],
            name="fk_run_patient_site_id_patient_id",
        ),
        sa.ForeignKeyConstraint(
            ["site_id", "run_id"], ["run.site_id", "run.id"], name="fk_run_patient_site_id_run_id"
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_run_patient"),
    )
    op.create_index(
        "ix_run_patient_site_id_run_id", "run_patient", ["site_id", "run_id", "recorded_no", "line"]
    )
    op.create_index(
        "one_open_patient_of_a_run",
        "run_patient",
        ["site_id", "run_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("run_patient", run_patient.columns.keys(), but_once="superseded_no")

    signature = op.create_table(
        "signature",
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("part", sa.String(), nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("meaning", sa.String(), nullable=False),
        sa.Column("content_digest", sa.String(), nullable=False),
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("line", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("valid_from", MOMENT, nullable=False),
        sa.Column("valid_to", MOMENT, nullable=True),
        sa.Column("disputed", sa.Boolean(), nullable=False),
        sa.Column("superseded_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_signature_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", "line", name="pk_signature"),
    )
    op.create_index(
        "ix_signature_site_id_circuit_id",
        "signature",
        ["site_id", "circuit_id", "recorded_no", "line"],
    )
    op.create_index(
        "one_signature_a_part",
        "signature",
        ["site_id", "circuit_id", "part"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    op.create_index(
        "two_different_people",
        "signature",
        ["site_id", "circuit_id", "person_id"],
        unique=True,
        sqlite_where=OPEN,
        postgresql_where=OPEN,
    )
    never_changes("signature", signature.columns.keys(), but_once="superseded_no")

    op.create_table(
        "trolley_act",
        sa.Column("site_id", KEY, nullable=False),
        sa.Column("recorded_no", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("circuit_id", KEY, nullable=False),
        sa.Column("device_id", KEY, nullable=False),
        sa.Column("request_id", KEY, nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("verdict", sa.String(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("facts", sa.String(), nullable=False),
        sa.Column("scan", sa.String(), nullable=False),
        sa.Column("undone_no", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["site_id", "circuit_id"],
            ["circuit.site_id", "circuit.id"],
            name="fk_trolley_act_site_id_circuit_id",
        ),
        sa.PrimaryKeyConstraint("site_id", "recorded_no", name="pk_trolley_act"),
    )
    op.create_index(
        "ix_trolley_act_site_id_circuit_id",
        "trolley_act",
        ["site_id", "circuit_id", "device_id", "recorded_no"],
    )
    # ### end Alembic commands ###


def downgrade() -> None:
    connection = op.get_bind()
    acts = connection.scalar(sa.text("SELECT count(*) FROM event"))
    if acts:
        raise LosesRecords(
            f"This store holds {acts} recorded acts, and without its tables they would be lost. "
            "Keep it as it is, and start with a new one elsewhere."
        )
    for name in reversed(TABLES):
        op.drop_table(name)
    if connection.dialect.name == "postgresql":
        op.execute("DROP FUNCTION refuse_change()")
