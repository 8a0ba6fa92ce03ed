"""Every check of a scan, through the acts that the page calls: stop or look again, the way on, who.

Source of the table: settled in review with people of the trade (stop, look again, go on, by
situation); common practice, no source.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import select

from tests.make import NOON, OTHER_PACK, OXYGENATOR, PACK, SALINE, STRONG_SALINE, TAP, Ward, code
from tests.notices.work import opens
from tests.stock_acts import Shelves
from traceability.actions.circuit.hold import Release, release
from traceability.actions.lists.products import Level
from traceability.actions.lists.site import SetPolicy, set_policy
from traceability.actions.notice.close import CloseNotice, close_notice
from traceability.actions.notice.scope import SetScope, set_scope
from traceability.domain.keys import lot_key, product_key
from traceability.domain.people import Right
from traceability.domain.scan_checks import checks_of
from traceability.domain.trolley import Finding, Verdict
from traceability.errors import BadValue, NotAllowed, NothingToKeep
from traceability.messages import say_verdict
from traceability.storage.ledger import LedgerEvent
from traceability.storage.notice_life import Notice

LOT = "T77-0B1"
SMALL_OXYGENATOR = "09521234000105"


def names(
    ward: Ward, *tests: dict[str, Any], gtin: str = TAP, excepted: Any = (), **more: Any
) -> UUID:
    """Open a notice whose scope is these tests of one product; return it."""
    notice = opens(ward)
    product = {"standard": "gs1", "identifier": gtin, "name": "as the letter says"}
    scope = {
        "any_of": [{"products": [product], "tests": list(tests), "except": list(excepted), **more}]
    }
    asked = SetScope(
        sent=ward.at("recall").sent(),
        notice_id=notice,
        scope=scope,
        read_version=0,
        source="Typed from the letter",
        at=ward.now,
    )
    set_scope(asked, site=ward.site)
    return notice


def lots(*texts: str) -> dict[str, Any]:
    """Say a clause's lots."""
    return {"test": "lots", "texts": list(texts)}


@dataclass(frozen=True)
class Case:
    """One row of the table."""

    finding: Finding
    verdict: Verdict
    way_on: Right | None
    scan: str
    before: Callable[[Ward, UUID], object] = lambda ward, circuit: None
    """What happened first."""
    slot: str = ""


def _held(ward: Ward, circuit: UUID) -> None:
    product = product_key("gs1", TAP, site_id=ward.site.id)
    ward.scan(circuit, code(TAP, LOT))
    ward.at("pharmacist").hold("lot", lot_key(product, LOT))


def _in_another(ward: Ward, circuit: UUID) -> None:
    ward.scan(ward.begin(), code(OXYGENATOR, "3F0117", serial="000452"))


def _in_this(ward: Ward, circuit: UUID) -> None:
    ward.scan(circuit, code(OXYGENATOR, "3F0117", serial="000452"))


def _dropped_here(ward: Ward, circuit: UUID) -> None:
    _in_this(ward, circuit)
    ward.drop(circuit)


def _of_a_discarded_prime(ward: Ward, circuit: UUID) -> None:
    other = ward.begin()
    ward.scan(other, code(PACK, "PK26-104", serial="P-7"))
    ward.at("helper").discard(other, "seal-broken")


def _of_another_type(ward: Ward, circuit: UUID) -> None:
    ward.product(SMALL_OXYGENATOR, "Oxygenator small", "oxygenator", circuit_type="Neonatal 1/4")


def _never_booked(ward: Ward, circuit: UUID) -> None:
    Shelves(ward).receive(code(TAP, "T1"))


def _all_in(ward: Ward, circuit: UUID) -> None:
    for _ in range(3):
        ward.scan(circuit, code(TAP, LOT))


