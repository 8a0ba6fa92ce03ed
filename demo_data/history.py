"""Two years of Norrvik Sound Hospital, from a fixed seed, ending at a given moment."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from math import log
from random import Random
from typing import Final

from traceability.wiring import Services

from .catalogue import products
from .drilled import plan_drills
from .hospital import BEDS, BOX_2, BOX_3, CONSOLE_3, OKORO, RUIZ, SATO, TROLLEY_2
from .morning import QUIET_DAYS, plan_last_days
from .patients import Course, away_for_nothing, live_run, wrong_scan
from .posts import Keeper, discard
from .primes import NEONATAL, prime
from .setting_up import set_limit, set_up, wahl_leaves
from .shelves import plan_shelves
from .stage import Stage, Story
from .steps import DAYS_AGO, write_lists_down
from .stock import Stock
from .ward import Chronicle, Crew, Ward

SEED: Final = 20171
DAYS: Final = 730
RUNS: Final = 34
"""Runs by chance, on adult circuits; newborns and the last days come on top."""
NEWBORNS: Final = 10

CHANGES: Final = {3: 1, 8: 1, 11: 1, 15: 1, 20: 1, 24: 1, 26: 2, 29: 1, 31: 1}
SWAPS: Final = {2: 1, 6: 1, 9: 2, 15: 1, 19: 1, 23: 1, 27: 1, 32: 1, 33: 1}
RETRIEVALS: Final = frozenset({1, 5, 10, 14, 18, 22, 25, 30})
LATE: Final = 14
FOREIGN: Final = 12
FLOW_ON_NOT_RECORDED: Final = 17
TRANSFERRED_OUT: Final = 21
UNKNOWN: Final = frozenset({7, 17})
"""Runs whose patient stays under the temporary identity."""


def live_through(
    services: Services, *, ends: datetime, seed: int, progress: Callable[[int, int], None]
) -> Chronicle:
    """Live through the two years by the use cases that pages call; return what was planned."""
    ward = first_day(services, ends=ends, seed=seed)
    begins = ward.stage.now

    def _tell() -> None:
        progress((ward.stage.now - begins).days, DAYS)

    ward.stage.play(ends, _tell)
    return ward.chronicle


def first_day(services: Services, *, ends: datetime, seed: int) -> Ward:
    """Set up the hospital two years before `ends` and plan everything that is to happen."""
    begins = ends - timedelta(days=DAYS)
    stage = Stage(begins=begins, seed=seed)
    catalogue = products()
    stock = Stock(catalogue, rng=stage.rng, begins=begins, ends=ends)
    ward = Ward(stage=stage, stock=stock, ends=ends, free_beds=list(BEDS))
    set_up(stage, services, catalogue)
    _plan(ward, Keeper(ward), begins)
    plan_shelves(ward)
    plan_drills(ward)
    return ward


def _plan(ward: Ward, keeper: Keeper, begins: datetime) -> None:
    stage, rng = ward.stage, ward.stage.rng
    stage.begin(keeper.fill(CONSOLE_3), begins + timedelta(hours=6))
    stage.begin(keeper.fill(BOX_3), begins + timedelta(hours=9))
    middle = begins + timedelta(days=DAYS / 2)
    ward.wahl_left = middle
    stage.begin(wahl_leaves(stage), middle)
    stage.begin(_longer_limit(stage), middle)
    last = DAYS - QUIET_DAYS
    references = _references(rng)
    for number, day in enumerate(_spread(rng, RUNS, 6, last - 4), start=1):
        course = _course(number, rng, longest=last - day)
        story = live_run(ward, keeper, course, next(references))
        stage.begin(story, begins + timedelta(days=day))
    for number, day in enumerate(_spread(rng, NEWBORNS, 20, last - 12)):
        story = _newborn(ward, keeper, next(references), needed=number % 2 == 0)
        stage.begin(story, begins + timedelta(days=day))
    for day in _spread(rng, 3, 60, last - 20):
        stage.begin(away_for_nothing(ward, keeper), begins + timedelta(days=day))
    stage.begin(wrong_scan(ward, keeper), begins + timedelta(days=rng.uniform(200, 300)))
    stage.begin(write_lists_down(ward), begins + timedelta(days=DAYS - DAYS_AGO))
    plan_last_days(ward, keeper, next(references))


def _spread(rng: Random, number: int, first: float, last: float) -> list[float]:
    """Return so many days in order, one by chance in each even piece of the time."""
    piece = (last - first) / number
    return [first + piece * (n + rng.uniform(0.1, 0.95)) for n in range(number)]


def _references(rng: Random) -> Iterator[str]:
    number = 100231
    while True:
        yield f"NSH-{number}"
        number += rng.randrange(11, 900)


def _course(number: int, rng: Random, *, longest: float) -> Course:
    days = min(max(rng.lognormvariate(log(6), 0.6), 0.8), 18)
    if number == FLOW_ON_NOT_RECORDED:
        days = 0.2
    return Course(
        days=min(days, longest - 2),
        retrieval=number in RETRIEVALS,
        foreign=number == FOREIGN,
        swaps=SWAPS.get(number, 0),
        changes=CHANGES.get(number, 0),
        flow_on_recorded=number != FLOW_ON_NOT_RECORDED,
        late=number == LATE,
        transferred=number == TRANSFERRED_OUT,
        patient_known=number not in UNKNOWN,
    )


def _longer_limit(stage: Stage) -> Story[None]:
    """After a year the unit takes over the default limit."""
    set_limit(stage, 30, read_version=2)
    yield timedelta(0)


def _newborn(ward: Ward, keeper: Keeper, reference: str, *, needed: bool) -> Story[None]:
    """A newborn is announced; a small circuit is primed, and used or not."""
    stage = ward.stage
    helper = stage.rng.choice([RUIZ, SATO])
    crew = Crew(primer=OKORO, helper=helper, trolley=TROLLEY_2)
    circuit = yield from prime(ward, NEONATAL, crew, BOX_2)
    if needed:
        yield stage.hours(0.2, 3)
        course = Course(days=stage.rng.uniform(2, 7))
        yield from live_run(ward, keeper, course, reference, circuit=circuit)
        return
    yield stage.hours(30, 90)
    discard(ward, circuit, "other")
