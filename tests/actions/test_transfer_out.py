"""A circuit leaves with its contents, and another hospital takes them in as stated.

Source of the rules: common practice, no source; settled in review with people of the trade.
"""

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest

from tests.actions.test_foreign_list import shelves
from tests.make import HOUR, TAP, Ward, code, opened_ward
from tests.recall.asking import asked, confirmed
from traceability.actions.circuit.foreign_list import ListForeign, list_foreign
from traceability.actions.circuit.listed_parts import lines_of
from traceability.actions.once import Done
from traceability.actions.run.transfer_out import TransferOut, transfer_out
from traceability.domain.circuits import State
from traceability.domain.contents_file import digest_of, read_file, write_file
from traceability.errors import BadValue, WrongMoment, WrongState
from traceability.recall_messages import met_words, patient_times, why_words
from traceability.storage.circuits import Circuit
from traceability.storage.contents import contents_of
from traceability.storage.rebuild import rebuild

PATIENT = "SOUND-2207"


@pytest.fixture
def neighbour(sqlite_template: Path, tmp_path: Path) -> Iterator[Ward]:
    """Another hospital with a store of its own."""
    copy = tmp_path / "neighbour.db"
    shutil.copyfile(sqlite_template, copy)
    with opened_ward(f"sqlite:///{copy}", tmp_path / "neighbour") as ward:
        yield ward


def out(ward: Ward, circuit: UUID, **changes: Any) -> Done:
    usual = TransferOut(sent=ward.sent(), circuit_id=circuit, to="Inventium North ICU", at=ward.now)
    return transfer_out(replace(usual, **changes), site=ward.site)


def file_of(ward: Ward, circuit: UUID) -> bytes:
    with ward.reads() as reads:
        return write_file(contents_of(reads, reads.get_one(Circuit, (ward.site.id, circuit))))


def on_a_patient(ward: Ward) -> UUID:
    circuit = ward.prime()
    taken = ward.take(circuit)
    ward.flow_on(circuit)
    ward.at("bedside").patient(UUID(str(taken.facts["run_id"])), PATIENT)
    return circuit


def test_a_circuit_leaves_with_its_patient_and_stays_ours_to_report(ward: Ward) -> None:
    circuit = on_a_patient(ward)
    ward.now += 2 * HOUR
    done = out(ward, circuit)
    assert done.facts["run"] == "R-0001"
    assert ward.facts(circuit).state is State.TRANSFERRED_OUT
    assert ward.facts(circuit).place == ""
    found = asked(ward, TAP, "T77-0B1")
    (row,), (patient,) = confirmed(found), found.patients
    assert patient.continues_beyond_our_record
    for words in (met_words(row.met[0], ward.site.zone), patient_times(patient, ward.site.zone)):
        assert "beyond our record: transferred out" in words


def test_a_circuit_that_nobody_is_on_can_be_lent(ward: Ward) -> None:
    circuit = ward.prime()
    ward.now += HOUR
    done = out(ward, circuit, to="")
    assert done.facts["run"] is None
    assert ward.facts(circuit).state is State.TRANSFERRED_OUT


def test_the_file_names_every_part_and_no_patient(ward: Ward) -> None:
    circuit = on_a_patient(ward)
    ward.now += HOUR
    ward.swap(circuit, "tap-pump", code(TAP, "T88"))
    ward.swap(circuit, "saline", "")  # the bag is gone, what was in it is not
    ward.now += HOUR
    done = out(ward, circuit)
    data = file_of(ward, circuit)
    contents, digest = read_file(data)
    assert digest == digest_of(contents) == done.facts["digest"]
    assert (contents.number, contents.complete) == ("C-0001", True)
    lots = sorted(part.lot for part in contents.parts if part.kind in {"tap", "fluid"} and part.lot)
    assert lots == ["4K0O17I1", "4K0O17I1", "T77-0B1", "T77-0B1", "T88"]
    assert [part.place for part in contents.parts if part.priming_only] == ["Syringe"]
    for said in (PATIENT, "R-0001", "Primer A.", "Helper A.", str(circuit)):
        assert said.encode() not in data


def test_the_file_out_of_one_store_is_the_stated_list_of_another(
    ward: Ward, neighbour: Ward
) -> None:
    circuit = on_a_patient(ward)
    ward.now += HOUR
    out(ward, circuit)
    contents, digest = read_file(file_of(ward, circuit))
    arrived = neighbour.foreign("Norrvik Sound Hospital")
    list_foreign(
        ListForeign(
            sent=neighbour.sent(),
            circuit_id=arrived,
            parts=lines_of(contents),
            complete=contents.complete,
            source=f"{contents.site}, {contents.unit}",
            at=neighbour.now,
            file_digest=digest,
        ),
        site=neighbour.site,
    )
    found = asked(neighbour, TAP, "T77-0B1")
    assert shelves(found) == (["X-0001"], [])
    assert why_words(confirmed(found)[0]) == (
        "3 × tap, lot T77-0B1, stated by the sending hospital."
    )
    assert shelves(asked(neighbour, TAP, "T9")) == ([], [])
    # What is inside the pack is listed as such, and stays open.
    states = {part.kind: str(part.state) for part in neighbour.facts(arrived).now_in}
    assert states["line"] == "inside-pack"
    # And it can go on to a third hospital.
    onward = read_file(file_of(neighbour, arrived))[0]
    assert onward.complete
    assert {part.known for part in onward.parts if part.kind == "tap"} == {"stated"}
    with neighbour.services.writes() as session:
        assert rebuild(session, neighbour.site.id).changed == ()
        session.rollback()


def test_a_product_that_only_the_sender_knows_builds_no_prime_here(
    ward: Ward, neighbour: Ward
) -> None:
    """What another file says must not carry a pack or a fluid past a stop."""
    ward.product("09521234000105", "Other pack", "circuit-pack", circuit_type="Adult 3/8")
    circuit = ward.begin()
    ward.scan(circuit, code("09521234000105", "PK9"))
    ward.end(circuit, lots_not_recorded=True)
    contents, digest = read_file(file_of(ward, circuit))
    arrived = neighbour.foreign()
    asked_for = ListForeign(
        sent=neighbour.sent(),
        circuit_id=arrived,
        parts=lines_of(contents),
        complete=True,
        source="Norrvik Sound Hospital",
        at=neighbour.now,
        file_digest=digest,
    )
    list_foreign(asked_for, site=neighbour.site)
    mine = neighbour.begin()
    assert neighbour.scan(mine, code("09521234000105", "PK9")).code == "wrong-type"


def test_what_cannot_leave_is_told_why(ward: Ward) -> None:
    priming = ward.begin()
    with pytest.raises(WrongState):
        out(ward, priming)
    circuit = ward.prime()
    with pytest.raises(WrongMoment):
        out(ward, circuit, at=ward.now - 5 * HOUR)
    with pytest.raises(BadValue):
        out(ward, circuit, to="x" * 201)
    sent = ward.sent()
    one, two = (out(ward, circuit, sent=sent) for _ in range(2))
    assert one == two
    with pytest.raises(WrongState):
        out(ward, circuit)
    with ward.services.writes() as session:
        assert rebuild(session, ward.site.id).changed == ()
        session.rollback()