STOP, LOOK = Verdict.STOP, Verdict.LOOK_AGAIN
CASES = [
    Case(Finding.WRONG_FLUID, STOP, Right.PAST_STOP, code(STRONG_SALINE, "4K0")),
    Case(Finding.WRONG_TYPE, STOP, Right.PAST_STOP, code(OTHER_PACK, "PK-1")),
    Case(
        Finding.WRONG_TYPE,
        STOP,
        Right.PAST_STOP,
        code(SMALL_OXYGENATOR, "3F", serial="S1"),
        _of_another_type,
    ),
    Case(Finding.SUCTION_SIDE, STOP, Right.PAST_STOP, code(TAP, LOT), slot="drain"),
    Case(Finding.ON_HOLD, STOP, Right.PAST_STOP, code(TAP, LOT), _held),
    Case(
        Finding.IN_NOTICE, STOP, Right.PAST_STOP, code(TAP, LOT), lambda w, c: names(w, lots(LOT))
    ),
    Case(
        Finding.IN_NOTICE,
        STOP,
        Right.PAST_STOP,
        code(OXYGENATOR, "3F0117", serial="OX0452"),
        lambda w, c: names(
            w, {"test": "serial-range", "from": "OX0400", "to": "OX0500"}, gtin=OXYGENATOR
        ),
    ),
    Case(
        Finding.IN_NOTICE,
        STOP,
        Right.PAST_STOP,
        code(TAP, LOT, expires="330331"),
        lambda w, c: names(w, {"test": "expires", "from": "2033-01-01", "to": "2033-12-31"}),
    ),
    Case(
        Finding.LIKE_NOTICE,
        LOOK,
        Right.ACT,
        code(TAP, "T77-OB1"),
        lambda w, c: names(w, lots(LOT)),
    ),
    Case(
        Finding.LIKE_NOTICE,
        LOOK,
        Right.ACT,
        code(TAP, LOT),
        lambda w, c: names(w, {"test": "made", "from": "2031-01-01", "to": "2031-03-31"}),
    ),
    Case(Finding.EXPIRED, STOP, Right.PAST_DATE, code(TAP, LOT, expires="310505")),
    Case(
        Finding.SAME_SERIAL_ELSEWHERE,
        STOP,
        Right.ACT,
        code(OXYGENATOR, "3F0117", serial="000452"),
        _in_another,
    ),
    Case(
        Finding.SAME_SERIAL_HERE,
        STOP,
        None,
        code(OXYGENATOR, "3F0117", serial="000452"),
        _in_this,
    ),
    Case(
        Finding.OPENED_EARLIER,
        STOP,
        Right.PAST_DATE,
        code(OXYGENATOR, "3F0117", serial="000452"),
        _dropped_here,
    ),
    Case(
        Finding.OPENED_EARLIER,
        STOP,
        Right.PAST_DATE,
        code(PACK, "PK26-104", serial="P-7"),
        _of_a_discarded_prime,
    ),
    Case(Finding.SHORT_DATED, LOOK, Right.ACT, code(SALINE, "4K0", expires="310520")),
    Case(Finding.NEVER_RECEIVED, LOOK, Right.ACT, code(TAP, "T99"), _never_booked),
    Case(Finding.ALL_RECORDED, LOOK, Right.ACT, code(TAP, LOT), _all_in),
]


def open_parts(ward: Ward, circuit: UUID) -> int:
    """Return how many parts are in."""
    return len(ward.facts(circuit).now_in)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.finding)
