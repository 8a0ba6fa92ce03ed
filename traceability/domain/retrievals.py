"""Whether a boxed circuit's use-by outlasts a retrieval.

Source: retrieval check settled in review with people of the trade; common practice, no source.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

__all__ = ["Mission", "MissionCheck", "check_mission"]


class Mission(StrEnum):
    """What the use-by does to the mission."""

    OUTLASTS = "outlasts"
    """Still usable at the planned return."""
    ENDS_WHILE_AWAY = "ends-while-away"
    """Usable at the start only: connect before the use-by."""
    PAST = "past-use-by"
    """Already too late when the team leaves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MissionCheck:
    """The answer, with the time that a sentence needs."""

    code: Mission
    left_at_return: timedelta
    """From the planned return to the use-by; negative where the use-by comes first."""


def check_mission(use_by: datetime, *, leaves: datetime, returns: datetime) -> MissionCheck:
    """Return whether the circuit is usable until the team is back; all times aware.

    Raises:
        ValueError: the return is before the departure.
    """
    if returns < leaves:
        msg = "a mission cannot return before it leaves"
        raise ValueError(msg)
    if use_by <= leaves:
        code = Mission.PAST
    elif use_by <= returns:
        code = Mission.ENDS_WHILE_AWAY
    else:
        code = Mission.OUTLASTS
    return MissionCheck(code=code, left_at_return=use_by - returns)
