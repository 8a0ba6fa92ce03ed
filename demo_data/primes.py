"""A prime: the helper scans, things go wrong as they do, both sign, the tag is ordered."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

from traceability.actions.circuit.hold import PutOnHold, Release, put_on_hold, release
from traceability.actions.circuit.keep import (
    DiscardCircuit,
    OrderTag,
    discard_circuit,
    order_tag,
)
from traceability.actions.once import Done
from traceability.actions.prime.begin import BeginPrime, begin_prime
from traceability.actions.prime.end import EndPrime, end_prime
from traceability.actions.prime.say import Say, say
from traceability.actions.prime.scan import (
    GoOn,
    ScanAgain,
    ScanPart,
    go_on,
    scan_again,
    scan_part,
)
from traceability.actions.prime.sign import SignPrime, sign_prime
from traceability.actions.prime.take_back import Dropped, Undo, dropped, undo
from traceability.domain.keys import lot_key, product_key
from traceability.domain.parts import Known, PartState

from .catalogue import Code
from .hospital import AALTO, DESK, SITE_ID, VENN, Stand
from .stage import Story
from .steps import say_steps
from .stock import Lot
from .ward import Crew, Primed, Ward

MOST_COUNT: Final = 0.85
"""Share of helpers who scan one of five taps and say "same again" for the rest."""


class Quirk(StrEnum):
    """What is out of the ordinary about a prime."""

    DROPPED = "a tap was dropped"
    UNDONE = "a scan was taken back"
    NOT_READABLE = "a lot was not readable"
    CODE_WITHOUT_LOT = "a bag's code had no lot"
    TYPED = "a lot was typed"
    WRONG_FLUID = "a wrong fluid was stopped"
    SHORT_DATED = "a short-dated bag was kept"
    PAST_HOLD = "the consultant went past a hold"
    NOT_RECORDED = "lots were not recorded"
    STOPPED = "the prime was stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """What one circuit type takes, in the order in which it is scanned."""

    circuit_type: str
    items: Sequence[tuple[str, int]]
    """Key of the product and how many."""
    fluid: str
    ticks: Sequence[str]
    fill_ml: int
    last_tap: str
    """The place that a tap with an unreadable lot goes to."""


ADULT: Final = Kit(
    circuit_type="Adult 3/8",
    items=(
        ("pack-adult", 1),
        ("pump-adult", 1),
        ("oxygenator-adult", 1),
        ("straight-adult", 2),
        ("tap", 5),
        ("gas", 1),
        ("connector-adult", 1),
        ("filter", 1),
        ("salt-1000", 2),
        ("syringe", 1),
    ),
    fluid="salt-1000",
    ticks=("ties", "caps"),
    fill_ml=1500,
    last_tap="tap-connector",
)
NEONATAL: Final = Kit(
    circuit_type="Neonatal 1/4",
    items=(
        ("pack-neonatal", 1),
        ("pump-neonatal", 1),
        ("oxygenator-neonatal", 1),
        ("straight-neonatal", 1),
        ("tap", 3),
        ("gas", 1),
        ("connector-neonatal", 1),
        ("filter", 1),
        ("salt-500", 1),
        ("syringe", 1),
    ),
    fluid="salt-500",
    ticks=("ties", "cap"),
    fill_ml=350,
    last_tap="tap-after",
)


@dataclass(slots=True)
class Trolley:
    """One prime under way: every act of it is said here once."""

    ward: Ward
    kit: Kit
    crew: Crew
    circuit: Primed
    quirk: Quirk | None
    has_steps: bool = False
    """Whether there was a list of steps when the prime began."""

    @property
    def now(self) -> datetime:
        """The moment of the next act."""
        return self.ward.stage.now

    def scan(self, code: Code, *, known: str = Known.SCANNED) -> Done:
        """Scan a piece."""
        stage = self.ward.stage
        asked = ScanPart(
            sent=stage.sent(self.crew.trolley, self.crew.helper),
            circuit_id=self.circuit.id,
            text=code.text,
            symbology_identifier=code.symbology_identifier,
            at=self.now,
            known=known,
        )
        return scan_part(asked, site=stage.site)

    def scan_in(self, code: Code, *, known: str = Known.SCANNED) -> None:
        """Scan a piece that goes in; a second lot is asked where, and is told.

        What was taken off a shelf before anybody booked it in goes in all the same, with a reason.
        """
        done = self.scan(code, known=known)
        if done.code == "which-place":
            choices = done.facts["choices"]
            done = self.go_on(slot=str(choices[0][0]))  # type: ignore[index]
        if done.code == "never-received":
            done = self.go_on(reason="by-hand")
        if done.code in {"on-hold", "in-notice"}:
            done = self.go_past_hold()
        require(done, "placed")

    def go_past_hold(self) -> Done:
        """A patient waits, the consultant's badge is shown, and it is recorded."""
        return self.go_on(reason="patient-waits", by=AALTO.id)

    def go_on(self, **answer: object) -> Done:
        """Answer what the last scan asked."""
        stage = self.ward.stage
        asked = GoOn(
            sent=stage.sent(self.crew.trolley, self.crew.helper),
            circuit_id=self.circuit.id,
            at=self.now,
            **answer,  # type: ignore[arg-type]
        )
        return go_on(asked, site=stage.site)

    def again(self, times: int) -> None:
        """Count the last piece again: the same code, so many more."""
        stage = self.ward.stage
        asked = ScanAgain(
            sent=stage.sent(self.crew.trolley, self.crew.helper),
            circuit_id=self.circuit.id,
            at=self.now,
            times=times,
        )
        require(scan_again(asked, site=stage.site), "placed")

    def say(self, state: PartState, slot: str = "", *, all_open: bool = False) -> None:
        """Say what a place holds."""
        stage = self.ward.stage
        asked = Say(
            sent=stage.sent(self.crew.trolley, self.crew.helper),
            circuit_id=self.circuit.id,
            at=self.now,
            state=state,
            slot=slot,
            all_open=all_open,
        )
        require(say(asked, site=stage.site), "said")

    def has(self, quirk: Quirk) -> bool:
        """Tell whether this is the prime where that happens, and note it."""
        if self.quirk is not quirk:
            return False
        self.ward.count(quirk)
        return True


