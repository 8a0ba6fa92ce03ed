"""Commands over a real store, on both databases: what they record, find and refuse."""

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy as sa
from click.testing import CliRunner, Result

from traceability.actions.lists.site import SiteFacts, set_up_site
from traceability.cli import demo
from traceability.cli.main import cli
from traceability.cli.worker import RoundOfWork
from traceability.domain.tag_contents import contents_text
from traceability.printing.samples import CONTENTS
from traceability.security.tag_keys import tag_signer
from traceability.settings import read_settings
from traceability.wiring import Services, wire

Command = Callable[..., Result]


@pytest.fixture
def environment(empty_url: str, tmp_path: Path) -> dict[str, str]:
    return {
        "TRACEABILITY_DATABASE_URL": empty_url,
        "TRACEABILITY_VAR_DIR": str(tmp_path / "var"),
    }


@pytest.fixture
def command(environment: dict[str, str]) -> Command:
    """Carry a command out in this process, with the settings of the test's own store."""

    def _command(*arguments: str) -> Result:
        result = CliRunner(env=environment).invoke(cli, arguments)
        if result.exception and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return _command


@pytest.fixture
def services(command: Command, environment: dict[str, str]) -> Iterator[Services]:
    """A migrated store with a site, one person and one device."""
    assert command("migrate").exit_code == 0
    new = command("site", "new", "Norrvik Sound Hospital", "--unit", "ICU", "--ring", "4711")
    assert new.exit_code == 0
    assert command("person", "new", "Ada Lindqvist", "--admin").exit_code == 0
    wired = wire(read_settings(environment))
    yield wired
    wired.close()


def _meddle(services: Services, *statements: str) -> None:
    """Change the store past the program, as its owner could."""
    on_postgresql = services.writer.dialect.name == "postgresql"
    with services.writer.begin() as connection:
        for name in ("event_no_update", "event_no_delete"):
            connection.execute(sa.text(f"DROP TRIGGER {name}" + " ON event" * on_postgresql))
        for statement in statements:
            connection.execute(sa.text(statement))


def test_before_there_are_tables_or_a_site_it_says_what_to_do(command: Command) -> None:
    first = command("verify")
    assert (first.exit_code, "migrate" in first.stderr) == (3, True)
    command("migrate")
    second = command("person", "list")
    assert (second.exit_code, "holds no hospital yet" in second.stderr) == (3, True)


def test_a_store_has_one_site(command: Command, services: Services) -> None:
    again = command("site", "new", "Another", "--unit", "ICU", "--ring", "1")
    assert again.exit_code == 1
    assert "Norrvik Sound Hospital, ICU" in again.stderr


def test_a_new_badge_and_pin_open_the_door_and_the_old_ones_no_longer(
    command: Command, services: Services
) -> None:
    said = [
        command("person", "new", "Bo Ek", "--role", "primer"),
        command("person", "badge", "bo ek"),
    ]
    badges = [re.findall(r"Badge code\s+(\w+)|PIN\s+(\d+)", each.stdout) for each in said]
    (old, _), (new, _) = badges[0][0], badges[1][0]
    pin = badges[1][1][1]
    door = services.door()
    listed = [json.loads(line) for line in command("person", "list", "--json").stdout.splitlines()]
    bo = next(each["id"] for each in listed if each["name"] == "Bo Ek")
    assert str(door.check(new, pin, uuid4())) == bo
    with pytest.raises(Exception, match="wrong-credentials"):
        door.check(old, pin, uuid4())


