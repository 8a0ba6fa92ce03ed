"""Texts of any kind reach the store whole, or not at all; what stands for a person is in no byte.

Source: HIBC and GS1 marks of a person as in `scanned.py`; the rest is common practice, no source.
"""

from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from tests.make import PIN, TAP, Ward, code
from traceability.domain.moments import Manner
from traceability.domain.tags import badge_symbol, circuit_symbol
from traceability.storage.kept_apart import KeptApart, is_as_recorded, keep_apart
from traceability.storage.metadata import metadata

ODD = ["NUL \x00 inside", "half \ud83d surrogate", "\x1d\x1e\x04", "\u202e\u0000", "x\x7f" * 30]


@pytest.mark.parametrize("odd", ODD)
def test_any_characters_are_asked_back_and_the_next_scan_counts(ward: Ward, odd: str) -> None:
    circuit = ward.begin()
    assert ward.scan(circuit, odd).verdict == "look-again"
    assert ward.scan(circuit, code(TAP, "T77-0B1")).code == "placed"


@pytest.mark.parametrize("odd", ODD)
def test_a_take_is_never_stopped_by_characters(ward: Ward, odd: str) -> None:
    assert ward.take("", tag_text=odd).code == "taken"


@pytest.mark.parametrize("odd", ODD)
def test_a_patient_reference_of_any_characters_never_breaks_a_run(ward: Ward, odd: str) -> None:
    circuit = ward.prime()
    run = UUID(str(ward.take(circuit).facts["run_id"]))
    ward.patient(run, odd)
    ward.at("stock").product("09521234000099", odd, "syringe")
    ward.foreign(odd)
    ward.flow_on(circuit)
    assert ward.swap(circuit, "syringe", odd, manner=Manner.EMERGENCY).code == "swapped"


def every_byte(ward: Ward) -> Iterator[bytes]:
    """All that the database holds: rows on both, and on SQLite the very files."""
    with ward.reads() as session:
        for table in metadata.sorted_tables:
            yield repr(session.execute(select(table)).all()).encode()
    url = ward.services.settings.store_url
    if url.startswith("sqlite"):
        path = Path(url.removeprefix("sqlite:///"))
        for each in path.parent.glob(f"{path.name}*"):
            yield each.read_bytes()


CANARY = "95212340000000012V"


@pytest.mark.parametrize(
    ("scan", "secret"),
    [
        (f"]d28018{CANARY}", CANARY),
        (f"]d2010952123400001310T1\x1d8018{CANARY}", CANARY),
        (f"]d201095212340000138018{CANARY}", CANARY),
        ("]d201095212340000137256ANNA%20CANARY\x1d10T1", "CANARY"),
        (f"+/{CANARY}", CANARY),
        (f"https://id.gs1.org/8018/{CANARY}", CANARY),
        (f"https://id.gs1.org/8018/{CANARY}/19", CANARY),
        (f"https://id.gs1.org/01/09521234543213?8018={CANARY}", CANARY),
        ("(7250)19801332", "19801332"),
        ("=;A99991234567", "A99991234567"),
        ("=#1980133", "1980133"),
        (f"]d2010952123454321310AB18018{CANARY}", CANARY),
        ("]d2010952123454321310AB18018952123454321123450", "952123454321123450"),
        (badge_symbol("SECRETBADGE"), "SECRETBADGE"),
        (badge_symbol("SECRETBADGE")[:-1], "SECRETBADGE"),
        (PIN, PIN),
    ],
)
def test_wristband_badge_and_pin_are_in_no_byte_of_the_store(
    ward: Ward, scan: str, secret: str
) -> None:
    circuit = ward.begin()
    assert ward.scan(circuit, scan).verdict == "look-again"
    ward.end(circuit, lots_not_recorded=True)
    ward.scan(circuit, scan)
    found = [secret.encode() in each for each in every_byte(ward)]
    assert not any(found)


def test_a_tag_of_a_circuit_is_no_product(ward: Ward) -> None:
    circuit = ward.begin()
    done = ward.scan(circuit, circuit_symbol("2A7K", "C-0001"))
    assert (done.verdict, done.code) == ("look-again", "own-symbol")


def test_what_is_kept_apart_can_be_proved_and_reads_as_it_was_read(ward: Ward) -> None:
    @given(st.text(max_size=60))
    def holds(scanned: str) -> None:
        with ward.services.writes.begin() as session:
            stands = keep_apart(session, scanned, at=ward.now)
        with ward.reads() as session:
            kept = session.get_one(KeptApart, UUID(stands["kept"]))
            assert kept.text == scanned
            assert is_as_recorded(kept, stands["digest"])

    holds()
