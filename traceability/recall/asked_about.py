"""What a trace can begin with, as the store keys it."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from traceability.domain.trace import Node

__all__ = ["COUNT_MOST", "Subject"]

COUNT_MOST = 5_000
"""Circuits of one answer that are counted and looked through; of more it says "at least"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What is asked about."""

    node: Node
    ids: tuple[UUID, ...] = ()
    """Keys of the thing itself; several references of one patient. Empty for a span."""
    span: tuple[datetime, datetime] | None = None
    """Of a span of days: from, and up to, aware."""
    kind: str = ""
    """Of a machine that is in no register, with its serial in the node: its kind."""
