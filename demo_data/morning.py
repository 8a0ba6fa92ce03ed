"""The last days, by plan: a notice, a night, and the shelf as a real morning shows it."""

from datetime import timedelta
from typing import Final
from uuid import UUID

from traceability.actions.circuit.hold import PutOnHold, put_on_hold
from traceability.actions.circuit.look_at import LookAt, look_at
from traceability.domain.keys import lot_key, product_key
from traceability.domain.parts import PartState

from .hospital import (
    AALTO,
    BEDS,
    BOX_1,
    BOX_3,
    CONSOLE_3,
    DESK,
    LIND,
    OKORO,
    ON_TROLLEY_1,
    RUIZ,
    SATO,
    SITE_ID,
    TROLLEY_1,
    TROLLEY_2,
    VENN,
    Colleague,
)
from .noticed import notice_comes
from .patients import Course, begin_run, live_run, name_patient
from .posts import POSTS, Keeper
from .primes import ADULT, begin, prime, require
from .stage import Story
from .steps import say_steps
from .stock import NOTICE_DAYS_AGO, NOTICE_LOT
from .ward import Crew, Primed, Ward

QUIET_DAYS: Final = 14
"""Chance rules until then; nothing of it is left when the last days begin."""

SHIFT_CHECKS: Final = 7
"""Days before the present on which the shift check is recorded as well."""

BED_4: Final = BEDS[3]


def plan_last_days(ward: Ward, keeper: Keeper, reference: str) -> None:
    """Put the last days on the stage."""
    stage, ends = ward.stage, ward.ends
    ward.free_beds.remove(BED_4)
    stage.begin(_extra_prime(ward), ends - timedelta(days=8))
    course = Course(days=6.4, changes=1)
    stage.begin(live_run(ward, keeper, course, reference), ends - timedelta(days=8, hours=20))
    stage.begin(_shift_checks(ward, keeper), ends - timedelta(days=SHIFT_CHECKS, hours=4))
    stage.begin(_seal_broken(ward, keeper), ends - timedelta(days=NOTICE_DAYS_AGO, hours=-1))
    stage.begin(_taken_at_night(ward, keeper), ends - timedelta(hours=8))
    stage.begin(_one_signature(ward), ends - timedelta(hours=3, minutes=30))
    stage.begin(_under_way(ward), ends - timedelta(minutes=34))


def _extra_prime(ward: Ward) -> Story[None]:
    """A third circuit is primed for a busy week; then the notice names its taps."""
    stage = ward.stage
    crew = Crew(primer=LIND, helper=SATO, trolley=TROLLEY_1)
    circuit = yield from prime(ward, ADULT, crew, BOX_1)
    yield ward.ends - timedelta(days=NOTICE_DAYS_AGO) - stage.now
    tap = ward.stock.products["tap"]
    tap_id = product_key(tap.standard, tap.identifier, site_id=SITE_ID)
    notice = notice_comes(ward)
    _hold(ward, VENN, "lot", lot_key(tap_id, NOTICE_LOT), notice)
    yield stage.minutes(10, 20)
    _hold(ward, AALTO, "circuit", circuit.id, notice)


def _hold(ward: Ward, by: Colleague, subject: str, subject_id: UUID, notice: str) -> None:
    asked = PutOnHold(
        sent=ward.stage.sent(DESK, by),
        subject=subject,
        subject_id=subject_id,
        reason="notice",
        at=ward.stage.now,
        notice=notice,
    )
    put_on_hold(asked, site=ward.stage.site)


def _shift_checks(ward: Ward, keeper: Keeper) -> Story[None]:
    """Once a day somebody looks at what stands ready."""
    for _ in range(SHIFT_CHECKS + 1):
        for stand in POSTS:
            circuit = keeper.ready(stand)
            if circuit is not None:
                _look(ward, circuit)
        yield timedelta(days=1)


def _look(ward: Ward, circuit: Primed, *findings: str) -> None:
    asked = LookAt(
        sent=ward.stage.sent(TROLLEY_1, RUIZ),
        circuit_id=circuit.id,
        findings=findings,
        at=ward.stage.now,
    )
    look_at(asked, site=ward.stage.site)


def _seal_broken(ward: Ward, keeper: Keeper) -> Story[None]:
    """At the shift check the seal of box 3 is found broken; it is primed again that day."""
    circuit = keeper.ready(BOX_3)
    if circuit is not None:
        _look(ward, circuit, "seal")
        yield timedelta(minutes=4)
    keeper.discard(BOX_3, "seal-broken")
    yield timedelta(0)


def _taken_at_night(ward: Ward, keeper: Keeper) -> Story[None]:
    """The circuit of console 3 goes to bed 4, where it still runs."""
    circuit = keeper.take(CONSOLE_3, prime_again=False)
    if circuit is None:
        raise RuntimeError("console 3 holds no ready circuit on the last night")
    run = yield from begin_run(ward, circuit, Course(days=1), BED_4)
    yield ward.stage.minutes(20, 40)
    name_patient(run, "")


def _one_signature(ward: Ward) -> Story[None]:
    """The helper is called to bed 4 before signing."""
    crew = Crew(primer=OKORO, helper=SATO, trolley=TROLLEY_1)
    yield from prime(ward, ADULT, crew, ON_TROLLEY_1, signatures=1)


def _under_way(ward: Ward) -> Story[None]:
    """A prime for console 3: a tap of the notice's lot was stopped; a bag and the syringe lack."""
    stage, stock = ward.stage, ward.stock
    trolley = begin(ward, ADULT, Crew(primer=LIND, helper=RUIZ, trolley=TROLLEY_2), CONSOLE_3)
    for key, number in ADULT.items[:4]:
        yield stage.minutes(0.5, 1.5)
        for _ in range(number):
            trolley.scan_in(stock.code(key, stock.lot(key, stage.now)))
            yield stage.minutes(0.1, 0.3)
    free = stock.lot("tap", stage.now)
    ward.chronicle.tap_lots[free.text].add(trolley.circuit.number)
    for number in range(5):
        if number == 3:  # noqa: PLR2004 - three are in, as in the strip's example
            left = stock.lot("tap", stage.now, before=1)
            require(trolley.scan(stock.code("tap", left)), "on-hold")
            yield stage.minutes(0.5, 1)
        trolley.scan_in(stock.code("tap", free))
        yield stage.minutes(0.1, 0.4)
    for key in ("gas", "connector-adult", "filter"):
        trolley.scan_in(stock.code(key, stock.lot(key, stage.now)))
        yield stage.minutes(0.3, 1)
    for slot in ADULT.ticks:
        trolley.say(PartState.TICKED, slot, all_open=True)
    yield stage.minutes(6, 8)
    say_steps(trolley, until="filled")
    trolley.scan_in(stock.code(ADULT.fluid, stock.lot(ADULT.fluid, stage.now)))
