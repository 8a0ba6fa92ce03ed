"""`person`: who works here, their badges and one-time PINs."""

from pathlib import Path
from typing import Final
from uuid import UUID

import click

from traceability.actions.lists.people import IssueBadge, SetPerson, issue_badge, set_person
from traceability.cli.acting import sent_by_command, show, the_one
from traceability.cli.exits import WrongUsage
from traceability.cli.store import opened, practice_store
from traceability.domain.people import Role
from traceability.domain.tags import badge_symbol
from traceability.printing.sheets import render_badges
from traceability.reads.lists import PersonFacts, people, site_facts
from traceability.security.pins import hash_pin, new_badge_code, new_pin
from traceability.wiring import Services

ROLES: Final = click.Choice([role.value for role in Role])

print_badge = click.option(
    "--print",
    "badge_file",
    type=click.Path(dir_okay=False, writable=True, path_type=Path),
    help="Also write the badge to this file, as PDF.",
)


@click.group()
def person() -> None:
    """People: add, list, give a badge, change roles. A badge's code never holds the name."""


@person.command()
@click.argument("name")
@click.option("--role", "roles", type=ROLES, multiple=True, help="What the person is; repeat it.")
@click.option("--admin", is_flag=True, help="The same as --role administrator.")
@print_badge
@practice_store
def new(
    *, name: str, roles: tuple[str, ...], admin: bool, badge_file: Path | None, practice: bool
) -> None:
    """Add NAME, and print a badge code with a one-time PIN."""
    if admin:
        roles = (*roles, Role.ADMINISTRATOR.value)
    if not roles:
        raise WrongUsage("Say what the person is, with --role or --admin.")
    with opened(practice=practice) as services:
        sent = sent_by_command(services)
        act = SetPerson(sent=sent, person_id=sent.request_id, name=name, roles=roles)
        set_person(act, site=services.site)
        _issue(services, sent.request_id, badge_file)


@person.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, for machines.")
@practice_store
def list_people(*, as_json: bool, practice: bool) -> None:
    """List everybody, who has left too."""
    with opened(practice=practice) as services:
        rows = [
            {
                "id": each.id,
                "name": each.name,
                "roles": ", ".join(each.roles),
                "badge": "badge" if each.has_badge else "no badge",
                "active": "works here" if each.active else "has left",
            }
            for each in _everybody(services)
        ]
    show(rows, as_json=as_json)


@person.command()
@click.argument("who")
@print_badge
@practice_store
def badge(*, who: str, badge_file: Path | None, practice: bool) -> None:
    """Give WHO (a name, or an id) a new badge and one-time PIN; the old badge stops at once."""
    with opened(practice=practice) as services:
        _issue(services, the_one("person", who, _everybody(services)).id, badge_file)


@person.command()
@click.argument("who")
@click.option("--role", "roles", type=ROLES, multiple=True, help="All roles from now on.")
@click.option("--left/--back", "left", default=None, help="Works here no longer, or again.")
@practice_store
def change(*, who: str, roles: tuple[str, ...], left: bool | None, practice: bool) -> None:
    """Change the roles of WHO, or say that they have left. Nobody is ever deleted."""
    with opened(practice=practice) as services:
        found = the_one("person", who, _everybody(services))
        act = SetPerson(
            sent=sent_by_command(services),
            person_id=found.id,
            name=found.name,
            roles=roles or tuple(role.value for role in found.roles),
            active=found.active if left is None else not left,
        )
        set_person(act, site=services.site)
    click.echo(f"{found.name}: recorded.", err=True)


def _everybody(services: Services) -> list[PersonFacts]:
    with services.reads() as session:
        return people(session, services.site.id)


def _issue(services: Services, person_id: UUID, badge_file: Path | None) -> None:
    code, pin = services.own_keys.badge_code(new_badge_code), new_pin()
    act = IssueBadge(
        sent=sent_by_command(services),
        person_id=person_id,
        badge_code=code,
        pin_hash=hash_pin(pin),
        one_time=True,
    )
    issue_badge(act, site=services.site)
    if badge_file:
        badge_file.write_bytes(_badge_sheet(services, person_id, code))
    click.echo(f"Badge code    {code}")
    click.echo(f"Badge symbol  {badge_symbol(code)}")
    click.echo(f"One-time PIN  {pin}")
    click.echo("Shown once, and kept nowhere. At the first sign-in the PIN is changed.", err=True)


def _badge_sheet(services: Services, person_id: UUID, code: str) -> bytes:
    found = next(each for each in _everybody(services) if each.id == person_id)
    with services.reads() as session:
        known = site_facts(session)
    texts = {
        "code": code,
        "name": found.name,
        "roles": ", ".join(found.roles),
        "unit": known.unit,
        "site": known.name,
    }
    return render_badges([texts])
