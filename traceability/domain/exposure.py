"""When a patient met a part: while it was in the circuit *and* the circuit was on the patient.

Sure time and possible time are kept apart: what is certain to have been there, and what may have
been. Source: design rules on intervals; common practice, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from traceability.domain.spans import Span, join, meet

__all__ = ["Exposure", "Shelf", "exposed", "strongest", "together"]


class Shelf(StrEnum):
    """The four answers to "was it there?", strongest first."""

    CONFIRMED = "confirmed"
    INFERRED = "inferred"
    CANNOT_BE_EXCLUDED = "cannot_be_excluded"
    EXCLUDED = "excluded"


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """Times of one patient with what was asked for. Possible always contains sure."""

    sure: tuple[Span, ...] = ()
    possible: tuple[Span, ...] = ()

    @property
    def longer_possible(self) -> bool:
        """Whether the patient may have been exposed for longer than is certain."""
        return self.possible != self.sure


def exposed(in_circuit: Iterable[Span], on_patient: Iterable[Span]) -> tuple[Span, ...]:
    """Return when a part met a patient, joined and in order."""
    return meet(in_circuit, on_patient)


def together(exposures: Iterable[Exposure]) -> Exposure:
    """Return the exposure over several parts or circuits; touching times become one."""
    sure: list[Span] = []
    possible: list[Span] = []
    for one in exposures:
        sure += one.sure
        possible += (*one.possible, *one.sure)
    return Exposure(sure=join(sure), possible=join(possible))


def strongest(shelves: Iterable[Shelf]) -> Shelf:
    """Return the strongest shelf of several; excluded where there is none.

    For circuits or parts that were judged alone. Parts that share one stock have to be judged
    together: two that each may be clear may not both be.
    """
    return min(shelves, key=list(Shelf).index, default=Shelf.EXCLUDED)
