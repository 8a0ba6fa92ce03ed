"""What people do at the shelf, and what the shelf says of it.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import func, select

from tests.make import HOUR, MINUTE, SLOTS, TYPE, Ward
from traceability.actions.circuit.look_at import LookAt, look_at
from traceability.actions.circuit.open_up import OpenUp, open_up
from traceability.actions.circuit.tell import ToldByHand, told_by_hand
from traceability.actions.lists.sheets import SetSheet, set_sheet
from traceability.actions.lists.site import SetPlace, SetPolicy, set_place, set_policy
from traceability.actions.once import Done
from traceability.domain.circuits import State
from traceability.domain.moments import Manner
from traceability.domain.readiness import Why
from traceability.errors import (
    BadValue,
    CautionsFirst,
    NotAllowed,
    SignInNeeded,
    UnknownCode,
    WrongState,
)
from traceability.reads.shelf import RequiredPlace, Shelf, shelf
from traceability.storage.kept_apart import KeptApart
from traceability.storage.ledger import LedgerEvent
from traceability.storage.rebuild import rebuild
from traceability.storage.shelf import ShelfCheck
from traceability.storage.shelf import ToldByHand as ToldRow


def looks(ward: Ward, circuit: UUID, *findings: str, **changes: Any) -> Done:
    """Look at a circuit on the shelf."""
    usual = LookAt(sent=ward.sent(), circuit_id=circuit, findings=findings, at=ward.now)
    return look_at(replace(usual, **changes), site=ward.site)


def wants(ward: Ward, name: str, **changes: Any) -> Done:
    """Say what a place wants."""
    usual = SetPlace(
        sent=ward.at("administrator").sent(),
        place_id=ward.places[name],
        code=name.replace(" ", "-").upper(),
        name=name,
        place_kind="console",
        stands_for="mounted",
    )
    return set_place(replace(usual, **changes), site=ward.site)


def another_type(ward: Ward) -> None:
    """Add a circuit type beside the ward's own."""
    sheet = SetSheet(
        sent=ward.at("stock").sent(),
        circuit_type="Neonatal 1/4",
        way="wet-closed",
        fill_ml=500,
        slots=SLOTS,
        read_version=0,
    )
    set_sheet(sheet, site=ward.site)


def seen(ward: Ward) -> Shelf:
    with ward.reads() as session:
        return shelf(session, ward.site.id, ward.now)


def at(found: Shelf, name: str) -> RequiredPlace:
    return next(each for each in found.required if each.place.name == name)


