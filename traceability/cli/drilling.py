"""`drill`, and the worker's drill of the week: lots are picked at random and followed."""

import json
import secrets
from typing import Final

import click

from traceability.actions.drills.lots import RecordLotDrill, record_lot_drill
from traceability.cli.acting import sent_by_command
from traceability.cli.store import opened, practice_store
from traceability.domain.drills.choose import week_of
from traceability.domain.drills.outcome import Drawn
from traceability.drill_messages import share_words, use_words
from traceability.errors import DrilledThisWeek
from traceability.reads.drills import Drill, draw, drill_of_week, drills
from traceability.wiring import Services

MOST_LOTS: Final = 500


def drill_if_due(services: Services) -> bool:
    """Drill where this week has no drill of the service yet; tell whether it was done.

    Nothing is done while no lot is known, so that an empty store has no drill without lots.
    """
    site, settings = services.site, services.settings
    week = week_of(services.clock(), site.zone)
    if settings.drill_lots == 0:
        return False
    with services.reads() as session:
        if drill_of_week(session, site.id, week) is not None:
            return False
    drawn = drawn_by(services, secrets.token_hex(8), settings.drill_lots)
    if not drawn.lots:
        return False
    asked = RecordLotDrill(sent=sent_by_command(services), drawn=drawn, by_hand=False)
    try:
        record_lot_drill(asked, site=site)
    except DrilledThisWeek:
        return False  # another process was first
    return True


def drawn_by(services: Services, seed: str, lots: int) -> Drawn:
    """Return what a drill with this seed finds now."""
    with services.reads() as session:
        return draw(
            session,
            services.site.id,
            seed=seed,
            wanted=lots,
            months=services.settings.drill_months,
            now=services.clock(),
        )


@click.command()
@click.option("--lots", type=click.IntRange(1, MOST_LOTS), help="How many; else as in settings.")
@click.option("--seed", help="Pick by this seed instead of chance, to repeat a choice.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, for machines.")
@practice_store
def drill(*, lots: int | None, seed: str | None, as_json: bool, practice: bool) -> None:
    """Pick lots at random now and follow each from receipt to end; the outcome is recorded.

    It is kept beside the weekly drills and is no part of their trend.
    """
    with opened(practice=practice) as services:
        wanted = lots or services.settings.drill_lots or 1
        drawn = drawn_by(services, seed or secrets.token_hex(8), wanted)
        asked = RecordLotDrill(sent=sent_by_command(services), drawn=drawn, by_hand=True)
        done = record_lot_drill(asked, site=services.site)
        with services.reads() as session:
            found = drills(session, services.site.id, limit=1)[0]
    if as_json:
        click.echo(json.dumps(_facts(found)))
        return
    click.echo(f"{share_words(found.reconciled, found.units)} in {found.whole_lots} lots.")
    if found.use_units:
        click.echo(use_words(found))
    click.echo(f"Entry {done.first_no}, seed {found.seed}. The page Drill has the list to mend.")


def _facts(found: Drill) -> dict[str, object]:
    return {
        "entry": found.number,
        "seed": found.seed,
        "lots": found.lots,
        "units": found.units,
        "reconciled": found.reconciled,
        "use_units": found.use_units,
        "use_reconciled": found.use_reconciled,
    }
