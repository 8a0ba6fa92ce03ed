"""What each act card of the trolley does: one call of one act."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from traceability.actions.once import Done
from traceability.actions.prime.pause import PausePrime, pause_prime
from traceability.actions.prime.say import Say, say
from traceability.actions.prime.scan import GoOn, ScanAgain, go_on, scan_again
from traceability.actions.prime.take_back import Dropped, Undo, dropped, undo
from traceability.actions.prime.typed import Typed
from traceability.domain.act_cards import Act
from traceability.domain.parts import PartState
from traceability.domain.sheets import Need
from traceability.reads.trolley import TrolleyFacts
from traceability.web import session
from traceability.web.forms import device_moment

SAYS: Final = {
    Act.TICK: PartState.TICKED,
    Act.NOT_READABLE: PartState.LOT_NOT_READABLE,
    Act.NOT_FITTED: PartState.NOT_FITTED,
}


def _common(body: Mapping[str, object], found: TrolleyFacts) -> dict[str, Any]:
    return {
        "sent": session.sent(str(body.get("request_id"))),
        "circuit_id": found.circuit_id,
        "at": device_moment(body.get("at")),
    }


def _undo(body: Mapping[str, object], found: TrolleyFacts) -> Done:
    return undo(Undo(**_common(body, found)), site=session.site())


def _dropped(body: Mapping[str, object], found: TrolleyFacts) -> Done:
    asked = Dropped(**_common(body, found), slot=str(body.get("slot") or ""))
    return dropped(asked, site=session.site())


def _pause(body: Mapping[str, object], found: TrolleyFacts) -> Done:
    return pause_prime(PausePrime(**_common(body, found)), site=session.site())


def _same(body: Mapping[str, object], found: TrolleyFacts) -> Done:
    return scan_again(ScanAgain(**_common(body, found)), site=session.site())


def _reading(body: Mapping[str, object], found: TrolleyFacts) -> Done:
    reading = str(body.get("choice") or "as-read")
    return go_on(GoOn(**_common(body, found), reading=reading), site=session.site())


def _place(body: Mapping[str, object], found: TrolleyFacts) -> Done:
    asked = GoOn(**_common(body, found), slot=str(body.get("choice") or ""))
    return go_on(asked, site=session.site())


def _says(act: Act) -> Callable[[Mapping[str, object], TrolleyFacts], Done]:
    def does(body: Mapping[str, object], found: TrolleyFacts) -> Done:
        asked = Say(
            **_common(body, found),
            state=SAYS[act],
            slot=str(body.get("slot") or "") or _tickable(found, act),
            all_open=act is Act.TICK,
        )
        return say(asked, site=session.site())

    return does


def _typed(body: Mapping[str, object], found: TrolleyFacts) -> Done:
    typed = Typed(**{name: str(body.get(name) or "") for name in ("lot", "serial", "expiry")})
    return go_on(GoOn(**_common(body, found), typed=typed), site=session.site())


DOES: Final[Mapping[str, Callable[[Mapping[str, object], TrolleyFacts], Done]]] = {
    Act.UNDO: _undo,
    Act.DROPPED: _dropped,
    Act.SAME: _same,
    Act.PAUSE: _pause,
    Act.AS_READ: _reading,
    "READING": _reading,
    "PLACE": _place,
    "TYPED": _typed,
    Act.TICK: _says(Act.TICK),
    Act.NOT_READABLE: _says(Act.NOT_READABLE),
    Act.NOT_FITTED: _says(Act.NOT_FITTED),
}


def _tickable(found: TrolleyFacts, act: Act) -> str:
    """Return the first tick-only place still open, for the tick card without a place."""
    if act is not Act.TICK:
        return ""
    return next((slot.id for slot, _ in found.missing if slot.need is Need.TICK), "")
