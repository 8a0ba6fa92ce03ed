"""One function per kind of event; each writes the rows that follow from it, and nothing else."""

from collections.abc import Callable
from typing import Final, TypeAlias

from sqlalchemy.orm import Session

from traceability.domain.events import Kind, Recorded

Projection: TypeAlias = Callable[[Session, Recorded], None]

BY_KIND: Final[dict[Kind, Projection]] = {}


def projects(*kinds: Kind) -> Callable[[Projection], Projection]:
    """Register the function for these kinds of events."""

    def register(function: Projection) -> Projection:
        for kind in kinds:
            if kind in BY_KIND:
                raise LookupError(f"two projections of {kind}")
            BY_KIND[kind] = function
        return function

    return register


def no_rows(_session: Session, _event: Recorded) -> None:
    """Leave no row: the ledger itself is all there is to say."""
