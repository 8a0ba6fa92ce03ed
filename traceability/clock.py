"""The present moment. The only module that asks the machine's clock (a test looks for others)."""

from collections.abc import Callable
from datetime import UTC, datetime

Clock = Callable[[], datetime]
"""Returns the present moment as aware UTC; tests and the demo pass their own."""


def system_clock() -> datetime:
    """Return the machine's present moment, aware, UTC."""
    return datetime.now(UTC)
