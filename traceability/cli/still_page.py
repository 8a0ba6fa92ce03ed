"""A copy of the shelf in `var/`, which stays readable when the service is down."""

import os
from pathlib import Path

from traceability.printing.still_page import render_still_page
from traceability.reads.lists import site_facts
from traceability.reads.shelf import shelf
from traceability.shelf_papers import shelf_sheet
from traceability.wiring import Services


def still_page_file(var_dir: Path, *, practice: bool = False) -> Path:
    """Return where the copy lies; practice has one of its own."""
    return var_dir / ("shelf-practice.html" if practice else "shelf.html")


def write_still_page(services: Services) -> Path:
    """Replace the copy in one step: a reader never sees half of it.

    Raises:
        NotSetUp: the store holds no site yet. OSError: the folder cannot be written.
    """
    settings, now = services.settings, services.now()
    with services.reads() as reads:
        found = shelf(reads, services.site.id, now)
        sheet = shelf_sheet(found, site_facts(reads), now, settings.zone_info)
    path = still_page_file(settings.var_dir, practice=settings.practice)
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    draft.write_text(render_still_page(sheet), encoding="utf-8")
    draft.replace(path)
    return path
