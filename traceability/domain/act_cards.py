"""The act cards: what each one does, its number and its verb."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from traceability.domain.steps import NotDone


class Act(StrEnum):
    """Acts that have a printed card."""

    UNDO = "UNDO"
    SAME = "SAME"
    COUNT = "COUNT"
    PHOTO = "PHOTO"
    NOT_READABLE = "NOTREADABLE"
    NOT_FITTED = "NOTFITTED"
    NEXT = "NEXT"
    KEEP = "KEEP"
    NEEDED = "NEEDED"
    DROPPED = "DROPPED"
    PAUSE = "PAUSE"
    DISCARD = "DISCARD"
    TAKE_OVER = "TAKEOVER"
    SIGN = "SIGN"
    HELP = "HELP"
    AS_READ = "ASREAD"
    TICK = "TICK"
    TYPE = "TYPE"
    STEPS = "STEPS"
    STEP_NOT_DONE = "STEPNOTDONE"
    END = "ENDPRIME"


CARDS: Final[Mapping[Act, tuple[int, str]]] = {
    Act.UNDO: (1, "Undo last"),
    Act.SAME: (2, "Same again"),
    Act.COUNT: (3, "Count"),
    Act.PHOTO: (4, "Photo"),
    Act.NOT_READABLE: (5, "Lot not readable"),
    Act.NOT_FITTED: (6, "Not fitted"),
    Act.NEXT: (7, "Next step"),
    Act.KEEP: (8, "Keep, with reason"),
    Act.NEEDED: (9, "Needed now"),
    Act.DROPPED: (10, "Dropped: new one"),
    Act.PAUSE: (11, "Pause"),
    Act.DISCARD: (12, "Discard this prime"),
    Act.TAKE_OVER: (13, "Take over"),
    Act.SIGN: (14, "Sign"),
    Act.HELP: (15, "Help"),
    Act.AS_READ: (16, "As read"),
    Act.TICK: (17, "Tick"),
    Act.TYPE: (18, "Type it"),
    Act.STEPS: (19, "Another step"),
    Act.STEP_NOT_DONE: (20, "Step not done"),
    Act.END: (21, "End the prime"),
}
"""Number and verb of each card, as printed and as shown on the button."""

REASON_CARDS: Final[Mapping[str, str]] = {
    "WHY-NOOTHER": "no-other",
    "WHY-WAITS": "patient-waits",
    "WHY-PHARMACIST": "pharmacist",
    "WHY-BYHAND": "by-hand",
    "WHY-NOTHERE": NotDone.NOT_HERE,
    "WHY-NOMEANS": NotDone.NO_MEANS,
    "WHY-OTHERWAY": NotDone.OTHER_WAY,
    "WHY-ALONE": NotDone.ALONE,
}
"""Bodies of the reason cards, and the reason each one gives."""

COUNT_CARDS: Final[Mapping[str, int]] = {f"COUNT-{number}": number for number in range(1, 13)}
"""Bodies of the number cards: a count, or which of the answers that are shown. While a reading is
asked for, their digits make it up."""

DIGIT_CARDS: Final[Mapping[str, str]] = {"DIGIT-0": "0", "POINT": "."}
"""Bodies of the cards that readings need besides the number cards, and what each one adds."""
