"""The drill for people: its steps, and when it is over.

Its clock stops when everybody named has been told; finding the answer and looking at the shelf are
steps on the way with times of their own. Source: common practice, no source.
"""

from collections.abc import Iterable
from datetime import datetime
from enum import StrEnum

__all__ = ["Step", "Stopped", "all_told"]


class Step(StrEnum):
    """What somebody did in a drill besides telling."""

    ANSWER_FOUND = "answer-found"
    STOCK_SEEN = "stock-seen"


class Stopped(StrEnum):
    """Why a drill was ended before everybody was told."""

    REAL_NOTICE = "real-notice"
    """A real notice or an emergency came: that goes first."""
    NOT_REACHED = "not-reached"
    OTHER = "other"


def all_told(told: Iterable[datetime | None]) -> bool:
    """Tell whether everybody has been told; nobody to be told is nobody missed."""
    return all(at is not None for at in told)
