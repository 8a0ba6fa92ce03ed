"""`site`: make an empty store a hospital unit's."""

from uuid import uuid4

import click

from traceability.actions.lists.site import SiteFacts, set_up_site
from traceability.cli.exits import NotDone
from traceability.cli.store import opened, practice_store
from traceability.errors import NotSetUp
from traceability.reads.lists import site_facts


@click.group()
def site() -> None:
    """The site: the hospital unit whose record this store holds. One store, one site."""


@site.command()
@click.argument("name")
@click.option("--unit", required=True, help="The unit, as printed on tags.")
@click.option("--ring", required=True, help="The number to ring, day and night.")
@practice_store
def new(*, name: str, unit: str, ring: str, practice: bool) -> None:
    """Make an empty store the record of NAME's unit. Then add the first person with --admin."""
    with opened(practice=practice) as services:
        try:
            there = services.site
        except NotSetUp:
            made = services.site_of(uuid4())
            facts = SiteFacts(name=name, unit=unit, ring=ring, practice=practice)
            set_up_site(facts, site=made)
            click.echo(f"This store is now the record of {name}, {unit}.", err=True)
            return
        with services.reads() as session:
            known = site_facts(session)
        raise NotDone(f"This store is the record of {known.name}, {known.unit} ({there.id}).")