def test_each_check_stops_or_asks_and_says_its_way_on_and_who_went(ward: Ward, case: Case) -> None:
    circuit = ward.begin()
    case.before(ward, circuit)
    before = open_parts(ward, circuit)
    done = ward.asks(circuit, case.scan, slot=case.slot)
    assert (done.verdict, done.code) == (case.verdict, case.finding)
    assert open_parts(ward, circuit) == before, "nothing was added"
    said = say_verdict(done.verdict, done.code, done.facts)
    assert len(said.sentence) <= 62, said.sentence
    named = {Right.PAST_STOP: "consultant's badge", Right.PAST_DATE: "a signer's badge"}
    if case.way_on is None:
        with pytest.raises(NothingToKeep):
            ward.go_on(circuit, reason="by-hand")
        assert "card 1" in " ".join(said.lines)
        return
    card = "card 8" if case.way_on is Right.ACT else "Card 9"
    assert card in " ".join(said.lines)
    assert named.get(case.way_on, "") in " ".join(said.lines)
    if case.way_on is not Right.ACT:
        with pytest.raises(NotAllowed):
            ward.go_on(circuit, reason="no-other", by=ward.people["stock"])
    by = {Right.PAST_STOP: "consultant", Right.PAST_DATE: "helper", Right.ACT: "primer"}[
        case.way_on
    ]
    kept = ward.go_on(circuit, reason="no-other", by=ward.people[by])
    assert (kept.verdict, kept.code) == (Verdict.ACCEPTED, Finding.PLACED)
    assert open_parts(ward, circuit) > before
    with ward.reads() as session:
        bodies = session.scalars(select(LedgerEvent.body).order_by(LedgerEvent.number)).all()
    asked, went = (json.loads(body) for body in bodies[-2:])
    assert (asked["code"], asked["verdict"]) == (case.finding, case.verdict)
    assert went["said"] == {
        "reason": "no-other",
        "gone_past": case.finding,
        "by": str(ward.people[by]),
    }


def test_a_port_put_on_the_suction_side_stands_beside_what_belongs_there(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(PACK, "PK26-104"))
    ward.scan(circuit, code(TAP, LOT), slot="drain")
    ward.go_on(circuit, reason="patient-waits", by=ward.people["consultant"])
    held = sorted((part.kind, part.slot) for part in ward.facts(circuit).now_in)
    assert ("line", "drain") in held
    assert ("tap", "drain") in held


def test_a_stop_says_what_is_in_already(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(SALINE, "4K0O17I1"))
    done = ward.scan(circuit, code(STRONG_SALINE, "9X9"))
    said = say_verdict(done.verdict, done.code, done.facts)
    assert "In already: 1 of 2, lot 4K0O17I1." in " ".join(said.lines)


def test_what_a_notice_does_not_mean_goes_in(ward: Ward) -> None:
    names(ward, lots("T99"))
    names(ward, lots(LOT), gtin=OXYGENATOR)
    names(ward, lots(LOT), excepted=[{"test": "expires", "from": "2033-01-01"}])
    names(ward, used_to=(NOON - timedelta(hours=1)).isoformat())
    closed = names(ward, lots(LOT))
    asked = CloseNotice(
        sent=ward.at("recall").sent(),
        notice_id=closed,
        end="withdrawn",
        words="Withdrawn by the maker",
        anyway=True,
        at=ward.now,
    )
    close_notice(asked, site=ward.site)
    circuit = ward.begin()
    assert ward.scan(circuit, code(TAP, LOT)).code == "placed"


def test_a_pack_is_stopped_for_what_its_maker_says_is_inside(ward: Ward) -> None:
    """A notice names a lot of the tap; the maker stated that this pack lot holds it."""
    Shelves(ward).carton(PACK, ["PK26-104"], TAP, LOT)
    names(ward, lots(LOT), containing=True)
    circuit = ward.begin()
    assert ward.scan(circuit, code(PACK, "PK26-104")).code == "in-notice"
    assert ward.scan(circuit, code(PACK, "PK26-999")).code == "like-notice"


