"""`device`: tablets and desks, enrolled with a one-time code."""

from datetime import timedelta
from typing import Final
from uuid import UUID

import click

from traceability.actions.lists.devices import (
    RevokeDevice,
    SetDevice,
    new_enrol_code,
    revoke_device,
    set_device,
)
from traceability.cli.acting import sent_by_command, show, the_one
from traceability.cli.store import opened, practice_store
from traceability.reads.lists import DeviceFacts, devices
from traceability.wiring import Services

CODE_LASTS: Final = timedelta(minutes=30)


@click.group()
def device() -> None:
    """Devices: an enrolled one takes a circuit by one scan, with nobody signed in."""


@device.command()
@click.argument("name")
@click.option("--place", default="", help="Where it stands or hangs.")
@click.option("--owner", default="", help="Whose it is, where that matters.")
@practice_store
def new(*, name: str, place: str, owner: str, practice: bool) -> None:
    """Add NAME, and print the one-time code to type in at the device."""
    with opened(practice=practice) as services:
        sent = sent_by_command(services)
        act = SetDevice(sent=sent, set_id=sent.request_id, name=name, place=place, owner=owner)
        set_device(act, site=services.site)
        _print_code(services, sent.request_id)


@device.command()
@click.argument("which")
@practice_store
def code(*, which: str, practice: bool) -> None:
    """Print another one-time code for WHICH (a name, or an id): its browser was replaced."""
    with opened(practice=practice) as services:
        _print_code(services, the_one("device", which, _all(services)).id)


@device.command("list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, for machines.")
@practice_store
def list_devices(*, as_json: bool, practice: bool) -> None:
    """List all devices, revoked ones too."""
    with opened(practice=practice) as services:
        rows = [
            {
                "id": each.id,
                "name": each.name,
                "place": each.place,
                "owner": each.owner,
                "state": _state(each),
            }
            for each in _all(services)
        ]
    show(rows, as_json=as_json)


@device.command()
@click.argument("which")
@practice_store
def revoke(*, which: str, practice: bool) -> None:
    """WHICH is lost or gone: it can do nothing more. What it recorded stays."""
    with opened(practice=practice) as services:
        found = the_one("device", which, _all(services))
        act = RevokeDevice(sent=sent_by_command(services), revoked_id=found.id)
        revoke_device(act, site=services.site)
    click.echo(f"{found.name} can do nothing more.", err=True)


def _all(services: Services) -> list[DeviceFacts]:
    with services.reads() as session:
        return devices(session, services.site.id)


def _state(facts: DeviceFacts) -> str:
    if facts.revoked:
        return "revoked"
    return "enrolled" if facts.enrolled else "not enrolled"


def _print_code(services: Services, device_id: UUID) -> None:
    expires_at = services.clock() + CODE_LASTS
    one_time = new_enrol_code(device_id, site=services.site, expires_at=expires_at)
    click.echo(f"Device code  {one_time[:4]}-{one_time[4:]}")
    until = expires_at.astimezone(services.settings.zone_info)
    click.echo(f"Type it in at the device until {until:%H:%M %Z}; it is good once.", err=True)
