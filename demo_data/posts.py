"""Console 3 and box 3: kept ready, taken, run out, primed again."""

from datetime import timedelta
from itertools import count
from typing import Final

from traceability.actions.circuit.keep import DiscardCircuit, discard_circuit

from .hospital import BOX_2, BOX_3, CONSOLE_3, RUIZ, TROLLEY_1, TROLLEY_2, Stand
from .primes import ADULT, Quirk, prime
from .stage import Story
from .ward import Crew, Primed, Ward

POSTS: Final = (CONSOLE_3, BOX_3)

QUIRKS: Final = {
    4: Quirk.DROPPED,
    9: Quirk.UNDONE,
    14: Quirk.NOT_READABLE,
    19: Quirk.STOPPED,
    23: Quirk.TYPED,
    27: Quirk.DROPPED,
    33: Quirk.WRONG_FLUID,
    38: Quirk.CODE_WITHOUT_LOT,
    46: Quirk.NOT_READABLE,
    52: Quirk.NOT_RECORDED,
    58: Quirk.DROPPED,
    63: Quirk.STOPPED,
    69: Quirk.UNDONE,
    75: Quirk.PAST_HOLD,
    81: Quirk.TYPED,
    88: Quirk.NOT_READABLE,
    96: Quirk.SHORT_DATED,
    101: Quirk.DROPPED,
    105: Quirk.STOPPED,
    110: Quirk.CODE_WITHOUT_LOT,
    114: Quirk.NOT_READABLE,
}
"""Which prime of a stored circuit, counted from the first, is out of the ordinary, and how."""


class Keeper:
    """Whoever sees to it that console and box hold a ready circuit."""

    def __init__(self, ward: Ward) -> None:
        """Begin with empty posts."""
        self.ward = ward
        self._numbers = count(1)
        self._filling: set[str] = set()

    def fill(self, stand: Stand) -> Story[None]:
        """Prime for a post, again if the prime was stopped, and watch the use-by."""
        ward = self.ward
        self._filling.add(stand.code)
        while True:
            number = next(self._numbers)
            primer, helper = ward.pair()
            trolley = TROLLEY_1 if ward.stage.rng.random() < 0.5 else TROLLEY_2  # noqa: PLR2004
            crew = Crew(primer=primer, helper=helper, trolley=trolley)
            circuit = yield from prime(ward, ADULT, crew, stand, quirk=QUIRKS.get(number))
            if circuit.use_by is not None:
                break
            yield ward.stage.minutes(10, 30)
        self._filling.discard(stand.code)
        ward.at_post[stand.code] = circuit
        ward.stage.begin(self._watch(stand, circuit), circuit.use_by)

    def take(self, stand: Stand, *, prime_again: bool = True) -> Primed | None:
        """Hand out the circuit of a post and have the next one primed; None: it is empty."""
        circuit = self.ready(stand)
        if circuit is None:
            return None
        self.ward.at_post[stand.code] = None
        if prime_again:
            self.ward.stage.begin(self._later(stand, self.ward.stage.hours(2, 20)))
        return circuit

    def ready(self, stand: Stand) -> Primed | None:
        """Return the circuit at a post that may be used now."""
        circuit = self.ward.at_post.get(stand.code)
        if circuit is None or circuit.use_by is None or circuit.use_by <= self.ward.stage.now:
            return None
        return circuit

    def discard(self, stand: Stand, reason: str) -> None:
        """Throw away what stands at a post and have the next one primed within hours."""
        circuit = self.ward.at_post.get(stand.code)
        if circuit is None:
            return
        self.ward.at_post[stand.code] = None
        discard(self.ward, circuit, reason)
        if stand in POSTS:
            self.ward.stage.begin(self._later(stand, self.ward.stage.hours(1, 5)))

    def put_back(self, stand: Stand, circuit: Primed) -> Stand:
        """Find room for a circuit that came back unused: its post, or box 2 if that is taken."""
        taken = self.ward.at_post.get(stand.code) is not None or stand.code in self._filling
        where = BOX_2 if taken else stand
        self.ward.at_post[where.code] = circuit
        if circuit.use_by is not None:
            self.ward.stage.begin(self._watch(where, circuit), circuit.use_by)
        return where

    def _later(self, stand: Stand, wait: timedelta) -> Story[None]:
        yield wait
        if self.ward.at_post.get(stand.code) is None and stand.code not in self._filling:
            yield from self.fill(stand)

    def _watch(self, stand: Stand, circuit: Primed) -> Story[None]:
        """Discard it at the shift check after its use-by, if it still stands there."""
        yield self.ward.stage.hours(0.5, 12)
        if self.ward.at_post.get(stand.code) is circuit:
            self.discard(stand, "past-use-by")


def discard(ward: Ward, circuit: Primed, reason: str) -> None:
    """Record that a circuit is thrown away."""
    asked = DiscardCircuit(
        sent=ward.stage.sent(TROLLEY_1, RUIZ),
        circuit_id=circuit.id,
        reason=reason,
        at=ward.stage.now,
    )
    discard_circuit(asked, site=ward.stage.site)
    ward.count(f"discarded: {reason}")
