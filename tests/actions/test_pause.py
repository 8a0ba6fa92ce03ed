"""An unfinished prime is left and taken over: who hands, who takes, when. On both databases.

Source of the rules: settled in review with people of the trade; common practice, no source.
"""

from dataclasses import replace
from uuid import uuid4

import pytest

from tests.make import HOUR, MINUTE, PACK, TAP, Ward, code
from traceability.actions.once import Done
from traceability.actions.prime.pause import PausePrime, TakeOver, pause_prime, take_over
from traceability.actions.prime.waiting import KeepAct, SettleAct, keep_act, settle_act
from traceability.errors import BadValue, SamePerson, StaleForm, WrongState
from traceability.messages import say_event
from traceability.reads.happenings import happenings
from traceability.reads.shelf import shelf
from traceability.reads.waiting_acts import waiting_acts
from traceability.storage.rebuild import rebuild


def pauses(ward: Ward, circuit: object, **changes: object) -> Done:
    asked = PausePrime(sent=ward.sent(), circuit_id=circuit, at=ward.now)  # type: ignore[arg-type]
    return pause_prime(replace(asked, **changes), site=ward.site)  # type: ignore[arg-type]


def takes_over(ward: Ward, circuit: object, primer: str = "", helper: str = "") -> Done:
    asked = TakeOver(
        sent=ward.sent(),
        circuit_id=circuit,  # type: ignore[arg-type]
        at=ward.now,
        primer_id=ward.people[primer] if primer else None,
        helper_id=ward.people[helper] if helper else None,
    )
    return take_over(asked, site=ward.site)


def test_a_prime_is_paused_and_taken_over_and_all_of_it_is_on_record(ward: Ward) -> None:
    circuit = ward.begin()
    ward.scan(circuit, code(PACK, "PK1"))
    paused_at = ward.now + MINUTE
    ward.now = paused_at
    by_helper = ward.at("helper")
    pauses(by_helper, circuit)
    with ward.services.reads() as reads:
        (priming,) = shelf(reads, ward.site.id, ward.now).priming
    assert (priming.paused_at, priming.paused_by) == (paused_at, ward.facts(circuit).helper)
    ward.now += HOUR
    done = takes_over(ward.at("primer"), circuit, "primer", "consultant")
    before, after = priming, ward.facts(circuit)
    assert done.facts["handed_by"] == before.paused_by
    assert after.paused_at is None
    assert after.primer_id == ward.people["primer"]
    assert after.helper_id == ward.people["consultant"]
    assert after.handed_over == (ward.now,)
    with ward.services.reads() as reads:
        told = [
            say_event(each.kind, each.body) for each in happenings(reads, ward.site.id, circuit)
        ]
    assert told[0].startswith(f"Prime taken over: {before.primer} and {before.helper} to ")
    assert told[0].endswith(f"handed over by {before.helper}")
    assert told[1] == "Prime paused"
    with ward.site.sessions.begin() as session:
        assert rebuild(session, ward.site.id).changed == ()


def test_who_goes_on_without_a_word_ends_the_pause_and_what_came_late_from_before_does_not(
    ward: Ward,
) -> None:
    circuit = ward.begin()
    ward.now += HOUR
    pauses(ward, circuit)
    paused_at = ward.now
    ward.scan(circuit, code(TAP, "T1"), at=paused_at - MINUTE)
    assert ward.facts(circuit).paused_at == paused_at
    ward.scan(circuit, code(TAP, "T2"))
    assert ward.facts(circuit).paused_at is None
    ward.now += HOUR
    pauses(ward, circuit)
    assert ward.facts(circuit).paused_at == ward.now


def test_nobody_or_one_for_both_takes_nothing_over(ward: Ward) -> None:
    circuit = ward.begin()
    with pytest.raises(BadValue):
        takes_over(ward, circuit)
    with pytest.raises(SamePerson):
        takes_over(ward, circuit, "primer", "primer")
    primed = ward.prime()
    for act in (pauses, lambda w, c: takes_over(w, c, "primer")):
        with pytest.raises(WrongState):
            act(ward, primed)


def test_an_act_that_waits_is_kept_whole_and_settled_once(ward: Ward) -> None:
    circuit = ward.begin()
    asked = KeepAct(
        sent=ward.sent(),
        circuit_id=circuit,
        number="C-0001",
        device_id=ward.device,
        person_id=ward.people["primer"],
        at=ward.now - 800 * HOUR,
        what="scan",
        why=("kept-too-long",),
        said={"slot": "tap-pump"},
        text=code(TAP, "T1"),
    )
    first = keep_act(asked, site=ward.site)
    assert keep_act(asked, site=ward.site) == first
    with ward.services.reads() as reads:
        (waiting,) = waiting_acts(reads, ward.site.id)
    assert (waiting.text, waiting.at, waiting.priming) == (asked.text, asked.at, True)
    with ward.site.sessions.begin() as session:
        assert rebuild(session, ward.site.id).changed == ()
    settled = SettleAct(sent=ward.sent(), waits_no=waiting.waits_no, settled_as="left-out")
    settle_act(settled, site=ward.site)
    with pytest.raises(StaleForm):
        settle_act(replace(settled, sent=ward.sent(uuid4())), site=ward.site)
    with ward.site.sessions.begin() as session:
        assert rebuild(session, ward.site.id).changed == ()
