"""`labels`: sheets that are printed ahead of need, and a sample of each label to look at."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import click

from traceability.cli.store import opened, practice_store
from traceability.domain.tags import TagFacts, circuit_symbol
from traceability.printing.sheets import render_act_cards, render_badges, render_places
from traceability.printing.tags import render_tag
from traceability.reads.lists import PlaceFacts, places, site_facts
from traceability.settings import Settings, read_settings

NO_SITE: Final = "SAMP"
"""Site code on samples; it is no site's, so every service answers that it does not know the tag."""

DUTIES: Final = {"mounted": "ready, mounted", "boxed": "ready, boxed"}

SAMPLE_UNIT: Final = "Norrvik Sound Hospital, ICU"
SAMPLE_PLACES: Final = (
    {"code": "CONSOLE1", "name": "Console 1", "duty": DUTIES["mounted"], "unit": SAMPLE_UNIT},
    {"code": "BOX1", "name": "Retrieval box", "duty": DUTIES["boxed"], "unit": SAMPLE_UNIT},
)
SAMPLE_BADGE: Final = {
    "code": "SAMPLE",
    "name": "Sample, not a badge",
    "roles": "primer",
    "unit": "ICU",
    "site": "Norrvik Sound Hospital",
}


@click.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default="out",
    show_default=True,
    help="Folder for the sheets, as PDF; made if it is not there.",
)
@click.option("--places", "of_store", is_flag=True, help="The labels of the store's own places.")
@practice_store
def labels(*, out: Path, of_store: bool, practice: bool) -> None:
    """Write act cards to cut, and place labels, a badge and a tag as samples.

    Print them at 100 %, without "fit to page": symbols have a size that scanners rely on.
    """
    out.mkdir(parents=True, exist_ok=True)
    sheets = _places_of_store(practice=practice) if of_store else _samples(read_settings())
    for name, pdf in sheets:
        path = out / f"{name}.pdf"
        path.write_bytes(pdf)
        click.echo(path)


def _samples(settings: Settings) -> Iterator[tuple[str, bytes]]:
    yield "act-cards", render_act_cards()
    yield "sample-places", render_places(SAMPLE_PLACES, site_code=NO_SITE)
    yield "sample-badge", render_badges([SAMPLE_BADGE])
    yield "sample-circuit-tag", render_tag(_sample_tag(settings))


def _places_of_store(*, practice: bool) -> Iterator[tuple[str, bytes]]:
    with opened(practice=practice) as services, services.reads() as session:
        site = site_facts(session)
        texts = [
            _place_texts(place, f"{site.name}, {site.unit}")
            for place in places(session, services.site.id)
        ]
    yield "places", render_places(texts, site_code=site.code)


def _place_texts(place: PlaceFacts, unit: str) -> Mapping[str, str]:
    duty = DUTIES.get(place.stands_for or "", "")
    return {"code": place.code, "name": place.name, "duty": duty, "unit": unit}


def _sample_tag(settings: Settings) -> TagFacts:
    primed_at = datetime(2031, 5, 6, 9, 40, tzinfo=UTC)
    return TagFacts(
        site_name="Norrvik Sound Hospital",
        unit="ICU",
        ring="4711",
        number="C-0000",
        circuit_type="Adult 3/8",
        place="Console 1",
        way="wet, closed",
        use_by=primed_at + timedelta(days=30),
        use_by_reason="policy 30 d",
        prime_lines=("Prime: sodium chloride 0.9 %, 1.5 L", "No blood. No heparin."),
        primed_at=primed_at,
        primer="Sample Primer",
        helper="Sample Helper",
        primer_signed_at=primed_at,
        helper_signed_at=primed_at,
        parts_line="14 parts with lots",
        oxygenator_lot="OX-2207",
        oxygenator_serial="004417",
        copy=0,
        zone=settings.zone_info,
        practice=True,
        symbol=circuit_symbol(NO_SITE, "C-0000"),
    )
