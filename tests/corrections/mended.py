"""A story in which people also set right what was entered: late, twice, wrongly, and back again."""

import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import timedelta
from random import Random
from uuid import UUID

from sqlalchemy import select

from tests.make import MINUTE, OXYGENATOR, SALINE, TAP
from tests.recall.story import ACTS, BAGS, LOTS, OTHER_TAP, WEIGHTS, Story, rename
from traceability.actions.corrections.correct import Correct, correct
from traceability.actions.corrections.merge import MergePatients, merge_patients
from traceability.actions.corrections.rule import RuleOnClaims, rule_on_claims
from traceability.domain.keys import product_key
from traceability.errors import Refused
from traceability.reads.disputes import disputes
from traceability.storage.ledger import LedgerEvent
from traceability.storage.runs import Run

SERIALS = ("OX-0", "OX-1", "OX-9")


@dataclass
class Mended(Story):
    """The story; `chance` is how often in ten something is set right instead of done."""

    refused: dict[str, int] = field(default_factory=dict)

    def live(self, dice: Random, chance: int) -> None:
        """Let one thing happen, or be set right."""
        self.dice = dice
        self.ward.now += timedelta(minutes=dice.choice([0, 1, 5, 60]))
        mending = dice.randrange(10) < chance
        act = dice.choice(MENDING) if mending else dice.choices(ACTS, WEIGHTS)[0]
        if act is rename:
            return  # names of products are today's, also in what was known before
        name = act.__name__
        try:
            act(self)
        except IndexError:
            return
        except Refused as refused:
            self.refused[refused.code] = self.refused.get(refused.code, 0) + 1
            return
        self.happened[name] = self.happened.get(name, 0) + 1

    def an_entry(self, *kinds: str) -> LedgerEvent:
        """Return some entry of these kinds. Raises IndexError without one."""
        with self.ward.reads() as session:
            found = session.scalars(
                select(LedgerEvent).where(LedgerEvent.kind.in_(kinds)).order_by(LedgerEvent.number)
            ).all()
            session.expunge_all()
        return self.dice.choice(found[-12:])

    def mend(self, event: LedgerEvent, **changes: object) -> None:
        """Set the entry right, as the consultant."""
        one = self.ward.at("consultant")
        asked = Correct(sent=one.sent(), of=event.number, reason="other", **changes)  # type: ignore[arg-type]
        correct(asked, site=one.site)


def mend_part(story: Mended) -> None:
    event, dice = story.an_entry("part-placed", "part-swapped"), story.dice
    body = json.loads(event.body)
    rows = body.get("parts") or body.get("part_in") or []
    row = dice.choice(rows)
    given: dict[str, object] = {"state": dice.choice(["lot-not-recorded", "not-fitted"])}
    products = {"tap": [TAP, OTHER_TAP], "fluid": [SALINE], "oxygenator": [OXYGENATOR]}
    if row["kind"] in products and dice.random() < 0.8:
        fluid, serial = row["kind"] == "fluid", row["kind"] == "oxygenator"
        given = {
            "state": "recorded",
            "product_id": product_key(
                "gs1", dice.choice(products[row["kind"]]), site_id=story.ward.site.id
            ),
            "lot": "OX" if serial else dice.choice(BAGS if fluid else LOTS),
            "serial": dice.choice(SERIALS) if serial else "",
            "expiry": dice.choice(["2033-03-31", "2031-06", "2031-05-20", ""]),
        }
    elif not row["product"]:
        given = {"state": "not-fitted"}
    parts = tuple(UUID(each["part"]) for each in rows if each["kind"] == row["kind"])
    story.mend(event, parts=parts[:1] if given.get("serial") else parts, **given)


TIMES = (
    "circuit-taken",
    "flow-on",
    "flow-off",
    "part-swapped",
    "prime-ended",
    "circuit-discarded",
    "came-back-unused",
    "run-ended",
)


def mend_time(story: Mended) -> None:
    event = story.an_entry(*TIMES)
    moved = story.dice.choice([-600, -60, -5, -1, 1, 5, 60, 600])
    story.mend(event, moment=event.happened_at + moved * MINUTE)


def mend_run(story: Mended) -> None:
    event = story.an_entry("circuit-taken")
    with story.ward.reads() as session:
        numbers = session.scalars(select(Run.number).order_by(Run.number)).all()
    story.mend(event, run_number=story.dice.choice(numbers))


def mend_patient(story: Mended) -> None:
    story.mend(story.an_entry("patient-set"), patient=story.dice.choice(["", "0107-56"]))


def void(story: Mended) -> None:
    kinds = (*TIMES, "prime-begun", "part-placed", "patient-set", "prime-signed")
    more = ("circuit-without-record", "foreign-arrived", "patients-merged")
    story.mend(story.an_entry(*kinds, *more), void=True)


def void_correction(story: Mended) -> None:
    story.mend(story.an_entry("corrected", "claim-ruled"), void=True)


def mend_again(story: Mended) -> None:
    event = story.an_entry("corrected")
    moved = story.dice.choice([-30, -1, 1, 30])
    with suppress(KeyError, TypeError):
        at = json.loads(event.body)["changes"]["at"]
        story.mend(event, moment=event.happened_at.fromisoformat(at) + moved * MINUTE)


def rule(story: Mended) -> None:
    one = story.ward.at("consultant")
    with one.reads() as session:
        found = disputes(session, one.site.id)
    dispute = story.dice.choice(found)
    pair = [dispute.first, dispute.second]
    story.dice.shuffle(pair)
    asked = RuleOnClaims(
        sent=one.sent(),
        stands=pair[0].number,
        falls=pair[1].number,
        stands_part=pair[0].part_id,
        falls_part=pair[1].part_id,
    )
    rule_on_claims(asked, site=one.site)


def merge(story: Mended) -> None:
    one = story.ward.at("bedside")
    with one.reads() as session:
        numbers = session.scalars(select(Run.number).order_by(Run.number)).all()
    asked = MergePatients(
        sent=one.sent(),
        run_id=story.dice.choice(story.runs),
        other_number=story.dice.choice(numbers),
        at=one.now,
    )
    merge_patients(asked, site=one.site)


MENDING: list[Callable[[Mended], None]] = [
    mend_part,
    mend_part,
    mend_time,
    mend_time,
    mend_run,
    mend_patient,
    void,
    void,
    void_correction,
    mend_again,
    rule,
    merge,
]
