"""A circuit's life: primed, on and off patients, gone, come from elsewhere."""

from collections.abc import Iterator

from traceability.domain.events import Kind, Recorded
from traceability.domain.shelves import facts as told
from traceability.recall.told.parts import part_primed
from traceability.recall.told.registry import Telling, stem, tells
from traceability.storage.runs import Run


@tells("prime-entered-late")
def prime_entered_late(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """A whole prime at once. A part may have been in since it began."""
    circuit = event.text("circuit")
    parts = (part_primed(telling, event.inner(row), circuit) for row in event.rows("parts"))
    yield told.Prime(
        id=str(event.number),
        at=event.moment("begun_at"),
        recorded_at=event.recorded_at,
        circuit=circuit,
        parts=tuple(part for part in parts if part is not None),
    )


@tells(Kind.PRIME_ENDED)
def prime_ended(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """From here on its contents are known; its parts were told one by one. What leaves, left."""
    circuit = event.text("circuit")
    yield told.Prime(**stem(event), circuit=circuit)
    placed = telling.standing.pop(circuit, {})
    for line, part in enumerate(part for part in placed.values() if part.leaves):
        yield told.Swap(**stem(event, f"left-{line}"), circuit=circuit, out=part.name)


@tells(Kind.FLOW_ON)
def flow_on(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """On a patient, who is known by the run until somebody says who it is."""
    run = telling.session.get_one(Run, (telling.site_id, event.key("run")))
    yield told.Connect(**stem(event), circuit=event.text("circuit"), patient=f"run {run.number}")


@tells(Kind.FLOW_OFF)
def flow_off(_: Telling, event: Recorded) -> Iterator[told.Fact]:
    """Off the patient, or away with the patient."""
    gone = told.TransferOut if event.flag("transferred") else told.Disconnect
    yield gone(**stem(event), circuit=event.text("circuit"))


@tells(Kind.CIRCUIT_DISCARDED)
def discarded(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """Thrown away."""
    telling.standing.pop(event.text("circuit"), None)
    yield told.Discard(**stem(event), circuit=event.text("circuit"))


@tells(Kind.FOREIGN_ARRIVED)
def foreign_arrived(_: Telling, event: Recorded) -> Iterator[told.Fact]:
    """Primed elsewhere, or back from elsewhere."""
    yield told.ForeignIn(**stem(event), circuit=event.text("circuit"))


@tells("foreign-listed")
def foreign_listed(telling: Telling, event: Recorded) -> Iterator[told.Fact]:
    """What the sending hospital says is in it."""
    circuit = event.text("circuit")
    parts = (part_primed(telling, event.inner(row), circuit) for row in event.rows("parts"))
    yield told.ForeignList(
        **stem(event),
        circuit=circuit,
        complete=event.flag("complete"),
        parts=tuple(part for part in parts if part is not None),
    )
