"""Steps of the procedure: lists with versions, what is said of a step, and nothing that blocks."""

from dataclasses import replace
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from tests.make import MINUTE, TROLLEY_2, Ward
from traceability.actions.lists.steps import SetSteps, set_steps
from traceability.actions.once import Done
from traceability.actions.prime.late import EnterPrimeLate, LatePart, enter_prime_late
from traceability.actions.prime.steps import SayStep, TakeStepBack, say_step, take_step_back
from traceability.domain.parts import Known, PartState
from traceability.domain.step_lists import list_of_file
from traceability.domain.steps import StepState
from traceability.errors import BadValue, NotAllowed, NothingToUndo, StaleForm, UnknownCode
from traceability.messages import say_refusal
from traceability.reads.entries import changed_after_signing
from traceability.reads.happenings import happenings
from traceability.reads.steps import StepsFacts, said_before, step_lists, steps_facts
from traceability.storage.circuits import Circuit
from traceability.storage.ledger import LedgerEvent
from traceability.storage.rebuild import rebuild

UTC_ZONE = ZoneInfo("UTC")
EXAMPLE = Path(__file__).parents[2] / "demo_data" / "step_lists" / "wet_closed.toml"


def set_list(ward: Ward, *, read_version: int = 0, leave: int = 0) -> None:
    """Let the unit take the example as its list, without its last steps if told so."""
    steps = list_of_file(EXAMPLE.read_bytes()).steps
    set_steps(
        SetSteps(
            sent=replace(ward.sent(), actor_id=ward.people["stock"]),
            way="wet-closed",
            steps=steps[: len(steps) - leave],
            read_version=read_version,
        ),
        site=ward.site,
    )


def says(ward: Ward, circuit: UUID, step: str, state: str = "done", **more: object) -> Done:
    """Somebody says something of a step."""
    ward.now += MINUTE
    usual = SayStep(
        sent=ward.sent(), circuit_id=circuit, step=step, state=StepState(state), at=ward.now
    )
    return say_step(replace(usual, **more), site=ward.site)  # type: ignore[arg-type]


def says_all(ward: Ward, circuit: UUID) -> None:
    """Say every step as it usually is."""
    for each in stands(ward, circuit).steps:
        readings = {"flow": "1,5", "time": "6", "volume": "1.5", "speed": "3000"}
        asked = {one.id: readings[one.id] for one in each.step.readings}
        says(ward, circuit, each.step.id, readings=asked, other_id=ward.people["helper"])


def stands(ward: Ward, circuit: UUID, as_of_no: int | None = None) -> StepsFacts:
    """Return what stands of the circuit's steps."""
    with ward.reads() as session:
        found = session.get_one(Circuit, (ward.site.id, circuit))
        return steps_facts(session, found, as_of_no)


def test_a_list_has_versions_and_a_prime_keeps_the_one_it_was_begun_with(ward: Ward) -> None:
    before = ward.begin()
    set_list(ward)
    with_all = ward.begin()
    set_list(ward, read_version=1, leave=2)
    with_fewer = ward.begin()
    assert [len(stands(ward, each).steps) for each in (before, with_all, with_fewer)] == [0, 13, 11]
    with ward.reads() as session:
        found = step_lists(session, ward.site.id)
    assert [(each.steps.version, each.primes, each.who) for each in found] == [
        (2, 1, "Stock A."),
        (1, 1, "Stock A."),
    ]
    with pytest.raises(StaleForm):
        set_list(ward, read_version=1)
    with pytest.raises(NotAllowed):
        set_steps(SetSteps(sent=ward.sent(), way="dry", steps=(), read_version=0), site=ward.site)


def test_steps_are_said_in_any_order_and_what_is_open_is_told(ward: Ward) -> None:
    set_list(ward)
    circuit = ward.begin()
    assert stands(ward, circuit).next.step.id == "type-read"  # type: ignore[union-attr]
    assert says(ward, circuit, "covered").verdict == "accepted"
    begun = says(ward, circuit, "co2-flush", "begun")
    assert begun.code == "step-begun"
    ward.now += 5 * MINUTE
    says(ward, circuit, "co2-flush", readings={"flow": "1500 ml/min", "time": "6"})
    now = stands(ward, circuit)
    flush = now.of("co2-flush").said  # type: ignore[union-attr]
    assert flush is not None
    assert flush.at - flush.begun_at == 6 * MINUTE  # type: ignore[operator]
    assert [each.words for each in flush.readings] == ["CO₂ flow 1.5 L/min", "Flushed for 6 min"]
    assert now.co2_ml_min == 1500
    assert {each.step.id for each in now.steps} - {each.step.id for each in now.open} == {
        "covered",
        "co2-flush",
    }


