"""Whatever is recorded at runs, in whatever order and manner, the record stays whole.

No unit is in two undisputed places at once, no interval runs backwards, and a rebuild makes the
very same rows. The law: data model of the service's own design; common practice, no source.
"""

from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path
from typing import Any, Final
from uuid import UUID

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, select

from tests.make import CANNULA, MINUTE, RED_CELLS, Ward, code, opened_ward
from traceability.domain.at_the_run import in_one_place
from traceability.domain.circuits import Phase
from traceability.domain.moments import Manner
from traceability.errors import Busy, Refused
from traceability.storage.base import Link
from traceability.storage.circuits import CircuitPhase, CircuitPlace, Part, Prime
from traceability.storage.equipment import EquipmentPlace, EquipmentState, EquipmentUse
from traceability.storage.metadata import metadata
from traceability.storage.rebuild import rebuild
from traceability.storage.run_extras import Custody, RunMode, RunPart

LINKS: Final[tuple[type[Link], ...]] = (
    Part,
    Prime,
    CircuitPhase,
    CircuitPlace,
    RunMode,
    RunPart,
    Custody,
    EquipmentState,
    EquipmentUse,
    EquipmentPlace,
)
MANNERS: Final = (Manner.PLANNED, Manner.ANYWAY, Manner.EMERGENCY, Manner.QUEUED)

steps = st.lists(
    st.tuples(
        st.integers(0, 9),  # which act
        st.integers(0, 1),  # on which run or circuit
        st.integers(0, 2),  # with which unit
        st.integers(-200, 30),  # minutes from now, as somebody enters them
        st.sampled_from(MANNERS),
    ),
    min_size=1,
    max_size=22,
)


class Bedside:
    """Two runs, three machines, and whatever was put in so far."""

    def __init__(self, ward: Ward) -> None:
        self.ward = ward
        self.circuits = [ward.prime() for _ in range(2)]
        self.runs: list[UUID] = []
        for circuit in self.circuits:
            self.runs.append(UUID(str(ward.take(circuit).facts["run_id"])))
            ward.flow_on(circuit)
        ward.now += 120 * MINUTE
        self.machines = [ward.machine(f"HC-{number}") for number in range(3)]
        self.parts: list[tuple[UUID, UUID]] = []
        self.uses: list[UUID] = []

    def go(self, act: int, where: int, unit: int, minutes: int, manner: Manner) -> None:
        """Do one act; what is refused writes nothing."""
        ward, run, circuit = self.ward, self.runs[where], self.circuits[where]
        ward.now += MINUTE
        said = {"at": ward.now + minutes * MINUTE, "manner": manner}
        serial = f"S{unit}"
        reason = {"reason": "by-hand", "by": ward.people["consultant"]}
        acts: list[Callable[[], Any]] = [
            lambda: ward.mode(run, ("VV", "VA", "other")[unit], **said),
            lambda: self._put_in(run, serial, said | reason),
            lambda: self._take_out(unit, said),
            lambda: self._connect(said | reason, run_id=run, equipment_id=self.machines[unit]),
            lambda: self._connect(said | reason, circuit_id=circuit, text=f"HC-{unit}"),
            lambda: ward.unequip(self.uses[unit % len(self.uses)], **said),
            lambda: ward.add_part(circuit, code(CANNULA, "CN", serial=serial), **said, **reason),
            lambda: ward.give(circuit, text=code(RED_CELLS, "RC", serial=serial), **said, **reason),
            lambda: self._connect(
                said | reason, run_id=run, what="heater-cooler", none_used=unit == 0
            ),
            lambda: self._ends(where, unit),
        ]
        try:
            acts[act]()
        except Busy:
            raise  # an index refused what no sentence did
        except (Refused, IndexError, ZeroDivisionError):
            pass  # told, or nothing is there yet that could come out

    def _put_in(self, run: UUID, serial: str, said: dict[str, Any]) -> None:
        done = self.ward.part_in(run, code(CANNULA, "CN", serial=serial), **said)
        assert done.subject is not None
        self.parts.append((run, done.subject))

    def _take_out(self, unit: int, said: dict[str, Any]) -> None:
        run, part = self.parts[unit % len(self.parts)]
        self.ward.part_out(run, part, **said)

    def _connect(self, said: dict[str, Any], **what: Any) -> None:
        done = self.ward.equip(**said, **what)
        assert done.subject is not None
        self.uses.append(done.subject)

    def _ends(self, where: int, unit: int) -> None:
        phase = self.ward.facts(self.circuits[where]).standing.phase
        if phase is Phase.ON_PATIENT:
            self.ward.end_run(self.runs[where])
        elif phase is Phase.ENDED and unit:
            self.ward.keep(self.circuits[where])
        elif phase is Phase.KEPT and unit == 1:
            self.ward.pass_on(self.circuits[where])
        else:
            self.ward.discard(self.circuits[where])


def believed(ward: Ward, table: type[Link]) -> list[Any]:
    with ward.reads() as session:
        return list(session.scalars(select(table).where(table.superseded_no.is_(None))))


def stays(rows: Iterable[Any], unit: str) -> dict[UUID, list[tuple[datetime, datetime | None]]]:
    found: dict[UUID, list[tuple[datetime, datetime | None]]] = {}
    for row in rows:
        key = getattr(row, unit)
        if key is not None and not row.disputed:
            found.setdefault(key, []).append((row.valid_from, row.valid_to))
    return found


@settings(
    max_examples=15,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(sequence=steps)
def test_any_sequence_of_acts_leaves_a_whole_record(tmp_path: Path, sequence: list[Any]) -> None:
    folder = tmp_path / str(abs(hash(str(sequence))))
    folder.mkdir(exist_ok=True)
    url = f"sqlite:///{folder / 'sequence.db'}"
    (folder / "sequence.db").unlink(missing_ok=True)
    engine = create_engine(url)
    metadata.create_all(engine)
    engine.dispose()
    with opened_ward(url, folder) as ward:
        bedside = Bedside(ward)
        for step in sequence:
            bedside.go(*step)
        for table in LINKS:
            for row in believed(ward, table):
                assert row.valid_to is None or row.valid_from <= row.valid_to, table
        units = stays((*believed(ward, Part), *believed(ward, RunPart)), "unit_id")
        machines = stays(believed(ward, EquipmentUse), "equipment_id")
        for unit, times in (units | machines).items():
            assert in_one_place(times), unit
        with ward.services.writes.begin() as session:
            assert rebuild(session, ward.site.id).changed == ()


def test_a_use_that_ended_is_told_while_the_machine_serves_elsewhere(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'ended.db'}"
    metadata.create_all(create_engine(url))
    with opened_ward(url, tmp_path) as ward:
        bedside = Bedside(ward)
        bedside.go(9, 1, 0, 0, Manner.PLANNED)  # the second run has ended
        bedside.go(4, 0, 0, 0, Manner.EMERGENCY)  # the machine serves the first circuit now
        bedside.go(3, 1, 0, -30, Manner.EMERGENCY)  # it served the second before: never refused
        (first, second) = sorted(believed(ward, EquipmentUse), key=lambda use: use.recorded_no)
        assert (first.valid_to, first.disputed) == (None, False)
        assert second.valid_from < second.valid_to <= first.valid_from
        assert not second.disputed


def test_the_law_sees_a_unit_in_two_places() -> None:
    noon = datetime.fromisoformat("2031-05-06T12:00:00+00:00")
    assert not in_one_place([(noon, None), (noon + MINUTE, None)])
    assert in_one_place([(noon, noon + MINUTE), (noon + MINUTE, None), (noon, noon)])
