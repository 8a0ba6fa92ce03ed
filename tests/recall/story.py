"""Months at an invented ward, made of real acts in a random order that the seed decides.

Whatever people can do, in time or too late: primes that are stopped or never end, parts dropped,
undone, swapped, unreadable, claimed twice, circuits taken by two, tags that nobody knows.
"""

import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import timedelta
from uuid import UUID

from sqlalchemy import select

from tests.make import OXYGENATOR, PACK, SALINE, SYRINGE, TAP, TAPS, Ward, code
from traceability.actions.once import Done
from traceability.actions.run.come_back import CameBackUnused, TakeBack, came_back_unused, take_back
from traceability.domain.moments import Manner
from traceability.errors import Refused
from traceability.storage.circuits import CircuitPhase

OTHER_TAP = "09521234000105"
TIE = "09521234000112"
LOTS = ("T77-0B1", "T77-OB1", "0417", "417", "T-900")
"""Two pairs of them look alike."""

BAGS = ("4K0", "4KO", "S-88")


def fill_ward(ward: Ward) -> None:
    """Add what stories need beside the ward's own products."""
    ward.product(OTHER_TAP, "Tap with a long name", "tap", maker="Mellowick Perfusion")
    ward.product(TIE, "Cable tie", "tie")


@dataclass
class Story:
    """One random story; `go` lets one thing happen."""

    ward: Ward
    seed: int
    circuits: list[UUID] = field(default_factory=list)
    runs: list[UUID] = field(default_factory=list)
    happened: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Prepare the dice."""
        self.dice = random.Random(self.seed)  # noqa: S311 - the same story for the same seed

    def go(self) -> None:
        """Let time pass and one thing happen, if it can."""
        self.ward.now += timedelta(minutes=self.dice.choice([0, 1, 1, 5, 60, 600]))
        act = self.dice.choices(ACTS, WEIGHTS)[0]
        with suppress(Refused, IndexError):
            act(self)
            name = act.__name__
            self.happened[name] = self.happened.get(name, 0) + 1

    def some(self, *phases: str) -> UUID:
        """Return a circuit, most often one in these phases. Raises IndexError without one."""
        rows = select(CircuitPhase.circuit_id).where(
            CircuitPhase.site_id == self.ward.site.id,
            CircuitPhase.phase.in_(phases),
            CircuitPhase.valid_to.is_(None),
            CircuitPhase.superseded_no.is_(None),
        )
        with self.ward.reads() as session:
            fitting = sorted(set(session.scalars(rows)) & set(self.circuits))
        if fitting and self.dice.random() < 0.9:
            return self.dice.choice(fitting[-4:])
        return self.dice.choice(self.circuits)

    def tap(self) -> str:
        """Return the code of some tap."""
        return code(self.dice.choice([TAP, TAP, OTHER_TAP]), self.dice.choice(LOTS))


def begin(story: Story) -> None:
    story.circuits.append(story.ward.begin())


def prime(story: Story) -> None:
    """A whole prime, with some places spoken for instead of scanned."""
    ward, dice = story.ward, story.dice
    circuit = ward.begin()
    story.circuits.append(circuit)
    ward.scan(circuit, code(PACK, dice.choice(["PK1", "PK2"])))
    if dice.random() < 0.7:
        serial = dice.choice(["OX-0", "OX-1", "OX1", "OX-2", "OX-3"])
        done = ward.scan(circuit, code(OXYGENATOR, dice.choice(["OX", ""]), serial=serial))
        if done.verdict == "stop" and dice.random() < 0.7:
            ward.go_on(circuit, reason="other")
    for slot in TAPS:
        if dice.random() < 0.75:
            ward.scan(circuit, story.tap(), slot=slot)
            if dice.random() < 0.15:
                ward.drop(circuit, slot)
                ward.scan(circuit, story.tap(), slot=slot)
        else:
            states = ["lot-not-readable", "lot-not-recorded", "not-fitted"]
            ward.say(circuit, dice.choice(states), slot)
    for _ in range(2):
        ward.scan(circuit, code(SALINE, dice.choice(BAGS)))
        if dice.random() < 0.15:
            ward.drop(circuit, "saline")
    ward.scan(circuit, code(SYRINGE, "SY1"))
    if dice.random() < 0.8:
        ward.say(circuit, "ticked", "ties", all_open=True)
    ward.now += timedelta(minutes=10)
    ward.end(circuit, lots_not_recorded=dice.random() < 0.9)
    ward.sign(circuit, "primer")
    ward.sign(circuit, "helper")


def scan(story: Story) -> None:
    story.ward.scan(story.some("priming"), story.tap(), slot=story.dice.choice([*TAPS, ""]))


def speak(story: Story) -> None:
    states = ["lot-not-readable", "lot-not-recorded", "not-fitted"]
    story.ward.say(story.some("priming"), story.dice.choice(states), story.dice.choice(TAPS))


def drop(story: Story) -> None:
    story.ward.drop(story.some("priming"), story.dice.choice([*TAPS, "saline", ""]))


def undo(story: Story) -> None:
    story.ward.undo(story.some("priming"))


def end(story: Story) -> None:
    story.ward.end(story.some("priming"), lots_not_recorded=True)


def take(story: Story) -> None:
    _note_run(story, story.ward.take(story.some("primed")))


def take_unready(story: Story) -> None:
    _note_run(story, story.ward.take(story.some("priming", "on patient", "ended")))


def take_unknown(story: Story) -> None:
    done = story.ward.take("", tag_text=f"tag {story.dice.randrange(99)}")
    if done.subject is not None:
        story.circuits.append(done.subject)
    _note_run(story, done)


def change(story: Story) -> None:
    circuit = story.some("primed")
    _note_run(story, story.ward.take(circuit, run_id=story.runs[-1]))


def _note_run(story: Story, done: Done) -> None:
    run = UUID(str(done.facts["run_id"]))
    if run not in story.runs:
        story.runs.append(run)


def flow_on(story: Story) -> None:
    run = story.dice.choice([None, None, *story.runs[-2:]])
    story.ward.flow_on(story.some("taken"), run_id=run, manner=Manner.QUEUED)


def flow_off(story: Story) -> None:
    away = story.dice.random() < 0.2
    circuit = story.some("on patient", "taken")
    story.ward.flow_off(circuit, transferred=away, manner=Manner.QUEUED)


def give_back(story: Story) -> None:
    ward, circuit = story.ward, story.some("taken")
    if story.dice.random() < 0.5:
        take_back(TakeBack(sent=ward.sent(), circuit_id=circuit, at=ward.now), site=ward.site)
    else:
        asked = CameBackUnused(
            sent=ward.sent(), circuit_id=circuit, place_id=ward.places["box 3"], at=ward.now
        )
        came_back_unused(asked, site=ward.site)


def swap(story: Story) -> None:
    circuit = story.some("on patient", "taken")
    slot = story.dice.choice(TAPS)
    match story.dice.randrange(4):
        case 0:
            story.ward.swap(circuit, slot, "", lot_not_readable=True)
        case 1:
            story.ward.swap(circuit, slot, "")
        case 2:
            story.ward.swap(circuit, "saline", code(SALINE, story.dice.choice(BAGS)))
        case _:
            story.ward.swap(circuit, slot, story.tap())


def foreign(story: Story) -> None:
    story.circuits.append(story.ward.foreign())


def discard(story: Story) -> None:
    story.ward.discard(story.some("primed", "ended", "priming"))


def patient(story: Story) -> None:
    story.ward.patient(story.dice.choice(story.runs), story.dice.choice(["", "0107-55", "9-12"]))


def rename(story: Story) -> None:
    """A product's kind and name are mended, for better or worse."""
    kind = story.dice.choice(["tap", "tap", "connector"])
    story.ward.at("stock").product(OTHER_TAP, f"Tap {story.dice.randrange(9)}", kind)


CHANCES: dict[Callable[[Story], None], int] = {
    begin: 5,
    prime: 16,
    scan: 14,
    speak: 4,
    drop: 5,
    undo: 4,
    end: 2,
    take: 9,
    take_unready: 2,
    take_unknown: 1,
    change: 3,
    flow_on: 16,
    flow_off: 7,
    give_back: 2,
    swap: 10,
    foreign: 1,
    discard: 4,
    patient: 3,
    rename: 1,
}
ACTS = list(CHANCES)
WEIGHTS = list(CHANCES.values())
