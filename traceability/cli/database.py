"""`migrate`: bring the store to the tables of this version."""

import click

from traceability.cli.exits import NotAvailable
from traceability.cli.store import make_var, readable, settings_for
from traceability.settings import Settings
from traceability.storage.migrate import LosesRecords, downgrade, upgrade


@click.command()
@click.option("--practice", is_flag=True, help="The practice store instead of the real one.")
@click.option("--back-to", metavar="STEP", help="Go back to this step, where nothing is lost.")
@click.option("--quiet", is_flag=True, help="Say nothing if there was nothing to do.")
def migrate(*, practice: bool, back_to: str | None, quiet: bool) -> None:
    """Bring the store to the tables of this version; make it where there is none.

    Safe to repeat. Each step is carried out as a whole or not at all. Take a backup first.
    """
    settings = settings_for(practice=practice)
    make_var(settings)
    if back_to is not None:
        try:
            with readable(settings):
                downgrade(settings.store_url, back_to)
        except LosesRecords as error:
            raise NotAvailable(str(error)) from error
        click.echo(f"The store is back at step {back_to}.", err=True)
        return
    if not bring_up_to_date(settings) and not quiet:
        click.echo("The store is up to date.", err=True)


def bring_up_to_date(settings: Settings) -> bool:
    """Carry out the steps that the store has not had, saying so; tell whether there were any.

    Raises:
        NotAvailable: the store cannot be opened, or a newer version wrote it.
    """
    with readable(settings):
        steps = upgrade(settings.store_url)
    for step in steps:
        click.echo(f"Step {step} is done.", err=True)
    return bool(steps)