def require(done: Done, code: str) -> None:
    """The plan knows what an act comes to; anything else is a fault of the plan or of the act.

    Raises:
        RuntimeError: it came to something else.
    """
    if done.code != code:
        raise RuntimeError(f"{done.code} instead of {code}: {dict(done.facts)}")


def prime(
    ward: Ward,
    kit: Kit,
    crew: Crew,
    stand: Stand,
    *,
    quirk: Quirk | None = None,
    signatures: int = 2,
) -> Story[Primed]:
    """Prime a circuit from the first pack to the tag; the story's result is the circuit."""
    trolley = begin(ward, kit, crew, stand, quirk)
    circuit, stage = trolley.circuit, ward.stage
    yield stage.minutes(0.5, 2)
    if trolley.has(Quirk.STOPPED):
        yield from _scan_items(trolley, kit.items[:5])
        _discard(trolley, "prime-stopped")
        return circuit
    left_out = 2 if trolley.has(Quirk.NOT_RECORDED) else 0
    yield from _scan_items(trolley, kit.items[: len(kit.items) - left_out])
    for slot in kit.ticks:
        trolley.say(PartState.TICKED, slot, all_open=True)
        yield stage.minutes(0.1, 0.4)
    yield stage.minutes(6, 15)
    say_steps(trolley)
    circuit.use_by = _end(trolley, lots_not_recorded=bool(left_out))
    signers = [("primer", crew.primer), ("helper", crew.helper)]
    for part, signer in signers[:signatures]:
        yield stage.minutes(1, 9)
        asked = SignPrime(
            sent=stage.sent(crew.trolley, crew.helper),
            circuit_id=circuit.id,
            part=part,
            signer_id=signer.id,
            at=stage.now,
        )
        require(sign_prime(asked, site=stage.site), "signed")
    yield stage.minutes(0.5, 2)
    asked_tag = OrderTag(
        sent=stage.sent(crew.trolley, crew.helper), circuit_id=circuit.id, at=stage.now
    )
    order_tag(asked_tag, site=stage.site)
    return circuit


