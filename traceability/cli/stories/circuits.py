"""Facts about circuits and patients, each entered by the act that a person would use."""

from collections.abc import Iterator
from uuid import UUID

from traceability.actions.circuit.foreign import TakeInForeign, take_in_foreign
from traceability.actions.circuit.foreign_list import ListedPart, ListForeign, list_foreign
from traceability.actions.circuit.keep import DiscardCircuit, discard_circuit
from traceability.actions.corrections.merge_references import MergeReferences, merge_references
from traceability.actions.once import Done
from traceability.actions.prime.late import EnterPrimeLate, enter_prime_late
from traceability.actions.run.flow import FlowOff, FlowOn, flow_off, flow_on
from traceability.actions.run.patient import SetPatient, set_patient
from traceability.actions.run.swap_late import EnterSwapLate, enter_swap_late
from traceability.cli.stories.entering import CIRCUIT_TYPE, Entering, enters
from traceability.cli.stories.form import Given
from traceability.domain.moments import Manner
from traceability.errors import WrongState


@enters("prime")
def prime(story: Entering, fact: Given) -> Iterator[Done]:
    """A prime, as if it had been on paper."""
    name = fact["circuit"]
    asked = EnterPrimeLate(
        sent=story.sent(),
        circuit_type=CIRCUIT_TYPE,
        begun_at=fact["at"],
        ended_at=fact["at"],
        parts=tuple(story.late_part(name, part) for part in fact["parts"]),
        circuit_id=story.circuits.get(name),
    )
    done = enter_prime_late(asked, site=story.site)
    story.know(name, done)
    yield done


@enters("swap")
def swap(story: Entering, fact: Given) -> Iterator[Done]:
    """A swap, as if it had been on paper."""
    name = fact["circuit"]
    circuit_id = story.circuit(name, fact)
    slot, ordinal, inside = _place(story, name, fact["out"])
    asked = EnterSwapLate(
        sent=story.sent(),
        circuit_id=circuit_id,
        at=fact["at"],
        out_slot=slot,
        out_ordinal=ordinal,
        out_inside=inside,
        part_in=None if fact["part_in"] is None else story.late_part(name, fact["part_in"]),
    )
    yield enter_swap_late(asked, site=story.site)


def _place(story: Entering, circuit: str, part: str | None) -> tuple[str, int, str]:
    """Return slot, ordinal and, for a part inside a pack, its kind; ("", 1, "") for no part."""
    if part is None:
        return "", 1, ""
    pack, slash, inside = part.partition("/")
    if slash and (circuit, part) not in story.places and (circuit, pack) in story.places:
        return (*story.places[circuit, pack], inside)
    return (*story.places.setdefault((circuit, part), (part, 1)), "")


@enters("connect")
def connect(story: Entering, fact: Given) -> Iterator[Done]:
    """Taken, flow on, and who the patient is."""
    taken = story.take(fact["circuit"], fact)
    run_id = UUID(str(taken.facts["run_id"]))
    on = FlowOn(
        sent=story.sent(),
        circuit_id=story.circuits[fact["circuit"]],
        at=fact["at"],
        manner=Manner.QUEUED,
        run_id=run_id,
    )
    yield flow_on(on, site=story.site)
    yield taken
    who = SetPatient(sent=story.sent(), run_id=run_id, reference=fact["patient"], at=fact["at"])
    yield set_patient(who, site=story.site)


@enters("disconnect")
def disconnect(story: Entering, fact: Given) -> Iterator[Done]:
    """Flow off."""
    yield _off(story, fact, transferred=False)


@enters("transfer_out")
def transfer_out(story: Entering, fact: Given) -> Iterator[Done]:
    """Flow off here, because patient and circuit leave together."""
    yield _off(story, fact, transferred=True)


def _off(story: Entering, fact: Given, *, transferred: bool) -> Done:
    asked = FlowOff(
        sent=story.sent(),
        circuit_id=story.circuit(fact["circuit"], fact),
        at=fact["at"],
        manner=Manner.QUEUED,
        transferred=transferred,
    )
    return flow_off(asked, site=story.site)


@enters("discard")
def discard(story: Entering, fact: Given) -> Iterator[Done]:
    """Thrown away. The record may not have it so yet, and no answer rests on it."""
    asked = DiscardCircuit(
        sent=story.sent(),
        circuit_id=story.circuit(fact["circuit"], fact),
        reason="other",
        at=fact["at"],
    )
    try:
        yield discard_circuit(asked, site=story.site)
    except WrongState:
        return


@enters("foreign_in")
def foreign_in(story: Entering, fact: Given) -> Iterator[Done]:
    """A circuit comes in from elsewhere, or comes back."""
    name = fact["circuit"]
    asked = TakeInForeign(
        sent=story.sent(), sender=name, at=fact["at"], circuit_id=story.circuits.get(name)
    )
    done = take_in_foreign(asked, site=story.site)
    story.know(name, done)
    yield done


@enters("foreign_list")
def foreign_list(story: Entering, fact: Given) -> Iterator[Done]:
    """What the sending hospital says is in it."""
    name = fact["circuit"]
    parts = [story.late_part(name, part) for part in fact["parts"]]
    asked = ListForeign(
        sent=story.sent(),
        circuit_id=story.circuit(name, fact),
        parts=tuple(
            ListedPart(
                kind=part.kind,
                slot=part.slot,
                product_id=part.product_id,
                lot_text=part.lot_text,
                serial=part.serial,
            )
            for part in parts
        ),
        complete=fact["complete"],
        source="as told in the story",
        as_it_stands=True,
        at=fact["at"],
    )
    yield list_foreign(asked, site=story.site)


@enters("merge")
def merge(story: Entering, fact: Given) -> Iterator[Done]:
    """One patient identity becomes another."""
    asked = MergeReferences(
        sent=story.sent(), source=fact["from"], into=fact["into"], at=fact["at"]
    )
    yield merge_references(asked, site=story.site)