def test_a_reading_outside_its_range_is_kept_as_said_and_asks_to_look_again(ward: Ward) -> None:
    set_list(ward)
    circuit = ward.begin()
    done = says(ward, circuit, "filled", readings={"volume": "150 mL"})
    assert (done.verdict, done.code, done.cautions) == (
        "look-again",
        "step-outside",
        ("reading-outside",),
    )
    assert done.facts["outside"] == ["Volume filled: usual is 0.2 to 2 L"]
    (said,) = stands(ward, circuit).of("filled").said.readings  # type: ignore[union-attr]
    assert (said.value, said.outside) == (150, True)
    assert not stands(ward, circuit).of("filled").is_open  # type: ignore[union-attr]


NOT_TAKEN: tuple[tuple[str, dict[str, str], str], ...] = (
    ("filled", {}, "reading-empty"),
    ("filled", {"volume": "plenty"}, "reading-no-number"),
    ("filled", {"volume": "1,500"}, "reading-two-ways"),
    ("filled", {"volume": "1.5 L/min"}, "reading-other-measure"),
    ("de-aired", {"speed": "-3000"}, "reading-below-nothing"),
    ("de-aired", {"speed": "3000000000"}, "reading-too-large"),
    ("inspected", {}, "step-needs-two"),
)


def test_what_cannot_be_taken_is_told_and_nothing_is_written(ward: Ward) -> None:
    set_list(ward)
    circuit = ward.begin()
    for step, readings, why in NOT_TAKEN:
        with pytest.raises(BadValue) as refused:
            says(ward, circuit, step, readings=readings)
        assert refused.value.facts["why"] == why
        assert len(say_refusal(refused.value, UTC_ZONE)) > 20
    assert len(stands(ward, circuit).open) == 13


def test_two_people_say_a_step_that_asks_for_two(ward: Ward) -> None:
    set_list(ward)
    circuit = ward.begin()
    with pytest.raises(BadValue, match="step-same-person"):
        says(ward, circuit, "inspected", other_id=ward.actor)
    with pytest.raises(UnknownCode):
        says(ward, circuit, "inspected", other_id=UUID(int=7))
    says(ward, circuit, "inspected", other_id=ward.people["helper"])
    found = stands(ward, circuit).of("inspected")
    assert found is not None
    assert {found.who, found.other} == {"Primer A.", "Helper A."}


def test_undo_takes_back_the_last_step_of_this_device_and_what_stood_before_stands_again(
    ward: Ward,
) -> None:
    set_list(ward)
    circuit = ward.begin()
    says(ward, circuit, "filled", readings={"volume": "1.4"})
    says(ward, circuit, "filled", readings={"volume": "14"})
    with pytest.raises(NothingToUndo):
        ward.undo(circuit, device=TROLLEY_2)
    assert ward.undo(circuit).code == "step-taken-back"
    (said,) = stands(ward, circuit).of("filled").said.readings  # type: ignore[union-attr]
    assert said.value == 1400
    says(ward, circuit, "filled", readings={"volume": "1.3"})
    ward.undo(circuit)
    ward.undo(circuit)  # the first one too, although it was brought back in between
    assert stands(ward, circuit).of("filled").said is None  # type: ignore[union-attr]
    says(ward, circuit, "filled", readings={"volume": "1.4"})
    asked = TakeStepBack(sent=ward.sent(), circuit_id=circuit, step="filled", at=ward.now)
    take_step_back(asked, site=ward.site)
    assert stands(ward, circuit).of("filled").said is None  # type: ignore[union-attr]
    with pytest.raises(NothingToUndo):
        take_step_back(replace(asked, sent=ward.sent()), site=ward.site)
    with ward.reads() as session:
        before = said_before(session, ward.site.id, circuit)
        told = [each.kind for each in happenings(session, ward.site.id, circuit)]
    assert [each.readings[0] for each in before] == [
        "Volume filled 1.4 L",
        "Volume filled 14 L",
        "Volume filled 1.3 L",
        "Volume filled 1.4 L",
    ]
    assert told.count("step-said") == 4
    assert told.count("step-taken-back") == 4


