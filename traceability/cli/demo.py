"""`demo`: fill an empty store with the invented hospital."""

import os
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Protocol, cast

import click
from sqlalchemy import make_url

from traceability.cli import one_at_a_time
from traceability.cli.exits import NotAvailable, NotDone
from traceability.cli.store import (
    make_var,
    practice_store,
    readable,
    require_newest,
    settings_for,
    wired,
)
from traceability.errors import NotSetUp
from traceability.settings import Settings
from traceability.storage.migrate import upgrade
from traceability.wiring import Services


class MakeDemo(Protocol):
    """Lives through the invented hospital's two years, by the use cases that pages call."""

    def __call__(self, services: Services, *, progress: Callable[[int, int], None]) -> None:
        """Fill the store; call `progress(done, of)` now and then."""
        ...


@click.command()
@click.option("--if-empty", is_flag=True, help="Leave a store alone that holds anything.")
@practice_store
def demo(*, if_empty: bool, practice: bool) -> None:
    """Fill an empty store with two years of an invented hospital, ending today.

    Everything in it is invented. It cannot be mixed with a record of your own: one store, one site.
    """
    settings = settings_for(practice=practice)
    make_var(settings)
    require_newest(settings)
    if not fill_if_empty(settings) and not if_empty:
        raise NotDone("This store holds a record already. The demo needs one of its own.")


def fill_if_empty(settings: Settings) -> bool:
    """Fill the store with the demo if it holds nothing; tell whether it did.

    Raises:
        NotAvailable: it is being served, or the demo's data are not here.
    """
    if _holds_a_site(settings):
        return False
    url = make_url(settings.store_url)
    if url.get_backend_name() == "sqlite" and url.database:
        _fill_beside(settings, Path(url.database))
    else:
        _fill(settings)
    return True


def _holds_a_site(settings: Settings) -> bool:
    with wired(settings) as services:
        with readable(settings), suppress(NotSetUp):
            return bool(services.site.id)
        return False


def _fill_beside(settings: Settings, store: Path) -> None:
    """Fill a new file and put it in place once it is whole: broken off, the store stays empty."""
    lock = one_at_a_time.hold(Path(f"{store}.serving"))
    try:
        _fill_draft(settings, store)
    finally:
        os.close(lock)


def _fill_draft(settings: Settings, store: Path) -> None:
    draft = store.with_name(f"{store.name}.filling")
    for left in store.parent.glob(f"{draft.name}*"):
        left.unlink()
    beside = replace(settings, database_url=f"sqlite:///{draft}")
    upgrade(beside.store_url)
    _fill(beside)
    # The last connection that closed has brought the write-ahead log into the file.
    for log in store.parent.glob(f"{store.name}-*"):
        log.unlink()
    draft.replace(store)
    for left in store.parent.glob(f"{draft.name}*"):
        left.unlink()


def _fill(settings: Settings) -> None:
    make_demo = _make_demo()
    with (
        wired(settings) as services,
        click.progressbar(length=1000, label="Two invented years", file=sys.stderr) as bar,
    ):

        def _progress(done: int, of: int) -> None:
            bar.update(done * 1000 // max(of, 1) - bar.pos)

        make_demo(services, progress=_progress)
        bar.update(1000 - bar.pos)


def _make_demo() -> MakeDemo:
    """Return the maker, found by name: it stands beside the package, as `app.py` does."""
    for name in ("demo_data.make_demo", "traceability.demo_data.make_demo"):
        with suppress(ModuleNotFoundError):
            if find_spec(name) is not None:
                return cast("MakeDemo", import_module(name).make_demo)
    raise NotAvailable("The demo's data were not found. Start from the project's top folder.")