def begin(ward: Ward, kit: Kit, crew: Crew, stand: Stand, quirk: Quirk | None = None) -> Trolley:
    """Begin a prime; the circuit gets its number."""
    stage = ward.stage
    asked = BeginPrime(
        sent=stage.sent(crew.trolley, crew.helper),
        circuit_type=kit.circuit_type,
        place_id=stand.id,
        at=stage.now,
        primer_id=crew.primer.id,
        helper_id=crew.helper.id,
    )
    done = begin_prime(asked, site=stage.site)
    if done.subject is None:
        raise RuntimeError("a prime without a circuit")
    number = str(done.facts["number"])
    ward.chronicle.primes.append(number)
    circuit = Primed(id=done.subject, number=number, circuit_type=kit.circuit_type)
    has_steps = ward.steps_since is not None
    return Trolley(ward, kit, crew, circuit, quirk, has_steps)


def _scan_items(trolley: Trolley, items: Sequence[tuple[str, int]]) -> Story[None]:
    for key, number in items:
        yield trolley.ward.stage.minutes(0.3, 1.6)
        if key == "tap":
            yield from _taps(trolley, number)
        elif key == trolley.kit.fluid:
            yield from fluid(trolley, number)
        elif key.startswith("connector") and trolley.has(Quirk.PAST_HOLD):
            yield from _past_a_hold(trolley, key)
        else:
            yield from _pieces(trolley, key, number)


def _pieces(trolley: Trolley, key: str, number: int) -> Story[None]:
    ward = trolley.ward
    lot = ward.stock.lot(key, ward.stage.now)
    if key == "gas" and trolley.has(Quirk.NOT_READABLE):
        trolley.say(PartState.LOT_NOT_READABLE, "gas")
        return
    typed = key == "filter" and trolley.has(Quirk.TYPED)
    for _ in range(number):
        trolley.scan_in(ward.stock.code(key, lot), known=Known.TYPED if typed else Known.SCANNED)
        yield ward.stage.minutes(0.1, 0.5)


def _taps(trolley: Trolley, number: int) -> Story[None]:
    ward = trolley.ward
    stage, stock = ward.stage, ward.stock
    lot = stock.lot("tap", stage.now)
    fitted = 0
    if stock.is_fresh("tap", stage.now):
        # The carton before this one still holds two.
        before = stock.lot("tap", stage.now, before=1)
        for _ in range(2):
            trolley.scan_in(stock.code("tap", before))
            yield stage.minutes(0.1, 0.3)
        ward.chronicle.tap_lots[before.text].add(trolley.circuit.number)
        fitted = 2
    ward.chronicle.tap_lots[lot.text].add(trolley.circuit.number)
    if fitted == 0 and stage.rng.random() < MOST_COUNT:
        trolley.scan_in(stock.code("tap", lot))
        yield stage.minutes(0.2, 0.6)
        trolley.again(number - 1)
    else:
        for _ in range(number - fitted):
            trolley.scan_in(stock.code("tap", lot))
            yield stage.minutes(0.1, 0.3)
    if trolley.has(Quirk.DROPPED):
        yield from _drop_and_replace(trolley, lot)
    if trolley.has(Quirk.UNDONE):
        yield from _take_back(trolley, lot)


def _drop_and_replace(trolley: Trolley, lot: Lot) -> Story[None]:
    stage = trolley.ward.stage
    asked = Dropped(
        sent=stage.sent(trolley.crew.trolley, trolley.crew.helper),
        circuit_id=trolley.circuit.id,
        slot=trolley.kit.last_tap,
        at=stage.now,
    )
    require(dropped(asked, site=stage.site), "dropped")
    yield stage.minutes(0.3, 1)
    trolley.scan_in(trolley.ward.stock.code("tap", lot))


def _take_back(trolley: Trolley, lot: Lot) -> Story[None]:
    stage = trolley.ward.stage
    trolley.say(PartState.LOT_NOT_READABLE, "gas")
    yield stage.minutes(0.1, 0.3)
    asked = Undo(
        sent=stage.sent(trolley.crew.trolley, trolley.crew.helper),
        circuit_id=trolley.circuit.id,
        at=stage.now,
    )
    require(undo(asked, site=stage.site), "undone")
    yield stage.minutes(0.2, 0.5)


