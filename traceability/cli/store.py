"""Opening the store for a command: settings, the right tables, services."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import click
from sqlalchemy import make_url
from sqlalchemy.exc import OperationalError

from traceability.cli.exits import NotAvailable
from traceability.errors import NotSetUp
from traceability.reads.lists import site_facts
from traceability.security.keys import KeyFileUnreadable
from traceability.settings import Settings, read_settings
from traceability.storage.migrate import NewerStore, newest_revision, revision_of
from traceability.wiring import Services, wire

practice_store = click.option(
    "--practice", is_flag=True, help="The practice store instead of the real one."
)


def settings_for(*, practice: bool) -> Settings:
    """Return the settings of the environment, for the practice store where that is asked."""
    settings = read_settings()
    return replace(settings, practice=True) if practice else settings


def make_var(settings: Settings) -> Path:
    """Return the folder for what the service keeps, made if it was not there.

    Raises:
        NotAvailable: it cannot be made or written.
    """
    try:
        settings.var_dir.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise NotAvailable(f"{settings.var_dir} cannot be made: {error.strerror}.") from error
    return settings.var_dir


@contextmanager
def opened(*, practice: bool = False) -> Iterator[Services]:
    """Open the store, once its tables are those of this version.

    Raises:
        NotAvailable: it is not there, of another version, or its keys cannot be read.
    """
    settings = settings_for(practice=practice)
    make_var(settings)
    require_newest(settings)
    with wired(settings) as services:
        require_its_kind(services)
        yield services


def require_its_kind(services: Services) -> None:
    """Let pass a practice store for practice, and a real one for the rest; an empty one for both.

    Raises:
        NotAvailable: what is done for practice would stand in a real record, or the other way.
    """
    try:
        services.site.id  # noqa: B018 - asks whether there is one
    except NotSetUp:
        return
    with services.reads() as session:
        practice = site_facts(session).practice
    if practice == services.settings.practice:
        return
    if practice:
        raise NotAvailable(
            "This store is for practice; nothing in it is real. Start with --practice, or set "
            "TRACEABILITY_DATABASE_URL to the real one."
        )
    raise NotAvailable(
        "This store is a real record. Practice needs a store of its own: set "
        "TRACEABILITY_DATABASE_URL to another database, or leave it out."
    )


@contextmanager
def wired(settings: Settings) -> Iterator[Services]:
    """Open the store as it is, whatever its tables.

    Raises:
        NotAvailable: its keys cannot be read.
    """
    try:
        services = wire(settings)
    except (KeyFileUnreadable, OSError) as error:
        raise NotAvailable(str(error)) from error
    try:
        yield services
    finally:
        services.close()


def require_newest(settings: Settings) -> None:
    """Let pass a store whose tables are those of this version.

    Raises:
        NotAvailable: its tables are older, newer, or cannot be read.
    """
    with readable(settings):
        has = revision_of(settings.store_url)
    if has is None:
        raise NotAvailable("The store has no tables yet. First: python -m traceability migrate")
    if has != newest_revision():
        raise NotAvailable(
            f"The tables of the store are at step {has}, this version works with step "
            f"{newest_revision()}. First: python -m traceability migrate"
        )


@contextmanager
def readable(settings: Settings) -> Iterator[None]:
    """Turn what a database that is not there says into one sentence.

    Raises:
        NotAvailable: instead of OperationalError or NewerStore.
    """
    try:
        yield
    except OperationalError as error:
        where = make_url(settings.store_url).render_as_string(hide_password=True)
        raise NotAvailable(f"The store at {where} cannot be opened: {error.orig}") from error
    except NewerStore as error:
        raise NotAvailable(str(error)) from error