def test_every_reason_why_a_circuit_does_not_count_is_given(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    ward.drop(circuit, "syringe")
    ward.say(circuit, "not-fitted", "syringe")
    ward.end(circuit)
    ward.sign(circuit, "primer")
    ward.at("consultant").hold("circuit", circuit)
    looks(ward, circuit, "seal")
    another_type(ward)
    wants(ward, "console 3", accepts=("Neonatal 1/4",))
    ward.now += timedelta(days=30)
    (first,) = at(seen(ward), "console 3").not_counted
    assert first.reasons == (
        Why.ON_HOLD,
        Why.NOT_RIGHT,
        Why.PAST_USE_BY,
        Why.UNSIGNED,
        Why.PART_NOT_FITTED,
        Why.WRONG_TYPE,
    )


def test_a_place_that_wants_two_is_filled_by_two_and_others_fill_no_other_place(
    ward: Ward,
) -> None:
    wants(ward, "console 3", wanted=2)
    first = ward.prime()
    assert (at(seen(ward), "console 3").missing, at(seen(ward), "console 3").missing_since) == (
        1,
        None,
    )
    ward.prime()
    third = ward.prime()
    found = seen(ward)
    assert (found.ready, found.target, found.beyond) == (2, 3, 1)
    assert at(found, "console 3").missing == 0
    ward.now += HOUR
    ward.take(first)
    assert at(seen(ward), "console 3").missing == 0
    ward.now += HOUR
    ward.take(third)
    console = at(seen(ward), "console 3")
    assert (console.missing, console.missing_since) == (1, ward.now)


def test_a_wrong_type_and_one_that_is_too_short_are_said_and_not_counted(ward: Ward) -> None:
    circuit = ward.prime()
    wants(ward, "console 3", least_left_minutes=12 * 60)
    use_by = ward.facts(circuit).use_by
    assert use_by is not None
    ward.now = use_by - 12 * HOUR
    assert seen(ward).ready == 1
    ward.now += MINUTE
    console = at(seen(ward), "console 3")
    assert [one.reasons for one in console.not_counted] == [(Why.TOO_SHORT,)]
    # The clock runs since it became too short, not since its use-by.
    assert console.missing_since == use_by - 12 * HOUR


@pytest.mark.parametrize(
    "wrong",
    [
        {"wanted": 0},
        {"wanted": 10},
        {"least_left_minutes": -1},
        {"least_left_minutes": 10**6},
        {"accepts": ("Neonatal 9/9",)},
    ],
)
def test_what_a_place_cannot_want_is_refused(ward: Ward, wrong: dict[str, Any]) -> None:
    with pytest.raises(BadValue):
        wants(ward, "console 3", **wrong)


def test_a_look_that_found_something_keeps_it_from_counting_until_a_good_one(ward: Ward) -> None:
    circuit = ward.prime()
    ward.now += HOUR
    done = looks(ward, circuit, "clamps", "seal")
    assert (done.code, done.facts["good"]) == ("shelf-checked", False)
    found = at(seen(ward), "console 3")
    assert [one.reasons for one in found.not_counted] == [(Why.NOT_RIGHT,)]
    assert found.missing_since == ward.now
    (one,) = found.not_counted
    assert one.look is not None
    assert one.look.findings == ("seal", "clamps")
    assert ward.facts(circuit).state is State.NOT_RIGHT
    ward.now += HOUR
    looks(ward, circuit)
    assert (seen(ward).ready, ward.facts(circuit).state) == (1, State.READY)


def test_what_the_last_look_found_never_stops_an_emergency_and_stops_a_planned_take(
    ward: Ward,
) -> None:
    circuit = ward.prime()
    looks(ward, circuit, "other")
    planned = {"manner": Manner.PLANNED, "sent": ward.sent()}
    with pytest.raises(CautionsFirst):
        ward.take(circuit, **planned)
    with pytest.raises(NotAllowed):
        ward.take(circuit, **planned, reason="patient-waits")
    assert ward.take(circuit).cautions == ("not-right",)


def test_a_look_is_due_a_day_after_the_last_and_the_shelf_says_so(ward: Ward) -> None:
    circuit = ward.prime()
    primed = ward.now
    (one,) = at(seen(ward), "console 3").ready
    assert (one.look, one.look_overdue, one.look_due_at) == (None, False, primed + 24 * HOUR)
    ward.now += 10 * HOUR
    looks(ward, circuit)
    ward.now += 24 * HOUR - MINUTE
    (one,) = at(seen(ward), "console 3").ready
    assert not one.look_overdue
    ward.now += MINUTE
    (one,) = at(seen(ward), "console 3").ready
    assert (one.look_overdue, one.reasons, seen(ward).ready) == (True, (), 1)


def test_only_what_stands_primed_is_looked_at_by_somebody_signed_in(ward: Ward) -> None:
    priming = ward.begin()
    with pytest.raises(WrongState):
        looks(ward, priming)
    circuit = ward.prime()
    with pytest.raises(BadValue):
        looks(ward, circuit, "colour")
    with pytest.raises(UnknownCode):
        looks(ward, uuid4())
    with pytest.raises(SignInNeeded):
        looks(ward.at(""), circuit)
    ward.take(circuit)
    with pytest.raises(WrongState):
        looks(ward, circuit)


def test_a_look_sent_twice_is_one(ward: Ward) -> None:
    circuit, sent = ward.prime(), ward.sent()
    assert looks(ward, circuit, "level", sent=sent) == looks(ward, circuit, "level", sent=sent)
    with ward.reads() as session:
        assert session.scalar(select(func.count()).select_from(ShelfCheck)) == 1


def told(ward: Ward, who: str = "E. Lind, charge consultant", **changes: Any) -> Done:
    usual = ToldByHand(
        sent=ward.sent(),
        who=who,
        reason="missing",
        at=ward.now,
        place_id=ward.places["console 3"],
    )
    return told_by_hand(replace(usual, **changes), site=ward.site)


def test_who_was_told_by_hand_stands_beside_the_missing_place_and_never_in_the_ledger(
    ward: Ward,
) -> None:
    told(ward, "told before, of an earlier gap")
    circuit = ward.prime()
    ward.now += HOUR
    ward.take(circuit)
    ward.now += 5 * MINUTE
    told(ward)
    (word,) = at(seen(ward), "console 3").told
    assert (word.who, word.at, word.reason) == ("E. Lind, charge consultant", ward.now, "missing")
    with ward.reads() as session:
        bodies = session.scalars(select(LedgerEvent.body)).all()
        assert not any("Lind" in body for body in bodies)
        kept = session.scalars(
            select(KeptApart.text).join(ToldRow, ToldRow.kept_id == KeptApart.id)
        )
        assert "E. Lind, charge consultant" in kept.all()


@pytest.mark.parametrize(
    "wrong",
    [
        {"who": "  "},
        {"who": "x" * 201},
        {"reason": "gossip"},
        {"place_id": None},
    ],
)
def test_a_word_about_nothing_or_to_nobody_is_refused(ward: Ward, wrong: dict[str, Any]) -> None:
    with pytest.raises(BadValue):
        told(ward, **wrong)


def test_a_word_about_a_place_that_nobody_knows_is_refused(ward: Ward) -> None:
    with pytest.raises(UnknownCode):
        told(ward, place_id=uuid4())


def test_an_opened_circuit_is_used_within_the_days_of_an_opened_one(ward: Ward) -> None:
    """Open and wet, 5 d: Deptula et al., Perfusion 2021;36(2):130-137, abstract."""
    circuit = ward.prime()
    before = ward.facts(circuit)
    assert (before.way, before.opened_at) == ("wet-closed", None)
    ward.now += 48 * HOUR
    done = open_up(OpenUp(sent=ward.sent(), circuit_id=circuit, at=ward.now), site=ward.site)
    after = ward.facts(circuit)
    assert (after.way, after.opened_at) == ("wet-open", ward.now)
    assert after.use_by == ward.now + timedelta(days=5)
    assert datetime.fromisoformat(str(done.facts["use_by"])) == after.use_by
    assert (after.decides["code"], after.comes_next["code"]) == (
        "policy-wet-open",
        "policy-wet-closed",
    )
    assert after.ended_at == before.ended_at
    with pytest.raises(WrongState):
        open_up(OpenUp(sent=ward.sent(), circuit_id=circuit, at=ward.now), site=ward.site)


def test_opening_it_late_never_makes_the_use_by_later(ward: Ward) -> None:
    circuit = ward.prime()
    use_by = ward.facts(circuit).use_by
    ward.now += timedelta(days=28)
    open_up(OpenUp(sent=ward.sent(), circuit_id=circuit, at=ward.now), site=ward.site)
    assert ward.facts(circuit).use_by == use_by


def test_how_it_stands_is_chosen_when_the_prime_ends(ward: Ward) -> None:
    circuit = ward.begin()
    ward.fill(circuit)
    with pytest.raises(BadValue):
        ward.end(circuit, way="boiled")
    with pytest.raises(BadValue):
        ward.end(circuit, way="dry")  # a dry one holds no fluid
    ward.end(circuit, way="wet-open")
    facts = ward.facts(circuit)
    assert facts.ended_at is not None
    assert (facts.way, facts.use_by) == ("wet-open", facts.ended_at + timedelta(days=5))


def test_a_dry_one_stands_sixty_days_and_has_no_plasticiser_note(ward: Ward) -> None:
    """Dry, 60 d: Deptula et al., as above. Note over 28 d: Horne et al., JECT 2009;41:199."""
    dry, wet = ward.begin(), ward.prime()
    ward.fill(dry)
    ward.end(dry, way="dry", fill_ml=0)
    facts = ward.facts(dry)
    assert facts.ended_at is not None
    assert (facts.way, facts.use_by) == ("dry", facts.ended_at + timedelta(days=60))
    ended = ward.facts(wet).ended_at
    assert ended is not None
    ward.now = ended + timedelta(days=28)
    assert {one.wet_days for one in _all(seen(ward))} == {None}
    ward.now += timedelta(days=1)
    assert {one.circuit.id: one.wet_days for one in _all(seen(ward))} == {dry: None, wet: 29}


def _all(found: Shelf) -> list[Any]:
    return [one for each in found.required for one in (*each.ready, *each.not_counted)]


def test_a_rebuild_makes_the_same_rows(ward: Ward) -> None:
    wants(ward, "console 3", wanted=2, accepts=(TYPE,), least_left_minutes=90)
    circuit = ward.prime()
    looks(ward, circuit, "seal")
    looks(ward, circuit)
    told(ward)
    told(ward, place_id=None, circuit_id=circuit, reason="not-right")
    open_up(OpenUp(sent=ward.sent(), circuit_id=circuit, at=ward.now), site=ward.site)
    with ward.services.writes.begin() as session:
        assert rebuild(session, ward.site.id).changed == ()


def test_an_opened_fluid_limits_from_when_the_first_bag_went_in(ward: Ward) -> None:
    """Hours after opening: common practice, no source; the pharmacist sets them."""
    asked = SetPolicy(
        sent=ward.at("stock").sent(),
        wet_closed_days=30,
        dry_days=60,
        wet_open_days=5,
        blood_minutes=240,
        opened_fluid_minutes=90,
        parts_expiry_counts=True,
        read_version=1,
    )
    set_policy(asked, site=ward.site)
    circuit = ward.begin()
    ward.fill(circuit)
    bag_in = min(part.from_ for part in ward.facts(circuit).parts if part.kind == "fluid")
    ward.now += 30 * MINUTE
    ward.end(circuit)
    facts = ward.facts(circuit)
    assert (facts.decides["code"], facts.use_by) == ("opened-fluid", bag_in + 90 * MINUTE)