def test_a_lot_that_was_released_for_this_notice_goes_in(ward: Ward) -> None:
    notice = names(ward, lots(LOT))
    with ward.reads() as session:
        number = session.get_one(Notice, (ward.site.id, notice)).number
    circuit, lot_id = ward.begin(), lot_key(product_key("gs1", TAP, site_id=ward.site.id), LOT)
    assert ward.scan(circuit, code(TAP, LOT)).code == "in-notice"
    ward.go_on(circuit, reason="patient-waits", by=ward.people["consultant"])
    ward.at("pharmacist").hold("lot", lot_id, number)
    assert ward.scan(circuit, code(TAP, LOT)).code == "on-hold"
    free = Release(
        sent=ward.at("pharmacist").sent(),
        subject="lot",
        subject_id=lot_id,
        reason="checked",
        at=ward.now,
    )
    release(free, site=ward.site)
    assert ward.scan(circuit, code(TAP, LOT)).code == "placed"


def test_a_ruling_on_texts_that_look_alike_counts(ward: Ward) -> None:
    names(ward, lots(LOT))
    circuit = ward.begin()
    assert ward.scan(circuit, code(TAP, "T77-OB1")).code == "like-notice"
    Shelves(ward).rule(TAP, "T77-OB1", LOT, same=False)
    assert ward.scan(circuit, code(TAP, "T77-OB1")).code == "placed"
    Shelves(ward).rule(TAP, "T77-OB1", LOT, same=True)
    assert ward.scan(circuit, code(TAP, "T77-OB1")).code == "in-notice"


def test_levels_of_one_product_are_all_meant(ward: Ward) -> None:
    """The letter names the carton's code; the tap in the hand carries its own."""
    carton = "19521234000010"
    ward.at("stock").product(
        TAP, "Three-way tap", "tap", levels=(Level(identifier=carton, units=25),)
    )
    names(ward, lots(LOT), gtin=carton)
    assert ward.scan(ward.begin(), code(TAP, LOT)).code == "in-notice"


def sets_checks(ward: Ward, **checks: str) -> None:
    """Set the policy's checks."""
    asked = SetPolicy(
        sent=ward.at("stock").sent(),
        wet_closed_days=30,
        dry_days=60,
        wet_open_days=5,
        blood_minutes=240,
        opened_fluid_minutes=None,
        parts_expiry_counts=True,
        read_version=1,
        checks={name.replace("_", "-"): said for name, said in checks.items()},
    )
    set_policy(asked, site=ward.site)


def test_a_policy_makes_checks_stricter_and_milder(ward: Ward) -> None:
    sets_checks(ward, expired="look-again", short_dated="stop", never_received="accepted")
    circuit = ward.begin()
    old = ward.scan(circuit, code(TAP, LOT, expires="310505"))
    assert (old.verdict, old.code) == ("look-again", "expired")
    with pytest.raises(NotAllowed):
        ward.go_on(circuit, reason="no-other", by=ward.people["stock"])
    short = ward.scan(circuit, code(SALINE, "4K0", expires="310520"))
    assert (short.verdict, short.facts["way_on"]) == ("stop", "past-date")
    assert "a signer's badge" in " ".join(say_verdict("stop", short.code, short.facts).lines)
    _never_booked(ward, circuit)
    new = ward.scan(circuit, code(TAP, "T99"))
    assert (new.verdict, new.facts["not_in_book"]) == ("accepted", True)


@pytest.mark.parametrize("finding", ["wrong_fluid", "wrong_type", "suction_side"])
def test_no_policy_is_milder_for_fluid_type_and_suction_side(ward: Ward, finding: str) -> None:
    with pytest.raises(BadValue):
        sets_checks(ward, **{finding: "look-again"})
    stored = {finding.replace("_", "-"): "look-again"}
    assert checks_of(stored)[Finding(finding.replace("_", "-"))] is Verdict.STOP


def test_what_is_spoken_says_percent_and_the_expiry_in_words(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(SALINE, "4K0"))
    done = ward.scan(circuit, code(SALINE, "4K0", expires="330300"))
    said = say_verdict(done.verdict, done.code, done.facts)
    assert said.speech == "Sodium chloride 0.9 percent, bag two of two. Expires March 2033."
