"""`keys` and `tag-text`: whose tags can be verified here, and what a tag's text says."""

import sys
from pathlib import Path
from typing import Final

import click

from traceability.actions.lists.tag_keys import (
    BelieveTagKey,
    WithdrawTagKey,
    believe_tag_key,
    withdraw_tag_key,
)
from traceability.cli.acting import sent_by_command, show
from traceability.cli.exits import NotDone, WrongUsage
from traceability.cli.store import opened, practice_store
from traceability.errors import UnknownCode
from traceability.reads.lists import site_facts, tag_keys
from traceability.reads.tag_texts import tag_text_facts
from traceability.security.tag_keys import (
    PublicKey,
    WrongKeyFile,
    read_key_file,
    tag_public,
    write_key_file,
)
from traceability.tag_messages import NOT_WHOLE, say_listed, say_tag_text
from traceability.wiring import Services

MOST: Final = 10_000
"""Characters of a tag's text that are looked at; the longest of ours has 3,000."""


@click.group()
def keys() -> None:
    """Keys that sign what a tag says off line. The secret half never leaves the key file."""


@keys.command("show")
@practice_store
def show_own(*, practice: bool) -> None:
    """Show this site's fingerprint, to be read out to another site over the telephone."""
    with opened(practice=practice) as services:
        key = _own(services)
    click.echo(f"{key.fingerprint}  {key.site_name}, {key.unit}, tags {key.site_code}")


@keys.command()
@click.argument("file", type=click.Path(dir_okay=False, writable=True, path_type=Path))
@practice_store
def export(*, file: Path, practice: bool) -> None:
    """Write this site's public key to FILE, to be sent to other sites. It holds no secret."""
    with opened(practice=practice) as services:
        key = _own(services)
    file.write_text(write_key_file(key), encoding="utf-8")
    click.echo(f"{file}: fingerprint {key.fingerprint}", err=True)


@keys.command("import")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--fingerprint", default="", help="As the other site read it out.")
@practice_store
def import_key(*, file: Path, fingerprint: str, practice: bool) -> None:
    """Believe the public key in FILE that another site sent.

    A file can be changed on its way: ring the other site on a number you know, let them read their
    fingerprint out (`keys show`), and give it here.
    """
    try:
        key = read_key_file(file.read_bytes())
    except OSError as wrong:
        raise WrongUsage(f"{file} cannot be read: {wrong.strerror}.") from wrong
    except WrongKeyFile as wrong:
        raise WrongUsage(f"{file}: {wrong}") from wrong
    said = f"{key.site_name}, {key.unit}, tags {key.site_code}"
    if not fingerprint:
        raise NotDone(
            f"It says it is of {said}. Nothing was recorded. Ring them on a number you know and "
            "let them read their fingerprint out; then give what they read with --fingerprint."
        )
    with opened(practice=practice) as services:
        act = BelieveTagKey(
            sent=sent_by_command(services),
            public_key=key.public.hex(),
            name=key.site_name,
            unit=key.unit,
            code=key.site_code,
            fingerprint=fingerprint,
        )
        believe_tag_key(act, site=services.site)
    click.echo(f"Tags of {said} are verified from now on.", err=True)


@keys.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@practice_store
def list_keys(*, as_json: bool, practice: bool) -> None:
    """List the keys of other sites."""
    with opened(practice=practice) as services, services.reads() as session:
        found = tag_keys(session, services.site.id)
    rows = [
        {
            "fingerprint": key.fingerprint,
            "tags": key.code,
            "site": f"{key.name}, {key.unit}",
            "state": "believed" if key.active else "withdrawn",
        }
        for key in found
    ]
    show(rows, as_json=as_json)


@keys.command()
@click.argument("fingerprint")
@practice_store
def withdraw(*, fingerprint: str, practice: bool) -> None:
    """Believe the key of FINGERPRINT no longer: it was lost, or was never theirs."""
    asked = "".join(fingerprint.split()).upper()
    with opened(practice=practice) as services:
        with services.reads() as session:
            found = tag_keys(session, services.site.id)
        key = next((each for each in found if each.fingerprint.replace(" ", "") == asked), None)
        if key is None:
            raise UnknownCode(what="key", value=fingerprint)
        act = WithdrawTagKey(sent=sent_by_command(services), public_key=key.public_key)
        withdraw_tag_key(act, site=services.site)
    click.echo(f"The key of {key.name} is withdrawn.", err=True)


@click.command("tag-text")
@practice_store
def tag_text(*, practice: bool) -> None:
    """Say who made the tag whose text stands on standard input, and what it lists."""
    text = sys.stdin.read(MOST)
    with opened(practice=practice) as services, services.reads() as session:
        own = tag_public(services.keys)
        found = tag_text_facts(session, services.site.id, text, own_key=own)
    if found is None:
        raise NotDone(NOT_WHOLE)
    click.echo(say_tag_text(found))
    click.echo(f"{found.read.number}. {say_listed(found)}")
    for line in found.read.said:
        click.echo(line)
    for item in found.read.items:
        lot = item.lot or item.gap or "no lot"
        click.echo(f"{item.count} x {item.item}  {lot}  {item.serial}".rstrip())


def _own(services: Services) -> PublicKey:
    with services.reads() as session:
        site = site_facts(session)
    return PublicKey(
        public=tag_public(services.keys),
        site_name=site.name,
        unit=site.unit,
        site_code=site.code,
    )
