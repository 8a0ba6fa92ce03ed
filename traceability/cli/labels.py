"""`labels`: sheets that are printed ahead of need, and a sample of each label to look at."""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Final

import click

from traceability.cli.exits import NotAvailable, WrongUsage
from traceability.cli.store import opened, practice_store
from traceability.printing.contact import contact_sheet
from traceability.printing.field_text import DoesNotFit
from traceability.printing.graphics import as_printer_graphics
from traceability.printing.label import WrongLabel
from traceability.printing.paper import Printed
from traceability.printing.proof import DoesNotReadBack
from traceability.printing.queue import NotPrinted, send_to_queue
from traceability.printing.raster import as_png
from traceability.printing.samples import label_names, sample
from traceability.printing.sheets import print_places
from traceability.reads.lists import places, site_facts
from traceability.settings import RESOLUTIONS
from traceability.tag_messages import NOT_DRAWN, place_label

FORMS: Final[Mapping[str, Callable[[Printed], list[bytes]]]] = {
    "pdf": lambda made: [made.pdf],
    "png": lambda made: [as_png(page, made.dpi) for page in made.pages],
    "graphics": lambda made: [as_printer_graphics(made)],
}
ENDS: Final = {"pdf": "pdf", "png": "png", "graphics": "txt"}


@click.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default="out",
    show_default=True,
    help="Folder for the sheets; made if it is not there.",
)
@click.option("--places", "of_store", is_flag=True, help="The labels of the store's own places.")
@click.option(
    "--as",
    "form",
    type=click.Choice(list(FORMS)),
    default="pdf",
    show_default=True,
    help="PDF, pictures of the printer's dots, or label-printer commands (^GF).",
)
@click.option(
    "--dpi",
    type=click.Choice([str(each) for each in RESOLUTIONS]),
    default="203",
    show_default=True,
    help="Dots an inch of the printer.",
)
@click.option("--queue", default="", help="Send them to this print queue of the system as well.")
@click.option(
    "--contact",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write one picture of all labels to this file instead.",
)
@practice_store
def labels(
    *,
    out: Path,
    of_store: bool,
    form: str,
    dpi: str,
    queue: str,
    contact: Path | None,
    practice: bool,
) -> None:
    """Write a sample of every label, or the labels of the store's own places.

    Print them at 100 %, without "fit to page": symbols have a size that scanners rely on. Every
    print was read back from its own dots first.
    """
    try:
        made = _of_store(int(dpi), practice=practice) if of_store else _samples(int(dpi))
        if contact is not None:
            contact.write_bytes(contact_sheet(list(made)))
            click.echo(contact)
            return
        out.mkdir(parents=True, exist_ok=True)
        for name, printed in made:
            _write(out, name, printed, form)
            if queue:
                _send(printed, queue, name, form)
    except WrongLabel as wrong:
        raise WrongUsage(str(wrong)) from wrong
    except (DoesNotFit, DoesNotReadBack) as wrong:
        raise NotAvailable(NOT_DRAWN) from wrong


def _write(out: Path, name: str, printed: Printed, form: str) -> None:
    files = FORMS[form](printed)
    for number, data in enumerate(files, start=1):
        page = f"-{number}" if len(files) > 1 else ""
        path = out / f"{name}{page}.{ENDS[form]}"
        path.write_bytes(data)
        click.echo(path)


def _send(printed: Printed, queue: str, name: str, form: str) -> None:
    try:
        said = send_to_queue(printed, queue=queue, title=name, graphics=form == "graphics")
        click.echo(said, err=True)
    except NotPrinted as wrong:
        raise NotAvailable(f"{wrong} The files are written; print them by hand.") from wrong


def _samples(dpi: int) -> Iterator[tuple[str, Printed]]:
    names = label_names()
    for number, name in enumerate(names, start=1):
        click.echo(f"{number} of {len(names)}: {name}", err=True)
        yield name.replace("_", "-"), sample(name, dpi=dpi)


def _of_store(dpi: int, *, practice: bool) -> Iterator[tuple[str, Printed]]:
    with opened(practice=practice) as services, services.reads() as session:
        site = site_facts(session)
        found = places(session, services.site.id)
    kinds = sorted({place.kind for place in found})
    for number, kind in enumerate(kinds, start=1):
        texts = [place_label(place, site) for place in found if place.kind == kind]
        click.echo(f"{number} of {len(kinds)}: {kind}, {len(texts)} labels", err=True)
        made = print_places(texts, site_code=site.code, kind=kind, keys=services.own_keys, dpi=dpi)
        yield f"places-{kind}", made
