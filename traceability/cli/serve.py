"""`serve`: pages on an address, and one worker beside them, both kept alive."""

import logging
import os
import socket
from pathlib import Path
from typing import Final

import click
from sqlalchemy import make_url

from traceability.cli import one_at_a_time
from traceability.cli.children import Child, Children, NeverStarted
from traceability.cli.database import bring_up_to_date
from traceability.cli.demo import fill_if_empty
from traceability.cli.exits import NotAvailable
from traceability.cli.store import make_var, opened, settings_for
from traceability.clock import system_clock
from traceability.security.certificates import (
    ServerCertificate,
    names_of_this_machine,
    server_certificate,
)
from traceability.settings import Settings

BACKLOG: Final = 128
WEB_PROCESSES_ON_POSTGRESQL: Final = 2
THIS_MACHINE_ONLY: Final = {"127.0.0.1", "::1", "localhost"}


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen at.")
@click.option(
    "--port",
    default=8080,
    show_default=True,
    type=click.IntRange(0, 65535),
    help="Port to listen at; 0: any that is free.",
)
@click.option("--tls", is_flag=True, help="Speak https, with a certificate authority of our own.")
@click.option("--name", "names", multiple=True, metavar="NAME", help="Further name for --tls.")
@click.option("--practice", is_flag=True, help="A store of its own, marked on every page and tag.")
@click.option(
    "--ready-made", is_flag=True, help="First migrate, and fill an empty store: `make run`."
)
def serve(
    *, host: str, port: int, tls: bool, names: tuple[str, ...], practice: bool, ready_made: bool
) -> None:
    """Serve the pages and the API, with one worker beside them.

    One at a time on an SQLite store; on PostgreSQL several processes answer pages.
    """
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    logging.getLogger("alembic").setLevel(logging.WARNING)
    settings = settings_for(practice=practice)
    make_var(settings)
    if ready_made:
        bring_up_to_date(settings)
        fill_if_empty(settings)
    lock = _lock(settings)
    with opened(practice=practice):
        pass  # the store is there, of this version, and its keys can be read
    certificate = _certificate(settings, names) if tls else None
    listening = _listen(host, port)
    _serve(settings, listening, certificate, lock)
    click.echo("Stopped.", err=True)


def _lock(settings: Settings) -> tuple[int, ...]:
    """Lock an SQLite store; several may serve on PostgreSQL, which has its own locks."""
    url = make_url(settings.store_url)
    if url.get_backend_name() != "sqlite" or not url.database:
        return ()
    return (one_at_a_time.hold(Path(f"{url.database}.serving")),)


def _certificate(settings: Settings, names: tuple[str, ...]) -> ServerCertificate:
    wanted = [*names_of_this_machine(), *names]
    try:
        return server_certificate(settings.var_dir / "tls", wanted, now=system_clock())
    except (OSError, ValueError) as error:
        raise NotAvailable(f"No certificate could be made: {error}") from error


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        listening = socket.create_server((host, port), family=family, backlog=BACKLOG)
    except OSError as error:
        raise NotAvailable(
            f"Cannot listen at {host}, port {port}: {error.strerror}. "
            "Another program may be using it; choose another with --port."
        ) from error
    listening.set_inheritable(True)
    return listening


def _serve(
    settings: Settings,
    listening: socket.socket,
    certificate: ServerCertificate | None,
    lock: tuple[int, ...],
) -> None:
    tells_ready, ready = os.pipe()
    practice = ["--practice"] if settings.practice else []
    secure = (
        ["--chain", str(certificate.chain), "--key", str(certificate.key)] if certificate else []
    )
    web = ["web", "--socket", str(listening.fileno()), "--ready", str(ready), *practice, *secure]
    # The store stays locked until the last child is gone: each holds the lock as well.
    inherits = (listening.fileno(), ready, *lock)
    children = Children()
    try:
        for number in range(1 if lock else WEB_PROCESSES_ON_POSTGRESQL):
            children.keep(Child(name=f"web-{number + 1}", arguments=web, descriptors=inherits))
        children.keep(Child(name="worker", arguments=["worker", *practice], descriptors=lock))
        children.watch(first_word=tells_ready, then=lambda: _say_where(listening, certificate))
    except NeverStarted as error:
        raise NotAvailable("The pages cannot be started; the reason stands above.") from error
    finally:
        children.leave()
        listening.close()


def _say_where(listening: socket.socket, certificate: ServerCertificate | None) -> None:
    """Print the addresses to open, and how a tablet comes to trust them."""
    host, port = listening.getsockname()[:2]
    scheme = "https" if certificate else "http"
    everywhere = host in {"0.0.0.0", "::"}  # noqa: S104 - compared, not bound
    hosts = names_of_this_machine() if everywhere else [host]
    for each in hosts:
        shown = f"[{each}]" if ":" in each else each
        click.echo(f"Circuit Traceability is at {scheme}://{shown}:{port}")
    if certificate:
        click.echo(HOW_TO_TRUST.format(certificate=certificate), err=True)
    elif everywhere or host not in THIS_MACHINE_ONLY:
        click.echo(PLAIN_HTTP, err=True)
    click.echo("Stop with Ctrl-C.", err=True)


PLAIN_HTTP: Final = """\
From other machines this is plain http: camera, off-line work and signing in need https there.
Start with --tls, or put a proxy that speaks https in front."""

HOW_TO_TRUST: Final = """
How a tablet comes to trust this address, once for each tablet:
  1. Carry this file to it (it is no secret): {certificate.authority}
  2. Open it there and install it as a certificate authority. In the tablet's certificate settings,
     switch on full trust for it where the tablet asks for that as a second step.
  3. Before you agree, compare the fingerprint (SHA-256) on the tablet with this one:
     {certificate.authority_fingerprint}
Never carry authority.key: who has it can pass for any address on these tablets.
The certificate is good until {certificate.not_after:%Y-%m-%d};
a start in the 30 days before makes a new one.
"""
