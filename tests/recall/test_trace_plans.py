"""Nothing that is asked passes over the whole store, on SQLite without any statistics."""

from pathlib import Path
from typing import Any, Final
from uuid import UUID

from sqlalchemy import create_engine

from tests.make import CANNULA, TAP, code, opened_ward
from tests.recall.test_plans import KNOWN, WHOLE_TABLE, _statements
from traceability.domain.keys import product_key
from traceability.domain.trace import Sort
from traceability.recall.meant import meant
from traceability.recall.subjects import subject_of
from traceability.recall.trace import trace
from traceability.storage.metadata import metadata

BY_TIME: Final = tuple(
    f"(site_id=? AND {column}>? AND {column}<?)"
    for column in ("begun_at", "valid_from", "valid_to")
)
"""A stretch with both ends: as many rows as it holds."""

KNOWN_HERE: Final = ("SELECT lot.product_id, lot.text, lot.loose_key",)
"""`find` looks for a part of a lot's text among all lots, here as on the recall page."""


def test_every_way_finds_its_rows_through_indexes(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'plans.db'}"
    engine = create_engine(url)
    metadata.create_all(engine)
    engine.dispose()
    with opened_ward(url, tmp_path) as ward:
        circuit = ward.prime()
        run = UUID(str(ward.take(circuit).facts["run_id"]))
        ward.flow_on(circuit)
        ward.patient(run, "0107-55")
        ward.part_in(run, code(CANNULA, "CN-1"))
        machine = ward.machine()
        ward.equip(run_id=run, equipment_id=machine)
        tap = str(product_key("gs1", TAP, site_id=ward.site.id))
        asked = (
            (Sort.LOT, "T77-0B1", tap),
            (Sort.PRODUCT, "", tap),
            (Sort.CIRCUIT, "C-0001", ""),
            (Sort.RUN, "R-0001", ""),
            (Sort.PATIENT, "R-0001", ""),
            (Sort.MACHINE, "", str(machine)),
            (Sort.PLACE, "", str(ward.places["console 3"])),
            (Sort.PERSON, "", str(ward.people["primer"])),
            (Sort.SPAN, "2031-05-06", ""),
        )
        with _statements(ward.services.reader) as sent, ward.reads() as session:
            for text in ("C-0001", "0107-55", "T77-0B1", "2031-05"):
                meant(session, text, today=ward.now.date(), may_see_patients=True)
            for sort, text, of in asked:
                for number in (None, 60):
                    subject = subject_of(session, sort, text=text, of=of, zone=ward.site.zone)
                    assert subject is not None, sort
                    trace(
                        session,
                        subject,
                        zone_name=str(ward.site.zone),
                        as_of_no=number,
                        patients=True,
                    )
        assert len(sent) > 40
        with ward.services.reader.connect() as connection:
            raw: Any = connection.connection.dbapi_connection
            found = [
                f"{step[3]}: {statement}"
                for statement, values in sent.items()
                for step in raw.execute(f"EXPLAIN QUERY PLAN {statement}", values)
                if WHOLE_TABLE.match(step[3])
                and not step[3].endswith(BY_TIME)
                and not statement.startswith((*KNOWN, *KNOWN_HERE))
            ]
    assert found == [], "\n".join(found)
