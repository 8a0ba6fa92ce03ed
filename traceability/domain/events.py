"""Kinds of ledger events. A body holds plain JSON; who reads it stands in `storage/projections`.

The names are part of the record for thirty years: they are added to, never renamed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import TypeAlias
from uuid import UUID

Plain: TypeAlias = bool | int | str | Sequence["Plain"] | Mapping[str, "Plain"] | None
"""What a body may hold once it is JSON; no floats (they print in more than one way)."""


class Kind(StrEnum):
    """What happened."""

    SITE_SET_UP = "site-set-up"
    PERSON_SET = "person-set"
    BADGE_ISSUED = "badge-issued"
    PIN_SET = "pin-set"
    DEVICE_SET = "device-set"
    DEVICE_REVOKED = "device-revoked"
    PLACE_SET = "place-set"
    POLICY_SET = "policy-set"
    PRODUCT_SET = "product-set"
    SHEET_SET = "sheet-set"
    PRIME_BEGUN = "prime-begun"
    SCAN_QUESTIONED = "scan-questioned"
    PART_PLACED = "part-placed"
    PART_TAKEN_BACK = "part-taken-back"
    PART_DROPPED = "part-dropped"
    PART_SWAPPED = "part-swapped"
    PRIME_ENDED = "prime-ended"
    PRIME_SIGNED = "prime-signed"
    TAG_ORDERED = "tag-ordered"
    CIRCUIT_MOVED = "circuit-moved"
    CIRCUIT_TAKEN = "circuit-taken"
    TAKE_WITHDRAWN = "take-withdrawn"
    CAME_BACK_UNUSED = "came-back-unused"
    FLOW_ON = "flow-on"
    FLOW_OFF = "flow-off"
    RUN_ENDED = "run-ended"
    PATIENT_SET = "patient-set"
    HELD = "held"
    RELEASED = "released"
    CIRCUIT_DISCARDED = "circuit-discarded"
    FOREIGN_ARRIVED = "foreign-arrived"
    CIRCUIT_WITHOUT_RECORD = "circuit-without-record"
    CARTON_TOLD = "carton-told"
    LOT_RULED = "lot-ruled"
    DOWN_TIME_SHEETS_PRINTED = "down-time-sheets-printed"
    PRIME_ENTERED_LATE = "prime-entered-late"
    FOREIGN_LISTED = "foreign-listed"
    TRANSFERRED_OUT = "transferred-out"
    CORRECTED = "corrected"
    CLAIM_RULED = "claim-ruled"
    PATIENTS_MERGED = "patients-merged"
    STOCK_RECEIVED = "stock-received"
    STOCK_MOVED = "stock-moved"
    STOCK_COUNTED = "stock-counted"
    STOCK_OUT = "stock-out"
    MODE_SET = "mode-set"
    RUN_PART_IN = "run-part-in"
    RUN_PART_OUT = "run-part-out"
    EQUIPMENT_SET = "equipment-set"
    EQUIPMENT_ON = "equipment-on"
    EQUIPMENT_OFF = "equipment-off"
    EQUIPMENT_MOVED = "equipment-moved"
    ADDITIVE_GIVEN = "additive-given"
    PART_ADDED = "part-added"
    KEPT_FOR_INSPECTION = "kept-for-inspection"
    CUSTODY_PASSED = "custody-passed"
    SHELF_CHECKED = "shelf-checked"
    TOLD_BY_HAND = "told-by-hand"
    CIRCUIT_OPENED = "circuit-opened"
    TAG_KEY_SET = "tag-key-set"
    STOCK_BOOK_DECLARED = "stock-book-declared"
    LOTS_DRILLED = "lots-drilled"
    DRILL_BEGUN = "drill-begun"
    DRILL_STEP = "drill-step"
    DRILL_TOLD = "drill-told"
    DRILL_STOPPED = "drill-stopped"
    WORK_DAYS_SET = "work-days-set"
    NOTICE_OPENED = "notice-opened"
    NOTICE_LETTER_ADDED = "notice-letter-added"
    NOTICE_FILE_ERASED = "notice-file-erased"
    NOTICE_SCOPE_SET = "notice-scope-set"
    NOTICE_DUE_SET = "notice-due-set"
    NOTICE_ACTED_ON = "notice-acted-on"
    NOTICE_ASKED = "notice-asked"
    NOTICE_LOOKED_AT = "notice-looked-at"
    ANSWER_GIVEN = "answer-given"
    NOTICE_TASK_ADDED = "notice-task-added"
    NOTICE_TASK_SAID = "notice-task-said"
    NOTICE_REPLY_MADE = "notice-reply-made"
    NOTICE_CLOSED = "notice-closed"
    NOTICE_REOPENED = "notice-reopened"
    PICTURE_KEPT = "picture-kept"
    PICTURE_ERASED = "picture-erased"
    STEPS_SET = "steps-set"
    STEP_SAID = "step-said"
    STEP_TAKEN_BACK = "step-taken-back"
    PRIME_PAUSED = "prime-paused"
    PRIME_TAKEN_OVER = "prime-taken-over"
    ACT_WAITS = "act-waits"
    ACT_SETTLED = "act-settled"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """One event as projections and readers see it, its body parsed."""

    site_id: UUID
    number: int
    device_id: UUID
    actor_id: UUID | None
    request_id: UUID
    happened_at: datetime
    recorded_at: datetime
    kind: Kind
    body: Mapping[str, Plain]

    def text(self, name: str) -> str:
        """Return a text of the body.

        Raises:
            TypeError: the body holds something else there; the ledger is not of this version.
        """
        value = self.body[name]
        if not isinstance(value, str):
            raise TypeError(f"event {self.number}: {name} is {value!r}, not a text")
        return value

    def text_or_none(self, name: str) -> str | None:
        """Return a text of the body, or None where it says null or nothing."""
        return None if self.body.get(name) is None else self.text(name)

    def key(self, name: str) -> UUID:
        """Return an id of the body."""
        return UUID(self.text(name))

    def key_or_none(self, name: str) -> UUID | None:
        """Return an id of the body, or None where it says null or nothing."""
        value = self.text_or_none(name)
        return (value and UUID(value)) or None

    def number_of(self, name: str, default: int | None = None) -> int:
        """Return a whole number of the body."""
        value = self.body.get(name, default)
        if not isinstance(value, int):
            raise TypeError(f"event {self.number}: {name} is {value!r}, not a number")
        return value

    def flag(self, name: str) -> bool:
        """Return a yes or no of the body; absent means no."""
        return self.body.get(name) is True

    def moment(self, name: str) -> datetime:
        """Return a moment of the body, aware UTC."""
        return datetime.fromisoformat(self.text(name))

    def moment_or_none(self, name: str) -> datetime | None:
        """Return a moment of the body, aware UTC, where it says one."""
        value = self.text_or_none(name)
        return None if value is None else datetime.fromisoformat(value)

    def day_or_none(self, name: str) -> date | None:
        """Return a date of the body."""
        value = self.text_or_none(name)
        return None if value is None else date.fromisoformat(value)

    def texts(self, name: str) -> list[str]:
        """Return a list of texts of the body; absent means empty."""
        value = self.body.get(name, [])
        if not isinstance(value, list):
            raise TypeError(f"event {self.number}: {name} is not a list")
        return [text for text in value if isinstance(text, str)]

    def rows(self, name: str) -> list[Mapping[str, Plain]]:
        """Return a list of objects of the body; absent means empty."""
        value = self.body.get(name, [])
        if not isinstance(value, list):
            raise TypeError(f"event {self.number}: {name} is not a list")
        return [row for row in value if isinstance(row, Mapping)]

    def inner(self, row: Mapping[str, Plain]) -> "Recorded":
        """Return the same event with one of its rows as body, to be read with the same words."""
        return Recorded(
            site_id=self.site_id,
            number=self.number,
            device_id=self.device_id,
            actor_id=self.actor_id,
            request_id=self.request_id,
            happened_at=self.happened_at,
            recorded_at=self.recorded_at,
            kind=self.kind,
            body=row,
        )