def test_who_left_stays_in_the_list_and_the_last_administrator_stays(
    command: Command, services: Services
) -> None:
    refused = command("person", "change", "Ada Lindqvist", "--left")
    assert (refused.exit_code, "last administrator" in refused.stderr) == (1, True)
    command("person", "new", "Bo Ek", "--role", "administrator")
    assert command("person", "change", "Ada Lindqvist", "--left").exit_code == 0
    people = [json.loads(line) for line in command("person", "list", "--json").stdout.splitlines()]
    (ada,) = (each for each in people if each["name"] == "Ada Lindqvist")
    assert (ada["active"], ada["roles"]) == ("has left", "administrator")


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("person", "badge", "nobody"), 1),
        (("person", "new", "Bo"), 2),
        (("person", "new", "Bo", "--role", "cook"), 2),
        (("device", "revoke", "nothing"), 1),
        (("device", "new", "  "), 1),
        (("nonsense",), 2),
        (("migrate", "--back-to", "base"), 3),
    ],
)
def test_what_is_not_done_ends_by_its_code_and_writes_nothing(
    command: Command, services: Services, arguments: tuple[str, ...], code: int
) -> None:
    before = command("verify").stdout
    result = command(*arguments)
    assert (result.exit_code, result.stdout) == (code, "")
    assert result.stderr
    assert command("verify").stdout == before


def test_a_device_is_enrolled_by_its_code_once_and_can_be_revoked(
    command: Command, services: Services
) -> None:
    said = command("device", "new", "Trolley 1", "--place", "Prime room")
    assert re.fullmatch(r"Device code  [2-9A-HJKMNP-Z]{4}-[2-9A-HJKMNP-Z]{4}\n", said.stdout)
    assert command("device", "revoke", "trolley 1").exit_code == 0
    states = {
        facts["name"]: facts["state"]
        for facts in map(json.loads, command("device", "list", "--json").stdout.splitlines())
    }
    assert states["Trolley 1"] == "revoked"


def test_verify_finds_a_changed_event_and_rebuild_refuses(
    command: Command, services: Services
) -> None:
    assert command("verify", "--tables").exit_code == 0
    _meddle(
        services, "UPDATE event SET body = replace(body, 'Norrvik', 'Nordvik') WHERE number = 1"
    )
    found = command("verify", "--json")
    assert (found.exit_code, json.loads(found.stdout)["first_break"]) == (1, 1)
    refused = command("rebuild")
    assert (refused.exit_code, "Nothing was rebuilt" in refused.stderr) == (1, True)


def test_an_end_that_was_cut_off_with_its_head_shows_against_signed_heads(
    command: Command, services: Services
) -> None:
    RoundOfWork(services).do()
    head = json.loads((services.settings.var_dir / "heads.jsonl").read_text())["number"]
    _meddle(
        services,
        f"DELETE FROM event WHERE number = {head}",
        "UPDATE ledger_head SET number = number - 1, "
        f"hash = (SELECT hash FROM event WHERE number = {head - 1})",
    )
    found = command("verify", "--json")
    facts = json.loads(found.stdout)
    assert (found.exit_code, facts["first_break"], facts["first_lost_head"]) == (1, None, head)


def test_a_changed_line_of_signed_heads_is_named(command: Command, services: Services) -> None:
    work = RoundOfWork(services)
    work.do()
    file = services.settings.var_dir / "heads.jsonl"
    signed = file.read_text()
    assert "1 signed heads" in command("verify").stdout
    file.write_text(signed + signed.replace('"number": ', '"number": 1'))
    found = command("verify")
    assert (found.exit_code, "Line 2 of" in found.stderr) == (1, True)


def test_the_worker_signs_only_what_is_new(command: Command, services: Services) -> None:
    for _ in range(3):
        RoundOfWork(services).do()
    command("person", "new", "Bo Ek", "--role", "primer")
    RoundOfWork(services).do()
    lines = (services.settings.var_dir / "heads.jsonl").read_text().splitlines()
    numbers = [json.loads(line)["number"] for line in lines]
    assert len(numbers) == 2
    assert numbers[0] < numbers[1]


def test_tables_that_are_not_what_the_ledger_says_are_found_and_made_anew(
    command: Command, services: Services
) -> None:
    with services.writer.begin() as connection:
        connection.execute(sa.text("UPDATE person SET roles = 'auditor'"))
    found = command("verify", "--tables")
    assert (found.exit_code, "person" in found.stderr) == (1, True)
    assert "had not been what the ledger says: person" in command("rebuild").stdout
    assert command("verify", "--tables").exit_code == 0


def _small_demo(services: Services, *, progress: Callable[[int, int], None]) -> None:
    site = services.site_of(uuid4())
    set_up_site(SiteFacts(name="Norrvik Sound Hospital", unit="ICU", ring="4711"), site=site)
    progress(1, 2)


