"""The step that brings corrections: runs that had ended before it end as a rebuild says."""

from pathlib import Path

from alembic.migration import MigrationContext
from sqlalchemy import create_engine, text

from tests.make import HOUR, opened_ward
from traceability.actions.run.come_back import TakeBack, take_back
from traceability.storage.metadata import metadata
from traceability.storage.migrate import upgrade
from traceability.storage.rebuild import rebuild, table_digest

NEW = ("patient_merge", "run_end", "restated", "correction")
BEFORE, STEP = "0005", "0006"


def test_ends_of_runs_recorded_before_are_written_as_a_rebuild_writes_them(
    url: str, tmp_path: Path
) -> None:
    with opened_ward(url, tmp_path / "var") as ward:
        for ends in (True, False):
            circuit = ward.prime()
            ward.take(circuit)
            ward.flow_on(circuit)
            ward.now += HOUR
            ward.flow_off(circuit, run_ends=ends)
        back, opened = ward.prime(), ward.prime()
        ward.take(back)
        take_back(TakeBack(sent=ward.sent(), circuit_id=back, at=ward.now), site=ward.site)
        ward.take(opened)
        ward.discard(opened, reason="opened")
        with ward.reads() as session:
            was = table_digest(session, metadata.tables["run_end"])
        _as_before(url)
        assert upgrade(url, STEP) == [STEP]
        with ward.reads() as session:
            assert table_digest(session, metadata.tables["run_end"]) == was
            kinds = session.execute(
                text("SELECT kind FROM event JOIN run_end ON number=recorded_no")
            )
            ended = {kind for (kind,) in kinds}
            assert ended == {"run-ended", "take-withdrawn", "circuit-discarded"}
        with ward.services.writes() as session:
            assert rebuild(session, ward.site.id).changed == ()
            session.rollback()


def _as_before(url: str) -> None:
    """Take away what the step brings, as a store of the version before has it."""
    engine = create_engine(url)
    with engine.begin() as connection:
        for name in NEW:
            connection.execute(text(f"DROP TABLE {name}"))
        connection.execute(text("DROP INDEX ix_circuit_phase_never_was"))
        context = MigrationContext.configure(connection)
        context._ensure_version_table()
        connection.execute(text(f"INSERT INTO alembic_version VALUES ('{BEFORE}')"))
    engine.dispose()
