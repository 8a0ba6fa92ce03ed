"""Steps from one set of tables to the next, on both databases, empty and filled."""

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, create_engine
from sqlalchemy.exc import DBAPIError

from tests.storage.schemas import counted, described, fill
from traceability.storage import migrate
from traceability.storage.metadata import metadata
from traceability.storage.migrate import LosesRecords, NewerStore, downgrade, upgrade

STEPS: Final = Path(__file__).parents[2] / "migrations"
REVISIONS: Final = [step.revision for step in ScriptDirectory(str(STEPS)).walk_revisions()][::-1]
APPEND_ONLY: Final = {
    table.name: table.info["append_only"]
    for table in metadata.sorted_tables
    if "append_only" in table.info
}

Looking = Callable[[str], Connection]


@pytest.fixture
def look() -> Iterator[Looking]:
    """Open a connection to a store; it is closed with the test."""
    opened: list[Connection] = []

    def _look(url: str) -> Connection:
        opened.append(create_engine(url).connect())
        return opened[-1]

    yield _look
    for connection in opened:
        connection.close()
        connection.engine.dispose()


@pytest.fixture
def further_step(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[[str], None]:
    """Add one more step to the project's own, for this test only."""

    def _add(body: str) -> None:
        folder = tmp_path / "migrations"
        shutil.copytree(STEPS, folder, ignore=shutil.ignore_patterns("__pycache__"))
        head = f"revision = '9000'\ndown_revision = {REVISIONS[-1]!r}\n"
        start = "from alembic import op\nimport sqlalchemy as sa\n"
        (folder / "versions" / "9000_planted.py").write_text(f"{start}{head}{body}")
        monkeypatch.setattr(migrate, "_folder", lambda: folder)

    return _add


def test_all_steps_end_in_the_tables_of_this_version(
    empty_url: str, url: str, look: Looking
) -> None:
    """To the letter of the database's own words: triggers and partial indexes are in them."""
    assert upgrade(empty_url) == REVISIONS
    by_steps, at_once = described(look(empty_url)), described(look(url))
    assert by_steps == at_once
    assert sum("trigger" in name for name in by_steps) >= 2 * len(APPEND_ONLY)
    assert sum("WHERE" in sql for sql in by_steps.values()) >= 5


def test_autogenerate_finds_nothing_left_to_do(empty_url: str, look: Looking) -> None:
    upgrade(empty_url)
    options = {"compare_type": True, "compare_server_default": True}
    context = MigrationContext.configure(look(empty_url), opts=options)
    assert compare_metadata(context, metadata) == []


@pytest.mark.parametrize("revision", REVISIONS)
def test_a_filled_store_of_any_step_comes_to_the_newest_whole(
    empty_url: str, url: str, look: Looking, revision: str
) -> None:
    upgrade(empty_url, revision)
    with look(empty_url) as connection, connection.begin():
        fill(connection)
        before = counted(connection)
    upgrade(empty_url)
    after = look(empty_url)
    assert counted(after).items() >= before.items()
    assert min(before.values()) == 3
    assert described(after) == described(look(url))


def test_repeating_does_nothing(empty_url: str) -> None:
    upgrade(empty_url)
    assert upgrade(empty_url) == []


@pytest.mark.parametrize("table", sorted(APPEND_ONLY))
def test_what_only_grows_refuses_all_else_after_the_steps(
    empty_url: str, look: Looking, table: str
) -> None:
    upgrade(empty_url)
    connection = look(empty_url)
    with connection.begin():
        fill(connection)
    once = APPEND_ONLY[table]
    columns = [column.name for column in metadata.tables[table].columns if column.name != once]
    changes = [f"UPDATE {table} SET {column} = {column}" for column in columns]
    changes.append(f"DELETE FROM {table}")
    if once:
        with connection.begin():
            connection.exec_driver_sql(f"UPDATE {table} SET {once} = 7")
        changes.append(f"UPDATE {table} SET {once} = 8")
    for change in changes:
        with pytest.raises(DBAPIError, match="append-only"), connection.begin():
            connection.exec_driver_sql(change)


def test_an_empty_store_goes_back_to_nothing_and_comes_again(empty_url: str, look: Looking) -> None:
    upgrade(empty_url)
    downgrade(empty_url, "base")
    assert described(look(empty_url)) == {}
    assert upgrade(empty_url) == REVISIONS


def test_a_store_that_holds_acts_does_not_go_back(empty_url: str, look: Looking) -> None:
    upgrade(empty_url)
    with look(empty_url) as connection, connection.begin():
        fill(connection)
        before = described(connection), counted(connection)
    with pytest.raises(LosesRecords, match=r"\d recorded acts .*would be lost"):
        downgrade(empty_url, "base")
    after = look(empty_url)
    assert (described(after), counted(after)) == before


def test_a_store_of_a_newer_version_is_left_alone(
    empty_url: str, look: Looking, further_step: Callable[[str], None]
) -> None:
    with pytest.MonkeyPatch.context() as newer:
        further_step("def upgrade(): op.create_table('later', sa.Column('x', sa.Integer))")
        assert upgrade(empty_url)[-1] == "9000"
        newer.setattr(migrate, "_folder", lambda: STEPS)
        with pytest.raises(NewerStore, match="9000"):
            upgrade(empty_url)
    assert any("later" in name for name in described(look(empty_url)))


def test_a_step_that_fails_leaves_nothing_behind(
    empty_url: str, look: Looking, further_step: Callable[[str], None]
) -> None:
    upgrade(empty_url)
    before = described(look(empty_url))
    further_step(
        "def upgrade():\n"
        "    op.create_table('half', sa.Column('x', sa.Integer))\n"
        "    op.execute('DROP TABLE no_such_table')\n"
    )
    with pytest.raises(DBAPIError):
        upgrade(empty_url)
    assert described(look(empty_url)) == before
    assert migrate.revision_of(empty_url) == REVISIONS[-1]


def test_a_step_that_leaves_rows_pointing_at_nothing_is_undone(
    empty_url: str, look: Looking, further_step: Callable[[str], None]
) -> None:
    upgrade(empty_url)
    with look(empty_url) as connection, connection.begin():
        fill(connection)
        before = counted(connection)
    further_step("def upgrade(): op.execute('DELETE FROM circuit')")
    # SQLite finds it in the check of the step, PostgreSQL in the statement.
    with pytest.raises((RuntimeError, DBAPIError), match=r"point at nothing|violates foreign key"):
        upgrade(empty_url)
    assert counted(look(empty_url)) == before


def test_processes_that_migrate_at_once_wait_for_each_other(empty_url: str) -> None:
    program = (
        "import sys; from traceability.storage.migrate import upgrade; print(upgrade(sys.argv[1]))"
    )
    command = [sys.executable, "-c", program, empty_url]
    at_once = [
        subprocess.Popen(command, cwd=STEPS.parent, stdout=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    said = sorted(each.communicate(timeout=60)[0].strip() for each in at_once)
    assert [each.returncode for each in at_once] == [0, 0, 0]
    assert said == sorted([str(REVISIONS), "[]", "[]"])


def test_steps_are_one_row_without_branches() -> None:
    script = ScriptDirectory(str(STEPS))
    assert len(script.get_heads()) == 1
    files = sorted(path.name.split("_")[0] for path in (STEPS / "versions").glob("[0-9]*.py"))
    assert files == REVISIONS == sorted(REVISIONS)


def test_no_step_rebuilds_a_table_that_only_grows() -> None:
    for path in (STEPS / "versions").glob("*.py"):
        text = path.read_text(encoding="utf-8")
        for table in APPEND_ONLY:
            assert f'batch_alter_table("{table}"' not in text, path.name


@pytest.mark.parametrize("revision", REVISIONS)
def test_a_step_says_why_and_whether_it_can_be_taken_back(revision: str) -> None:
    said = ScriptDirectory(str(STEPS)).get_revision(revision).module.__doc__ or ""
    assert "Why:" in said
    assert "Back:" in said