def _broken_off(services: Services, *, progress: Callable[[int, int], None]) -> None:
    _small_demo(services, progress=progress)
    raise KeyboardInterrupt


def test_the_demo_fills_an_empty_store_and_only_that(
    command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "_make_demo", lambda: _small_demo)
    command("migrate")
    assert command("demo").exit_code == 0
    before = command("verify").stdout
    assert "is whole" in before
    assert command("demo", "--if-empty").exit_code == 0
    assert command("demo").exit_code == 1
    assert command("verify").stdout == before


def test_a_demo_that_was_broken_off_leaves_an_sqlite_store_empty(
    command: Command, monkeypatch: pytest.MonkeyPatch, database: str
) -> None:
    if database != "sqlite":
        pytest.skip("on a server it is written in place")
    command("migrate")
    monkeypatch.setattr(demo, "_make_demo", lambda: _broken_off)
    assert command("demo").exit_code == 1
    assert command("verify").exit_code == 3
    monkeypatch.setattr(demo, "_make_demo", lambda: _small_demo)
    assert command("demo").exit_code == 0
    assert command("verify").exit_code == 0


def test_practice_never_opens_a_real_record_nor_the_other_way(
    command: Command, services: Services, environment: dict[str, str], tmp_path: Path
) -> None:
    """One address set for both would else let practice stand in the record."""
    for arguments in (("person", "list"), ("verify",), ("serve", "--port", "0")):
        refused = command(*arguments, "--practice")
        assert (refused.exit_code, "This store is a real record" in refused.stderr) == (3, True)
    environment["TRACEABILITY_DATABASE_URL"] = f"sqlite:///{tmp_path / 'practice.db'}"
    command("migrate", "--practice")
    new = ("site", "new", "Norrvik Sound Hospital", "--unit", "ICU", "--ring", "1", "--practice")
    assert command(*new).exit_code == 0
    assert command("person", "list", "--practice").exit_code == 0
    refused = command("person", "list")
    assert (refused.exit_code, "This store is for practice" in refused.stderr) == (3, True)
    assert services.site.id


def test_another_sites_key_is_believed_only_with_the_fingerprint_that_they_read_out(
    command: Command, services: Services, tmp_path: Path
) -> None:
    file = tmp_path / "key.json"
    assert services.site
    assert command("keys", "export", str(file)).exit_code == 0
    shown = command("keys", "show").stdout[:24]
    unread = command("keys", "import", str(file))
    assert unread.exit_code == 1
    assert "Ring them on a number you know" in unread.stderr
    assert shown not in unread.stderr, "else it would be copied and not compared"
    assert command("keys", "import", str(file), "--fingerprint", "1A2B").exit_code == 1
    assert command("keys", "import", str(file), "--fingerprint", shown).exit_code == 0
    (row,) = [json.loads(line) for line in command("keys", "list", "--json").stdout.splitlines()]
    assert (row["fingerprint"], row["state"]) == (shown, "believed")
    assert command("keys", "withdraw", shown).exit_code == 0
    assert "withdrawn" in command("keys", "list").stdout
    assert command("keys", "withdraw", "1A2B").exit_code == 1
    file.write_text("{}")
    assert command("keys", "import", str(file), "--fingerprint", shown).exit_code == 2
    assert command("keys", "import", str(tmp_path / "none")).exit_code == 2


def test_a_tags_text_says_who_made_it_and_what_it_lists(
    services: Services, environment: dict[str, str]
) -> None:
    text = contents_text(CONTENTS, listed=len(CONTENTS.items), sign=tag_signer(services.keys))
    said = CliRunner(env=environment).invoke(cli, ["tag-text"], input=f"{text}\n")
    assert said.exit_code == 0
    assert "made here, by Norrvik Sound Hospital, ICU" in said.stdout
    assert "A practice tag, not for a patient." in said.stdout
    assert "3 x 09521234000013  T77-0B1" in said.stdout
    changed = CliRunner(env=environment).invoke(cli, ["tag-text"], input=text.replace("T77", "T78"))
    assert changed.exit_code == 1
    assert "a character in it was changed" in changed.stderr