def test_a_step_of_one_type_is_not_asked_of_another(ward: Ward) -> None:
    first, second, *_ = list_of_file(EXAMPLE.read_bytes()).steps
    asked = SetSteps(
        sent=replace(ward.sent(), actor_id=ward.people["stock"]),
        way="wet-closed",
        steps=(replace(first, circuit_types=("Neonatal 1/4",)), second),
        read_version=0,
    )
    set_steps(asked, site=ward.site)
    circuit = ward.begin()
    assert [each.step.id for each in stands(ward, circuit).steps] == [second.id]
    with pytest.raises(UnknownCode):
        says(ward, circuit, first.id)


def test_open_steps_never_hold_up_the_end_and_are_recorded_with_it(ward: Ward) -> None:
    set_list(ward)
    circuit = ward.begin()
    ward.fill(circuit)
    says(ward, circuit, "type-read")
    says(ward, circuit, "covered", "not-done", reason="patient-waits")
    with pytest.raises(BadValue):
        says(ward, circuit, "clamped", "not-done", reason="felt-like-it")
    done = ward.end(circuit)
    assert "steps-not-said" in done.cautions
    with ward.reads() as session:
        body = session.scalar(select(LedgerEvent.body).filter_by(kind="prime-ended"))
    assert '"steps_open":["packs-looked-at",' in (body or "")
    assert "covered" not in (body or "").partition('"steps_open"')[2].partition("]")[0]


def test_after_the_end_a_step_is_said_late_and_a_reading_set_right_leaves_the_signatures(
    ward: Ward,
) -> None:
    set_list(ward)
    circuit = ward.begin()
    ward.fill(circuit)
    says_all(ward, circuit)
    assert not ward.end(circuit).cautions
    ward.sign(circuit, "primer")
    signed = ward.sign(circuit, "helper").last_no
    with ward.reads() as session:
        assert changed_after_signing(session, ward.site.id, circuit) is None
    with pytest.raises(NotAllowed):
        says(ward.at("stock"), circuit, "filled", readings={"volume": "1.6"})
    done = says(ward.at("helper"), circuit, "filled", readings={"volume": "1.6"})
    assert done.facts["late"] is True
    said = stands(ward, circuit).of("filled").said  # type: ignore[union-attr]
    assert said is not None
    assert (said.readings[0].value, said.late) == (1600, True)
    then = stands(ward, circuit, signed).of("filled").said  # type: ignore[union-attr]
    assert then is not None
    assert then.readings[0].value == 1500
    with ward.reads() as session:
        assert changed_after_signing(session, ward.site.id, circuit) == done.last_no
    assert ward.facts(circuit).state == "ready"


def test_a_prime_from_paper_says_its_steps_late(ward: Ward) -> None:
    set_list(ward)
    asked = EnterPrimeLate(
        sent=ward.sent(),
        circuit_type="Adult 3/8",
        begun_at=ward.now - 60 * MINUTE,
        ended_at=ward.now - 30 * MINUTE,
        parts=(
            LatePart(slot="ties", ordinal=1, kind="tie", state=PartState.TICKED, known=Known.SAID),
        ),
        lots_not_recorded=True,
    )
    circuit = enter_prime_late(asked, site=ward.site).subject
    assert circuit is not None
    done = says(ward, circuit, "co2-flush", readings={"flow": "1", "time": "5"})
    assert done.facts["late"] is True
    said = stands(ward, circuit).of("co2-flush").said  # type: ignore[union-attr]
    assert said is not None
    assert said.late


def test_the_same_request_again_is_the_same_step(ward: Ward) -> None:
    set_list(ward)
    circuit = ward.begin()
    asked = SayStep(
        sent=ward.sent(), circuit_id=circuit, step="type-read", state=StepState.DONE, at=ward.now
    )
    first = say_step(asked, site=ward.site)
    assert say_step(asked, site=ward.site) == first


def test_rebuild_makes_the_same_rows(ward: Ward) -> None:
    set_list(ward)
    circuit = ward.begin()
    ward.fill(circuit)
    says(ward, circuit, "filled", readings={"volume": "0.1"})
    says(ward, circuit, "filled", readings={"volume": "1"})
    ward.undo(circuit)
    says(ward, circuit, "co2-flush", "begun")
    says(ward, circuit, "covered", "not-done", reason="patient-waits")
    ward.end(circuit)
    with ward.services.writes() as session:
        assert rebuild(session, ward.site.id).changed == ()
        session.rollback()