def fluid(trolley: Trolley, number: int) -> Story[None]:
    """Scan the bags of the prime."""
    ward, key = trolley.ward, trolley.kit.fluid
    stage, stock = ward.stage, ward.stock
    if trolley.has(Quirk.WRONG_FLUID):
        strong = stock.lot("salt-strong", stage.now)
        require(trolley.scan(stock.code("salt-strong", strong)), "wrong-fluid")
        yield stage.minutes(0.8, 2)
    lot = stock.lot(key, stage.now)
    first = 0
    if trolley.has(Quirk.SHORT_DATED):
        # A bag that outlives half a month; thirty days is the limit then.
        expiry = (stage.now + timedelta(days=16)).date()
        short = replace(lot, text="4K0O02B8", expiry=expiry)
        require(trolley.scan(stock.code(key, short)), "short-dated")
        yield stage.minutes(0.3, 0.8)
        require(trolley.go_on(reason="no-other"), "placed")
        first = 1
    if trolley.has(Quirk.CODE_WITHOUT_LOT):
        bare = replace(lot, text="", expiry=lot.expiry)
        require(trolley.scan(stock.code(key, bare)), "lot-not-in-code")
        yield stage.minutes(0.3, 0.8)
        trolley.say(PartState.LOT_NOT_READABLE)
        first = 1
    for _ in range(number - first):
        yield stage.minutes(0.2, 0.8)
        trolley.scan_in(stock.code(key, lot))


def _past_a_hold(trolley: Trolley, key: str) -> Story[None]:
    """The engineer doubts a lot; a patient waits; the consultant goes on, and it is recorded."""
    ward = trolley.ward
    stage = ward.stage
    lot = ward.stock.lot(key, stage.now)
    product = ward.stock.products[key]
    product_id = product_key(product.standard, product.identifier, site_id=SITE_ID)
    known = ward.stock.was_used(key, lot)
    hold = PutOnHold(
        sent=stage.sent(DESK, VENN),
        # A lot that was never scanned is not known yet; then it is the product.
        subject="lot" if known else "product",
        subject_id=lot_key(product_id, lot.text) if known else product_id,
        reason="doubt",
        at=stage.now,
    )
    put_on_hold(hold, site=stage.site)
    yield stage.minutes(1, 2)
    require(trolley.scan(ward.stock.code(key, lot)), "on-hold")
    yield stage.minutes(1, 3)
    require(trolley.go_past_hold(), "placed")
    stage.begin(_release(ward, hold), stage.now + timedelta(hours=2))


def _release(ward: Ward, hold: PutOnHold) -> Story[None]:
    stage = ward.stage
    asked = Release(
        sent=stage.sent(DESK, VENN),
        subject=hold.subject,
        subject_id=hold.subject_id,
        reason="inspection",
        at=stage.now,
    )
    release(asked, site=stage.site)
    yield timedelta(0)


def _end(trolley: Trolley, *, lots_not_recorded: bool) -> datetime:
    stage = trolley.ward.stage
    asked = EndPrime(
        sent=stage.sent(trolley.crew.trolley, trolley.crew.helper),
        circuit_id=trolley.circuit.id,
        at=stage.now,
        fill_ml=trolley.kit.fill_ml,
        co2_ml_min=stage.rng.choice([1000, 1500, 1500, 2000]),
        lots_not_recorded=lots_not_recorded,
    )
    done = end_prime(asked, site=stage.site)
    require(done, "prime-ended")
    return datetime.fromisoformat(str(done.facts["use_by"]))


def _discard(trolley: Trolley, reason: str) -> None:
    stage = trolley.ward.stage
    asked = DiscardCircuit(
        sent=stage.sent(trolley.crew.trolley, trolley.crew.helper),
        circuit_id=trolley.circuit.id,
        reason=reason,
        at=stage.now,
    )
    discard_circuit(asked, site=stage.site)
