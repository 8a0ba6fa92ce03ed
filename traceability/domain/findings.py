"""What a check of a scan can find, how hard each is, and which right goes past it."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final

from traceability.domain.people import Right

__all__ = ["DEFAULT_CHECKS", "WAY_ON", "Finding", "Verdict"]


class Verdict(StrEnum):
    """The three answers of the strip."""

    ACCEPTED = "accepted"
    LOOK_AGAIN = "look-again"
    STOP = "stop"


class Finding(StrEnum):
    """Why. Stable codes; the words are elsewhere."""

    PLACED = "placed"
    SAME_SCAN = "same-scan"
    WRONG_TYPE = "wrong-type"
    WRONG_FLUID = "wrong-fluid"
    SUCTION_SIDE = "suction-side"
    ON_HOLD = "on-hold"
    EXPIRED = "expired"
    SAME_SERIAL_HERE = "same-serial-here"
    SAME_SERIAL_ELSEWHERE = "same-serial-elsewhere"
    OTHER_DEVICE = "other-device-same-lot"
    NOT_ON_SHEET = "not-on-sheet"
    WRONG_PLACE = "wrong-place"
    LOT_NOT_IN_CODE = "lot-not-in-code"
    SERIAL_NOT_IN_CODE = "serial-not-in-code"
    SHORT_DATED = "short-dated"
    WHICH_PLACE = "which-place"
    ALL_RECORDED = "all-recorded"
    IN_NOTICE = "in-notice"
    """An open notice names this very lot or serial, and nobody has put it on hold yet."""
    LIKE_NOTICE = "like-notice"
    """An open notice may mean it: the text is alike, or what the notice asks for is not known."""
    OPENED_EARLIER = "opened-earlier"
    """This very piece was put into a circuit before and is out of it again."""
    NEVER_RECEIVED = "never-received"
    """Its product is counted here, and its lot was neither received nor counted."""


WAY_ON: Final[Mapping[Finding, Right]] = {
    Finding.WRONG_TYPE: Right.PAST_STOP,
    Finding.WRONG_FLUID: Right.PAST_STOP,
    Finding.SUCTION_SIDE: Right.PAST_STOP,
    Finding.ON_HOLD: Right.PAST_STOP,
    Finding.EXPIRED: Right.PAST_DATE,
    Finding.SAME_SERIAL_ELSEWHERE: Right.ACT,
    Finding.OTHER_DEVICE: Right.ACT,
    Finding.SHORT_DATED: Right.ACT,
    Finding.ALL_RECORDED: Right.ACT,
    Finding.SERIAL_NOT_IN_CODE: Right.ACT,
    Finding.IN_NOTICE: Right.PAST_STOP,
    Finding.LIKE_NOTICE: Right.ACT,
    Finding.OPENED_EARLIER: Right.PAST_DATE,
    Finding.NEVER_RECEIVED: Right.ACT,
}
"""Which right goes on past a finding, with a reason. What is not here has no way on."""

_STOPS: Final = (
    Finding.WRONG_TYPE,
    Finding.WRONG_FLUID,
    Finding.SUCTION_SIDE,
    Finding.ON_HOLD,
    Finding.IN_NOTICE,
    Finding.EXPIRED,
    Finding.SAME_SERIAL_HERE,
    Finding.SAME_SERIAL_ELSEWHERE,
    Finding.OPENED_EARLIER,
)
DEFAULT_CHECKS: Final[Mapping[Finding, Verdict]] = {
    finding: Verdict.STOP if finding in _STOPS else Verdict.LOOK_AGAIN for finding in Finding
}
"""How hard each check is while the unit's policy says nothing else (`domain.scan_checks`)."""
