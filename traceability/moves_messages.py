"""Words for circuits that come, go, or are entered from paper."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from traceability.domain.parts import Known, PartState
from traceability.domain.retrievals import Mission, MissionCheck

CAUTION: Final = "Inspect before use. The record is not the inspection."

BEYOND: Final = (
    "This list is what the record of the sending hospital holds. It does not replace an inspection."
)

GAPS: Final[Mapping[str, str]] = {
    PartState.INSIDE_PACK: "inside the pack, own lot not known",
    PartState.LOT_NOT_READABLE: "lot not readable",
    PartState.LOT_NOT_RECORDED: "lot not recorded",
    PartState.NOT_FITTED: "NOT FITTED",
    PartState.TICKED: "fitted, no lot asked for",
}

HOW: Final[Mapping[str, str]] = {
    Known.SCANNED: "scanned",
    Known.PHOTO: "from a photo",
    Known.TYPED: "typed",
    Known.COUNTED: "counted",
    Known.PACK: "inside the pack",
    Known.STATED: "stated by the sender",
    Known.SAID: "said by hand",
}
"""How a part is known, in a column of its own."""


def mission_words(check: MissionCheck | None, use_by: datetime | None, zone: ZoneInfo) -> str:
    """Return whether the circuit is usable until the team is back."""
    if check is None or use_by is None:
        return "Its use-by is not known."
    at = f"{use_by.astimezone(zone):%Y-%m-%d %H:%M %Z}"
    match check.code:
        case Mission.OUTLASTS:
            return f"Use-by is {span_words(check.left_at_return)} after your return."
        case Mission.ENDS_WHILE_AWAY:
            return f"Use-by ends while you are away: {at}. Connect it before then."
        case _:
            return f"Use-by has passed: {at}. Take another circuit if there is one."


def span_words(length: timedelta) -> str:
    """Return `9 h`, `9 h 20 min`, `2 d 3 h`, rounded down: never longer than it is."""
    minutes = int(abs(length).total_seconds()) // 60
    days, rest = divmod(minutes, 1440)
    hours, minutes = divmod(rest, 60)
    if days:
        return f"{days} d {hours} h" if hours else f"{days} d"
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def lot_words(lot: str | None, serial: str | None, state: str) -> str:
    """Return lot and serial of a part, or why there is none."""
    said = [f"lot {lot}" if lot else "", f"serial {serial}" if serial else ""]
    told = ", ".join(word for word in said if word)
    return told or GAPS.get(state, "lot not recorded")
