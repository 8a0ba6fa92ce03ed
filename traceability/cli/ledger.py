"""`verify` and `rebuild`: is the record whole, and make the tables anew from it."""

import json
from pathlib import Path

import click

from traceability.cli.exits import NotDone
from traceability.cli.store import opened
from traceability.security.heads import FILE, HeadsUnreadable, noted_heads
from traceability.storage.upkeep import Checked, Head, check_chain, check_tables, rebuild_tables


@click.command()
@click.option("--practice", is_flag=True, help="The practice store instead of the real one.")
@click.option("--tables", is_flag=True, help="Also make all tables anew and compare; takes longer.")
@click.option(
    "--heads",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Compare with this copy of signed heads instead of the one beside the store.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object, for machines.")
def verify(*, practice: bool, tables: bool, heads: Path | None, as_json: bool) -> None:
    """Prove that nothing in the ledger was changed, taken out or cut off.

    Every event's hash is computed anew, and heads that were signed earlier are compared.
    """
    with opened(practice=practice) as services:
        site_id = services.site.id
        file = heads or services.settings.var_dir / FILE
        try:
            known = [
                Head(number=noted.number, hash=noted.hash)
                for noted in noted_heads(file, site_id, services.keys.public)
            ]
        except HeadsUnreadable as error:
            raise NotDone(str(error)) from error
        checked = check_chain(services.reads, site_id, known)
        rebuilt = check_tables(services.writes, site_id) if tables and checked.whole else None
    changed = list(rebuilt.changed) if rebuilt else []
    if as_json:
        facts = {
            "whole": checked.whole and not changed,
            "events": checked.events,
            "first_break": checked.first_break,
            "heads": checked.heads,
            "first_lost_head": checked.first_lost,
            "tables": rebuilt.tables if rebuilt else None,
            "changed_tables": changed,
        }
        click.echo(json.dumps(facts))
    if not checked.whole:
        raise NotDone(_what_is_wrong(checked))
    if changed:
        raise NotDone(
            f"The ledger is whole, but these tables are not what it says: {', '.join(changed)}. "
            "`rebuild` makes them anew."
        )
    if not as_json:
        click.echo(f"The ledger is whole: {checked.events} events, {checked.heads} signed heads.")
        if rebuilt:
            click.echo(f"All {rebuilt.tables} tables are what it says.")


@click.command()
@click.option("--practice", is_flag=True, help="The practice store instead of the real one.")
def rebuild(*, practice: bool) -> None:
    """Make all tables anew from the ledger. Others can read meanwhile, and wait to write.

    The ledger itself, kept-apart texts and PINs stay as they are. Refused if the ledger is broken.
    """
    with opened(practice=practice) as services:
        site_id = services.site.id
        checked = check_chain(services.reads, site_id, ())
        if not checked.whole:
            raise NotDone(_what_is_wrong(checked) + " Nothing was rebuilt.")
        rebuilt = rebuild_tables(services.writes, site_id)
    click.echo(f"{rebuilt.tables} tables were made anew from {rebuilt.events} events.")
    if rebuilt.changed:
        click.echo(f"These had not been what the ledger says: {', '.join(rebuilt.changed)}.")
    else:
        click.echo("All had been what the ledger says.")


def _what_is_wrong(checked: Checked) -> str:
    if checked.first_break is not None:
        return (
            f"The ledger is broken at event {checked.first_break}: it is missing, or not as it was "
            "recorded. Keep the store as it is and compare with a backup."
        )
    return (
        f"The ledger no longer holds event {checked.first_lost} as it was when its head was "
        "signed: the end was cut off, or the chain was written anew. Keep the store as it is."
    )
